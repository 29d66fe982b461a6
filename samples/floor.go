package samples

import (
	"math"
	"math/rand/v2"
)

// paperWhite is what paper scatters, printInk what is printed black on it.
const (
	paperWhite = 0.80
	printInk   = 0.045
)

// floorKind is what the floor is made of.
type floorKind int

const (
	concrete floorKind = iota
	cracked
	tiles
	asphalt
	pavers
)

// floor is the plane z = 0 and the flat things that lie on it.
type floor struct {
	kind    floorKind
	colour  rgb
	joint   rgb
	rough   float64 // contrast of the grain
	size    float64 // of a tile, in mm
	turnRad float64
	salt    uint32
	leaves  []leaf
	heaps   map[[2]int32][]int32 // the leaves near each cell of the floor
}

// heapMm is the size of the cells by which leaves are looked up.
const heapMm = 80.0

func heapOf(x, y float64) [2]int32 {
	return [2]int32{int32(math.Floor(x / heapMm)), int32(math.Floor(y / heapMm))}
}

// sortLeaves prepares the look-up.
func (f *floor) sortLeaves() {
	f.heaps = map[[2]int32][]int32{}
	for i, l := range f.leaves {
		lo, hi := heapOf(l.x-l.length/2, l.y-l.length/2), heapOf(l.x+l.length/2, l.y+l.length/2)
		for x := lo[0]; x <= hi[0]; x++ {
			for y := lo[1]; y <= hi[1]; y++ {
				f.heaps[[2]int32{x, y}] = append(f.heaps[[2]int32{x, y}], int32(i))
			}
		}
	}
}

// leavesAt lists the leaves that may cover a place.
func (f *floor) leavesAt(x, y float64) []int32 {
	if len(f.heaps) == 0 {
		return nil
	}
	return f.heaps[heapOf(x, y)]
}

// leaf is a fallen leaf: pointed at both ends.
type leaf struct {
	x, y, turnRad, length, width float64
	colour                       rgb
}

func newFloor(g *rand.Rand, s Setting) floor {
	f := floor{
		colour:  tinted(g, rgb{0.34, 0.33, 0.31}, 0.05).scale(uniform(g, 0.6, 1.2)),
		joint:   grey(0.08),
		rough:   uniform(g, 0.5, 1),
		size:    uniform(g, 250, 420),
		turnRad: uniform(g, 0, math.Pi),
		salt:    g.Uint32(),
	}
	switch s {
	case Garage:
		f.kind = pick(g, tiles, tiles, cracked)
	case Driveway:
		f.kind = pick(g, asphalt, cracked, pavers)
	case Shade:
		f.kind = pick(g, asphalt, pavers, pavers)
	}
	switch f.kind {
	case asphalt:
		f.colour = tinted(g, grey(0.12), 0.02).scale(uniform(g, 0.7, 1.5))
	case pavers:
		f.size = uniform(g, 180, 220)
	}
	return f
}

// scatter lets leaves fall, some of them on the sheets.
func (f *floor) scatter(g *rand.Rand, s Setting, sheets []Sheet) {
	n := map[Setting]int{Driveway: g.IntN(12), Shade: 10 + g.IntN(25)}[s]
	for range n {
		l := leaf{
			x: uniform(g, -1300, 1300), y: uniform(g, -1500, 1300), turnRad: uniform(g, 0, math.Pi),
			length: uniform(g, 25, 65), width: uniform(g, 12, 28),
			colour: tinted(g, pick(g, rgb{0.35, 0.17, 0.04}, rgb{0.3, 0.06, 0.03}, rgb{0.12, 0.18, 0.04}, rgb{0.4, 0.3, 0.08}), 0.3),
		}
		f.leaves = append(f.leaves, l)
	}
	for _, sheet := range sheets {
		if n > 0 && g.IntN(2) == 0 {
			l := &f.leaves[g.IntN(n)]
			l.x, l.y = sheet.X+uniform(g, -90, 90), sheet.Y+uniform(g, -130, 130)
		}
	}
	f.sortLeaves()
}

// covers reports whether a leaf lies over a place, and on which side of its rib.
func (l leaf) covers(x, y float64) (on bool, side float64) {
	dx, dy := x-l.x, y-l.y
	if dx*dx+dy*dy > l.length*l.length/4 {
		return false, 0
	}
	sin, cos := math.Sincos(l.turnRad)
	a, b := (cos*dx+sin*dy)/(l.length/2), (-sin*dx+cos*dy)/(l.width/2)
	return math.Abs(b) < (1-a*a)*(1-0.3*a), b
}

// Zones of the floor tell neighbouring rays apart that need a closer look between.
const (
	zoneFloor = iota
	zoneJoint
	zoneLeaf // and one more for each leaf
)

// paintAt is the floor's colour at a place seen with a footprint of so many mm.
func (f *floor) paintAt(x, y, footprint float64) (paint, int32) {
	sin, cos := math.Sincos(f.turnRad)
	u, v := cos*x+sin*y, -sin*x+cos*y
	c, zone := f.colour, int32(zoneFloor)
	mottle := f.fbm(u/310, v/310, 3, footprint/310, 1) + 0.5*f.fbm(u/45, v/45, 2, footprint/45, 2)
	grain := func() float64 { return f.fbm(u/3.1, v/3.1, 2, footprint/3.1, 3) }
	switch f.kind {
	case concrete:
		c = c.scale(1 + f.rough*(0.28*mottle+0.10*grain()))
	case cracked:
		c = c.scale(1 + f.rough*(0.25*mottle+0.08*grain()))
		du := 45 * f.fbm(u/160, v/160, 4, footprint/160, 4)
		dv := 45 * f.fbm(u/160, v/160, 4, footprint/160, 8)
		width := 2.2 + 1.5*noise(u/70, v/70, f.salt+77)
		edge := f.cellEdge((u+du)/900, (v+dv)/900) * 900
		c, zone = drawJoint(c, c.scale(0.3), edge-width, 2*width, footprint)
	case tiles, pavers:
		c, zone = f.tileAt(u, v, c.scale(1+f.rough*(0.18*mottle+0.05*grain())), footprint)
	case asphalt:
		c = c.scale(1 + 0.12*mottle).scale(1 + f.rough*f.stones(u/7, v/7, footprint/7))
	}
	return paint{base: c}, zone
}

