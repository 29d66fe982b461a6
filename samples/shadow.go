package samples

import "math"

// sunGrid answers whether a place sees the sun: the plane across the light, cut into
// cells, each with the parts that its light may meet.
type sunGrid struct {
	axes       // w towards the sun
	cell       float64
	u0, v0     float64
	columns    int
	rows       int
	candidates [][]int32
	parts      []part
}

// newSunGrid indexes the parts that pass keep.
func newSunGrid(parts []part, towards vec, cell float64, keep func(s solid) bool) *sunGrid {
	g := &sunGrid{axes: axesAbout(vec{}, towards, leastAlong(towards)), cell: cell, parts: parts}
	u1, v1 := math.Inf(-1), math.Inf(-1)
	g.u0, g.v0 = math.Inf(1), math.Inf(1)
	for _, p := range parts {
		c, r := p.ball()
		q := g.in(c)
		g.u0, g.v0 = min(g.u0, q.X-r), min(g.v0, q.Y-r)
		u1, v1 = max(u1, q.X+r), max(v1, q.Y+r)
	}
	if len(parts) == 0 {
		return g
	}
	g.columns, g.rows = int((u1-g.u0)/cell)+1, int((v1-g.v0)/cell)+1
	g.candidates = make([][]int32, g.columns*g.rows)
	const away = 1e5
	for i, p := range parts {
		if !keep(p.solid) {
			continue
		}
		c, r := p.ball()
		q := g.in(c)
		for row := int((q.Y - r - g.v0) / cell); row <= min(int((q.Y+r-g.v0)/cell), g.rows-1); row++ {
			for col := int((q.X - r - g.u0) / cell); col <= min(int((q.X+r-g.u0)/cell), g.columns-1); col++ {
				middle := vec{X: g.u0 + (float64(col)+0.5)*cell, Y: g.v0 + (float64(row)+0.5)*cell, Z: -away}
				k := cone{axis: ray{g.out(middle), g.w}, base: cell * math.Sqrt2 / 2}
				if p.touches(k) {
					at := row*g.columns + col
					g.candidates[at] = append(g.candidates[at], int32(i))
				}
			}
		}
	}
	return g
}

// leastAlong is a direction well away from d.
func leastAlong(d vec) vec {
	if math.Abs(d.X) < 0.7 {
		return vec{X: 1}
	}
	return vec{Y: 1}
}

// blocked reports whether something stands between p and the sun. It uses h for its
// own purposes.
func (g *sunGrid) blocked(p vec, h *hit) bool {
	q := g.in(p)
	col, row := int(math.Floor((q.X-g.u0)/g.cell)), int(math.Floor((q.Y-g.v0)/g.cell))
	if col < 0 || row < 0 || col >= g.columns || row >= g.rows {
		return false
	}
	r := ray{p, g.w}
	for _, i := range g.candidates[row*g.columns+col] {
		h.t = math.Inf(1)
		if g.parts[i].meet(r, h) {
			return true
		}
	}
	return false
}

// skyMap tells how much of the sky a place sees: on the floor finely, in the space
// around the vehicle coarsely. It counts which of a set of directions, spread as a
// level surface weighs them, are free.
type skyMap struct {
	floor  grid
	lamp   grid   // on the floor, the share of the soft lamp
	levels []grid // of the space, at heights of skyStepMm, 2 skyStepMm, ...
}

const (
	skyDirections = 40
	skyCellMm     = 18.0
	skySpaceMm    = 60.0
	skyStepMm     = 80.0
	skyLevels     = 6
)

// lampSpread is the half width of a soft lamp as its directions' tangent.
const lampSpread = 0.16

// grid is a table over the floor.
type grid struct {
	x0, y0, cell  float64
	columns, rows int
	value         []float32
}

func newGrid(x0, y0, x1, y1, cell float64) grid {
	g := grid{x0: x0, y0: y0, cell: cell, columns: int((x1-x0)/cell) + 1, rows: int((y1-y0)/cell) + 1}
	g.value = make([]float32, g.columns*g.rows)
	return g
}

// at interpolates; outside the grid the sky is open.
func (g grid) at(x, y float64) float64 {
	u, v := (x-g.x0)/g.cell, (y-g.y0)/g.cell
	fu, fv := math.Floor(u), math.Floor(v)
	i, j := int(fu), int(fv)
	if i < 0 || j < 0 || i+1 >= g.columns || j+1 >= g.rows {
		return 1
	}
	a, b := float32(u-fu), float32(v-fv)
	k := j*g.columns + i
	return float64((1-b)*((1-a)*g.value[k]+a*g.value[k+1]) + b*((1-a)*g.value[k+g.columns]+a*g.value[k+g.columns+1]))
}

