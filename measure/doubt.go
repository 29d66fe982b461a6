package measure

// This file widens the intervals of a single photo, where a mudguard may have been taken for
// part of a tyre's outline. A mudguard is a torus about nearly the same axle. Several photos show
// that it is another size (parts.go, rimSettles); a single one bends the lens to it, and its toe
// came out wrong by up to 8 mm in drawn photos, with little of what the outline should show
// agreeing. Of 30 given and drawn pairs and sets that were widened likewise, none was off by more than
// 1.3 times its uncertainty without, 0.6 times on average (RMS).

// plainDissent is the share of an outline that does not agree in a plain photo: what
// cables, the frame, shadows and the other wheel cover.
const plainDissent = 0.2

// doubt is the factor by which intervals grow, at least 1.
func (m *set) doubt(f *fitted) float64 {
	most := plainDissent
	if len(m.inputs) == 1 {
		for side := range f.scene.Wheels {
			most = max(most, 1-m.outlineShare(f, Side(side)))
		}
	}
	return most / plainDissent
}
