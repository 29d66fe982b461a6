package samples

import "math"

// part is a solid with its surface. Solids with the same id look like one: between
// them is no edge.
type part struct {
	solid
	id    edgeID
	fine  bool // what is measured, to be rendered with all samples
	paint paint
	// finish refines the paint at a hit, and may tell zones of the surface apart.
	finish func(h *hit) paint
}

// assembly collects the parts of a scene.
type assembly struct {
	parts []part
	next  edgeID
}

// group reserves an id.
func (m *assembly) group() edgeID {
	m.next++
	return m.next
}

func (m *assembly) add(p paint, solids ...solid) {
	id := m.group()
	for _, s := range solids {
		m.parts = append(m.parts, part{solid: s, id: id, paint: p})
	}
}

// addFine adds what is measured, with its own finish.
func (m *assembly) addFine(finish func(h *hit) paint, solids ...solid) {
	id := m.group()
	for _, s := range solids {
		m.parts = append(m.parts, part{solid: s, id: id, fine: true, finish: finish})
	}
}

// tube is a round bar along a line of points.
func tube(radius float64, points ...vec) []solid {
	var s []solid
	for i := 1; i < len(points); i++ {
		s = append(s, capsule{points[i-1], points[i], radius})
	}
	return s
}

// curve samples a smooth line through points (Catmull and Rom, 1974), n steps
// between each two.
func curve(n int, points ...vec) []vec {
	at := func(i int) vec { return points[min(max(i, 0), len(points)-1)] }
	var line []vec
	for i := range len(points) - 1 {
		p0, p1, p2, p3 := at(i-1), at(i), at(i+1), at(i+2)
		for k := range n {
			t := float64(k) / float64(n)
			a := times(-t+2*t*t-t*t*t, p0)
			b := times(2-5*t*t+3*t*t*t, p1)
			c := times(t+4*t*t-3*t*t*t, p2)
			d := times(-t*t+t*t*t, p3)
			line = append(line, times(0.5, plus(plus(a, b), plus(c, d))))
		}
	}
	return append(line, at(len(points)))
}

// sheetOf is a curved sheet through a grid of points, rows × columns; u runs along
// the rows' index and v across, both in units of the grid.
func sheetOf(rows, columns int, point func(i, j int) vec) []solid {
	normal := func(i, j int) vec {
		du := minus(point(min(i+1, rows-1), j), point(max(i-1, 0), j))
		dv := minus(point(i, min(j+1, columns-1)), point(i, max(j-1, 0)))
		return unit(cross(du, dv))
	}
	facet := func(at [3][2]int) *triangle {
		f := new(triangle)
		for k, ij := range at {
			f.p[k], f.n[k] = point(ij[0], ij[1]), normal(ij[0], ij[1])
			f.uv[k] = [2]float64{float64(ij[0]), float64(ij[1])}
		}
		return f
	}
	var s []solid
	for i := range rows - 1 {
		for j := range columns - 1 {
			s = append(s, facet([3][2]int{{i, j}, {i + 1, j}, {i + 1, j + 1}}),
				facet([3][2]int{{i, j}, {i + 1, j + 1}, {i, j + 1}}))
		}
	}
	return s
}

// onCircle is a point of a frame at a distance from its axis, an angle about it and
// a height along it.
func (a axes) onCircle(radius, angleRad, height float64) vec {
	sin, cos := math.Sincos(angleRad)
	return a.out(vec{X: radius * cos, Y: radius * sin, Z: height})
}
