package measure

// This file widens the intervals where a mudguard may have been taken for part of a
// tyre's outline. A mudguard is a torus about nearly the same axle. Several photos show
// that it is another size; a single one bends the lens to it, and its toe came out wrong
// by up to 8 mm in drawn photos, with little of what the outline should show agreeing.
// Where a mudguard is known of, the little that is left of the outline says how sure its
// plane is.

// plainDissent is the share of an outline that does not agree in a plain photo: what
// cables, the frame, shadows and the other wheel cover.
const plainDissent = 0.2

// doubt is the factor by which intervals grow, at least 1.
func (m *set) doubt(f *fitted) float64 {
	most := plainDissent
	for side := range f.scene.Wheels {
		if len(m.inputs) == 1 || m.hearing.lower[side] {
			share, _ := m.clarity(f, Side(side))
			most = max(most, 1-share)
		}
	}
	return most / plainDissent
}