// tileAt tells joints from tiles, each with its own shade; pavers are laid in bond.
func (f *floor) tileAt(u, v float64, c rgb, footprint float64) (rgb, int32) {
	w, h, joint := f.size, f.size, 3.5
	if f.kind == pavers {
		h, joint = f.size/2, 5
	}
	row := math.Floor(v / h)
	if f.kind == pavers && int(row)%2 != 0 {
		u += w / 2
	}
	column := math.Floor(u / w)
	a, b := u-column*w, v-row*h
	c = c.scale(1 + 0.14*(hash01(int32(column), int32(row), f.salt+9)-0.5))
	// Joints run along the tile's borders, half of each belonging to a neighbour.
	edge := min(a, w-a, b, h-b) - joint/2
	return drawJoint(c, f.joint, edge, joint, footprint)
}

// drawJoint draws a line of a width, at a distance from its border (negative inside).
// Where it is several pixels wide it is a zone of its own, to be sampled; where it is
// narrow, it fades by the share of the footprint that it covers.
func drawJoint(c, joint rgb, edge, width, footprint float64) (rgb, int32) {
	if width > 3*footprint {
		if edge < 0 {
			return joint, zoneJoint
		}
		return c, zoneFloor
	}
	near, far := max(edge-footprint/2, -width), min(edge+footprint/2, 0)
	return c.mix(joint, max(far-near, 0)/footprint), zoneFloor
}

// hash01 is a number in [0, 1) for a lattice point (an integer hash with full
// avalanche; constants of the finaliser of MurmurHash3, from memory).
func hash01(x, y int32, salt uint32) float64 {
	h := uint32(x)*0x8da6b343 ^ uint32(y)*0xd8163841 ^ salt*0xcb1ab31f
	h ^= h >> 16
	h *= 0x85ebca6b
	h ^= h >> 13
	h *= 0xc2b2ae35
	h ^= h >> 16
	return float64(h) / (1 << 32)
}

// noise is smooth value noise from -1 to 1.
func noise(x, y float64, salt uint32) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int32(fx), int32(fy)
	a, b := x-fx, y-fy
	a, b = a*a*(3-2*a), b*b*(3-2*b)
	top := hash01(ix, iy, salt)*(1-a) + hash01(ix+1, iy, salt)*a
	bottom := hash01(ix, iy+1, salt)*(1-a) + hash01(ix+1, iy+1, salt)*a
	return 2*(top*(1-b)+bottom*b) - 1
}

// fbm adds octaves of noise, leaving out what the footprint (in cells) would blur.
func (f *floor) fbm(x, y float64, octaves int, footprint float64, layer uint32) float64 {
	sum, gain := 0.0, 0.6
	for o := range octaves {
		keep := 1 - smooth(footprint, 0.25, 0.7)
		if keep == 0 {
			break
		}
		sum += gain * keep * noise(x, y, f.salt+layer*31+uint32(o))
		x, y, footprint, gain = 2.03*x+17, 2.03*y-9, 2.03*footprint, gain*0.55
	}
	return sum
}

func smooth(x, lo, hi float64) float64 {
	t := min(max((x-lo)/(hi-lo), 0), 1)
	return t * t * (3 - 2*t)
}

// stones is the pattern of broken stone in asphalt: the brightness of the nearest
// of a lattice of jittered points.
func (f *floor) stones(x, y, footprint float64) float64 {
	keep := 1 - smooth(footprint, 0.3, 1)
	if keep == 0 {
		return 0
	}
	fx, fy := math.Floor(x), math.Floor(y)
	best, value := math.Inf(1), 0.0
	for j := -1; j <= 1; j++ {
		for i := -1; i <= 1; i++ {
			ix, iy := int32(fx)+int32(i), int32(fy)+int32(j)
			dx := float64(ix) + hash01(ix, iy, f.salt+5) - x
			dy := float64(iy) + hash01(ix, iy, f.salt+6) - y
			if d := dx*dx + dy*dy; d < best {
				best, value = d, hash01(ix, iy, f.salt+7)
			}
		}
	}
	return keep * (1.5*(value-0.4)*value + 0.35*(0.3-best))
}

// cellEdge is about the distance to the border between the two nearest of a lattice
// of jittered points, in lattice units: the network of cracks.
func (f *floor) cellEdge(x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	first, second := math.Inf(1), math.Inf(1)
	for j := -1; j <= 1; j++ {
		for i := -1; i <= 1; i++ {
			ix, iy := int32(fx)+int32(i), int32(fy)+int32(j)
			dx := float64(ix) + hash01(ix, iy, f.salt+5) - x
			dy := float64(iy) + hash01(ix, iy, f.salt+6) - y
			d := math.Sqrt(dx*dx + dy*dy)
			if d < first {
				first, second = d, first
			} else if d < second {
				second = d
			}
		}
	}
	return (second - first) / 2
}