// smoothed averages over a square of cells, as far as the directions' number makes
// steps of its own.
func (g grid) smoothed(reach int) grid {
	out := g
	out.value = make([]float32, len(g.value))
	for j := range g.rows {
		for i := range g.columns {
			sum, n := float32(0), float32(0)
			for y := max(j-reach, 0); y <= min(j+reach, g.rows-1); y++ {
				for x := max(i-reach, 0); x <= min(i+reach, g.columns-1); x++ {
					sum, n = sum+g.value[y*g.columns+x], n+1
				}
			}
			out.value[j*g.columns+i] = sum / n
		}
	}
	return out
}

// newSkyMap builds the map for parts lit by a sky and, if soft, a wide lamp.
func newSkyMap(parts []part, l lamp) *skyMap {
	const x0, y0, x1, y1 = -900, -1600, 900, 1100
	m := &skyMap{floor: newGrid(x0, y0, x1, y1, skyCellMm)}
	sky := newSuns(parts, skyDirection)
	jobs := []func(){func() { m.floor.count(1, sky) }}
	if !l.hard {
		m.lamp = newGrid(x0, y0, x1, y1, skyCellMm)
		lamps := newSuns(parts, l.lampDirection)
		jobs = append(jobs, func() { m.lamp.count(1, lamps) })
	}
	for i := range skyLevels {
		m.levels = append(m.levels, newGrid(x0, y0, x1, y1, skySpaceMm))
		jobs = append(jobs, func() { m.levels[i].count(float64(i+1)*skyStepMm, sky) })
	}
	parallel(len(jobs), func(i int) { jobs[i]() })
	m.floor, m.lamp = m.floor.smoothed(2), m.lamp.smoothed(1)
	for i := range m.levels {
		m.levels[i] = m.levels[i].smoothed(1)
	}
	return m
}

func newSuns(parts []part, direction func(i int) vec) []*sunGrid {
	// Spokes and cables are too thin to matter.
	thick := func(s solid) bool {
		c, ok := s.(capsule)
		return !ok || c.r > 2.2
	}
	suns := make([]*sunGrid, skyDirections)
	parallel(skyDirections, func(i int) { suns[i] = newSunGrid(parts, direction(i), 30, thick) })
	return suns
}

// count fills the grid with the share of the suns seen from its places at a height.
func (g *grid) count(z float64, suns []*sunGrid) {
	h := new(hit)
	for _, sun := range suns {
		for k := range g.value {
			p := vec{X: g.x0 + float64(k%g.columns)*g.cell, Y: g.y0 + float64(k/g.columns)*g.cell, Z: z}
			if !sun.blocked(p, h) {
				g.value[k] += 1 / float32(len(suns))
			}
		}
	}
}

// skyDirection spreads directions over the upper half of the sphere, as densely as
// the cosine from the zenith (a spiral by the golden angle).
func skyDirection(i int) vec {
	x, y := spiral(i)
	return vec{X: x, Y: y, Z: math.Sqrt(1 - x*x - y*y)}
}

// lampDirection spreads directions over a soft lamp.
func (l lamp) lampDirection(i int) vec {
	x, y := spiral(i)
	a := axesAbout(vec{}, l.towards, leastAlong(l.towards))
	return unit(plus(a.w, plus(times(lampSpread*x, a.u), times(lampSpread*y, a.v))))
}

// spiral spreads skyDirections points evenly over the unit disc.
func spiral(i int) (x, y float64) {
	radius := math.Sqrt((float64(i) + 0.5) / skyDirections)
	sin, cos := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
	return radius * cos, radius * sin
}

// open is the share of the surroundings that a part's surface sees: that of a place
// a hand's breadth before it.
func (m *skyMap) open(p, normal vec) float64 {
	q := plus(p, times(40, normal))
	level := q.Z / skyStepMm
	below := int(math.Floor(level))
	value := func(i int) float64 {
		switch {
		case i <= 0:
			return m.floor.at(q.X, q.Y)
		case i > skyLevels:
			return 1
		}
		return m.levels[i-1].at(q.X, q.Y)
	}
	f := level - float64(below)
	v := (1-f)*value(below) + f*value(below+1)
	return 0.25 + 0.75*v
}
