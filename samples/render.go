package samples

import (
	"math"
	"math/bits"

	"rimpair/calib"
)

// stage is a scene ready to be photographed, its wheels at one position.
type stage struct {
	parts  []part
	sheets []Sheet
	floor  floor
	lamp   lamp
	sun    *sunGrid
	sky    *skyMap
}

// build assembles the solids.
func (s Scene) build(turnDeg float64) []part {
	m := new(assembly)
	m.addVehicle(s.Vehicle, s.looks, turnDeg)
	for i, line := range s.looks.cables {
		cable := plastic([]rgb{{0.1, 0.25, 0.03}, {0.4, 0.1, 0.02}}[i%2])
		m.add(cable, tube(cableRadiusMm, line...)...)
	}
	for _, b := range s.looks.boxes {
		m.add(paint{base: rgb{0.3, 0.2, 0.11}}, b)
	}
	return m.parts
}

func (s Scene) stage(turnDeg float64) *stage {
	st := &stage{parts: s.build(turnDeg), sheets: s.Sheets, floor: s.looks.floor, lamp: s.looks.lamp}
	if st.lamp.hard {
		st.sun = newSunGrid(st.parts, st.lamp.towards, 14, func(solid) bool { return true })
	}
	st.sky = newSkyMap(st.parts, st.lamp)
	return st
}

// edgeID tells apart what neighbouring rays meet: the part, its zone, and whether the
// sun is hidden. Parts count from 1.
type edgeID int32

const (
	idFloor edgeID = iota - 2
	idNothing
)

func newEdgeID(part edgeID, zone int32, fine, dark bool) edgeID {
	id := part<<10 | edgeID(zone)<<2
	if fine {
		id |= 2
	}
	if dark {
		id |= 1
	}
	return id
}

// fine says whether it is something that is measured: rim, tyre or sheet.
func (id edgeID) fine() bool { return id&2 != 0 }

func (id edgeID) floor() bool { return id>>10 == idFloor }

// look is one ray's answer.
type look struct {
	colour rgb
	id     edgeID
}

// trace follows a ray past the candidates to the floor; pixel is a pixel's angle. It
// uses h for its own purposes: one hit for millions of rays spares the heap.
func (st *stage) trace(r ray, candidates []int32, pixel float64, h *hit) look {
	*h = hit{t: math.Inf(1)}
	nearest := int32(-1)
	for _, i := range candidates {
		if st.parts[i].meet(r, h) {
			nearest = i
		}
	}
	if r.d.Z < -1e-3 {
		if t := -r.o.Z / r.d.Z; t < h.t {
			return st.ground(r, t, pixel, h)
		}
	}
	if nearest < 0 {
		return look{st.lamp.horizon.scale(0.8 * st.lamp.exposure), newEdgeID(idNothing, 0, false, false)}
	}
	p := &st.parts[nearest]
	surface := p.paint
	if p.finish != nil {
		surface = p.finish(h)
	}
	at, normal, zone := r.at(h.t), h.normal, h.zone
	open := st.sky.open(at, normal)
	lit, dark := open, false
	if st.sun != nil {
		lit = 1
		if dot(normal, st.lamp.towards) > 0 && st.sun.blocked(plus(at, times(0.3, normal)), h) {
			lit, dark = 0, true
		}
	}
	c := st.lamp.shade(surface, normal, r.d, open, lit)
	return look{c.scale(st.lamp.exposure), newEdgeID(p.id, zone, p.fine, dark)}
}

// Zones of a sheet, beyond the floor's.
const (
	zonePaper = 200 + iota
	zoneInk
)

// ground shades the floor, or a sheet on it, where a ray meets z = 0 at t.
func (st *stage) ground(r ray, t, pixel float64, h *hit) look {
	p := r.at(t)
	footprint := pixel * t / math.Sqrt(-r.d.Z)
	var surface paint
	var zone int32
	normal := vec{Z: 1}
	onSheet := false
	for i := range st.sheets {
		s := &st.sheets[i]
		if dx, dy := p.X-s.X, p.Y-s.Y; dx*dx+dy*dy > 200*200 {
			continue
		}
		q, x, y, ok := s.meet(r)
		if !ok {
			continue
		}
		onSheet, p, zone, surface = true, q, zonePaper, paint{base: grey(paperWhite)}
		if s.inked(x/s.ScaleX, y/s.ScaleY) {
			zone, surface = zoneInk, paint{base: grey(printInk), mirror: 0.01, sharp: 10}
		}
		dx, dy := s.slope(x, y)
		sin, cos := math.Sincos(radians(s.YawDeg))
		normal = unit(vec{X: -(cos*dx - sin*dy), Y: -(sin*dx + cos*dy), Z: 1})
	}
	if !onSheet {
		surface, zone = st.floor.paintAt(p.X, p.Y, footprint)
	}
	for _, i := range st.floor.leavesAt(p.X, p.Y) {
		l := &st.floor.leaves[i]
		if on, side := l.covers(p.X, p.Y); on {
			c := l.colour
			if math.Abs(side) < 0.06 {
				c = c.scale(1.4)
			}
			surface, zone = paint{base: c.scale(1 - 0.2*side)}, zoneLeaf+i
		}
	}
	lit, dark := 1.0, false
	open := st.sky.floor.at(p.X, p.Y)
	if st.sun == nil {
		lit = st.sky.lamp.at(p.X, p.Y)
	} else if st.sun.blocked(plus(p, vec{Z: 0.05}), h) {
		lit, dark = 0, true
	}
	c := st.lamp.shade(surface, normal, r.d, open, lit)
	return look{c.scale(st.lamp.exposure), newEdgeID(idFloor, zone, onSheet, dark)}
}

const (
	tileSize   = 16 // within such a square, rays are interpolated and parts chosen
	blockTiles = 8  // tiles along a block, whose parts are chosen first
)

// camera casts the rays of a shot.
type camera struct {
	shot  Shot
	place vec
	out   calib.Rot // from camera to scene
	pixel float64
}

func newCamera(s Shot) camera {
	return camera{shot: s, place: s.Pose.Origin(), out: s.Pose.R.Transpose(), pixel: 1 / s.Camera.F}
}

// direction is the ray of a place in the picture, not normalised, z = 1 in the camera.
// Newton's method inside the lens model fails only far outside any picture.
func (c camera) direction(x, y float64) vec {
	v, ok := c.shot.Camera.Ray(calib.Point{X: x, Y: y})
	if !ok {
		panic("samples: the lens does not reach its picture's corner")
	}
	return c.out.Apply(v)
}

// patch is a rectangle of the picture with its directions at three by three nodes.
// The parabolas through them follow a lens to 1e-4 px over 16 px.
type patch struct {
	place               vec
	x, y, width, height float64
	node                [3][3]vec
}

// patch covers a square of the picture as far as it lies in it.
func (c camera) patch(x, y, size int) *patch {
	p := &patch{
		place: c.place, x: float64(x) - 0.5, y: float64(y) - 0.5,
		width: float64(min(size, c.shot.Width-x)), height: float64(min(size, c.shot.Height-y)),
	}
	for j := range p.node {
		for i := range p.node[j] {
			p.node[j][i] = c.direction(p.x+p.width*float64(i)/2, p.y+p.height*float64(j)/2)
		}
	}
	return p
}

// parabola returns the weights of values at 0, 1/2 and 1.
func parabola(f float64) [3]float64 {
	return [3]float64{(1 - f) * (1 - 2*f), 4 * f * (1 - f), f * (2*f - 1)}
}

func (p *patch) ray(x, y float64) ray {
	a, b := parabola((x-p.x)/p.width), parabola((y-p.y)/p.height)
	var d vec
	for j := range p.node {
		row := &p.node[j]
		d.X += b[j] * (a[0]*row[0].X + a[1]*row[1].X + a[2]*row[2].X)
		d.Y += b[j] * (a[0]*row[0].Y + a[1]*row[1].Y + a[2]*row[2].Y)
		d.Z += b[j] * (a[0]*row[0].Z + a[1]*row[1].Z + a[2]*row[2].Z)
	}
	return ray{p.place, unit(d)}
}

// cone encloses the rays of the patch: those at its nodes and, as lines bend little
// between nodes, a little more.
func (p *patch) cone() cone {
	axis := unit(p.node[1][1])
	slope := 0.0
	for _, row := range p.node {
		for _, d := range row {
			slope = max(slope, norm(cross(axis, d))/dot(axis, d))
		}
	}
	return cone{axis: ray{p.place, axis}, slope: slope * 1.02}
}

// photograph renders a shot in linear light.
func (st *stage) photograph(s Shot) *lightPicture {
	c := newCamera(s)
	tiles := st.cull(c)
	w, h := s.Width, s.Height
	across, down := (w+tileSize-1)/tileSize, (h+tileSize-1)/tileSize
	pic := newLightPicture(w, h)
	ids := make([]edgeID, w*h)

	// each visits all pixels with their tile's rays and parts, and a hit to use up.
	each := func(visit func(x, y int, rays *patch, candidates []int32, h *hit)) {
		parallel(down, func(row int) {
			scratch := new(hit)
			for col := range across {
				rays := c.patch(col*tileSize, row*tileSize, tileSize)
				for y := row * tileSize; y < min((row+1)*tileSize, h); y++ {
					for x := col * tileSize; x < min((col+1)*tileSize, w); x++ {
						visit(x, y, rays, tiles[row*across+col], scratch)
					}
				}
			}
		})
	}
	each(func(x, y int, rays *patch, candidates []int32, h *hit) {
		l := st.trace(rays.ray(float64(x), float64(y)), candidates, c.pixel, h)
		pic.set(y*w+x, l.colour)
		ids[y*w+x] = l.id
	})
	edges := findEdges(pic, ids)
	each(func(x, y int, rays *patch, candidates []int32, h *hit) {
		if !edges[y*w+x] {
			return
		}
		sample := func(u, v float64) look {
			return st.trace(rays.ray(float64(x)+u-0.5, float64(y)+v-0.5), candidates, c.pixel, h)
		}
		centre := look{pic.get(y*w + x), ids[y*w+x]}
		uniform, fine := around(centre, sample)
		switch {
		case uniform:
		case fine:
			pic.set(y*w+x, average(sample, samplesPerEdge, pixelHash(x, y)))
		default:
			pic.set(y*w+x, average(sample, samplesElsewhere, pixelHash(x, y)))
		}
	})
	return pic
}

func (p *lightPicture) set(i int, c rgb) {
	p.channel[0][i], p.channel[1][i], p.channel[2][i] = float32(c.r), float32(c.g), float32(c.b)
}

func (p *lightPicture) get(i int) rgb {
	return rgb{float64(p.channel[0][i]), float64(p.channel[1][i]), float64(p.channel[2][i])}
}

// around looks at a pixel's corners. A straight edge that crosses the pixel leaves
// them on both of its sides, so where they all look like the centre the pixel is
// uniform: the edge beside which it lies misses it.
func around(centre look, sample func(u, v float64) look) (uniform, fine bool) {
	uniform, fine = true, centre.id.fine()
	for k := range 4 {
		l := sample(float64(k%2), float64(k/2))
		if l.id != centre.id || step(l.colour.g, centre.colour.g) && !l.id.floor() {
			uniform = false
		}
		fine = fine || l.id.fine()
	}
	return uniform, fine
}

// average is the mean colour of a pixel.
func average(sample func(u, v float64) look, samples int, scramble uint64) rgb {
	var sum rgb
	for i := range uint32(samples) {
		sum = sum.add(sample(sobol(i, scramble)).colour)
	}
	return sum.scale(1 / float64(samples))
}

// step reports whether two levels differ by more than shading does from one pixel to
// the next.
func step(a, b float64) bool { return math.Abs(a-b) > edgeContrast*b+0.004 }

// cull lists for every tile the parts that its rays may meet.
func (st *stage) cull(c camera) [][]int32 {
	across, down := (c.shot.Width+tileSize-1)/tileSize, (c.shot.Height+tileSize-1)/tileSize
	tiles := make([][]int32, across*down)
	blocks := (across + blockTiles - 1) / blockTiles
	touched := func(k cone, from []int32) []int32 {
		var chosen []int32
		for _, i := range from {
			if st.parts[i].touches(k) {
				chosen = append(chosen, i)
			}
		}
		return chosen
	}
	all := make([]int32, len(st.parts))
	for i := range all {
		all[i] = int32(i)
	}
	parallel(blocks*((down+blockTiles-1)/blockTiles), func(b int) {
		col0, row0 := b%blocks*blockTiles, b/blocks*blockTiles
		some := touched(c.patch(col0*tileSize, row0*tileSize, blockTiles*tileSize).cone(), all)
		for row := row0; row < min(row0+blockTiles, down); row++ {
			for col := col0; col < min(col0+blockTiles, across); col++ {
				tiles[row*across+col] = touched(c.patch(col*tileSize, row*tileSize, tileSize).cone(), some)
			}
		}
	})
	return tiles
}

const (
	// samplesPerEdge is how many rays an edge pixel gets where rims, tyres or sheets are
	// in sight. They put its shares on either side of an edge right to 0.0155 (standard
	// deviation over all directions and places).
	samplesPerEdge = 64
	// samplesElsewhere do for what nobody measures.
	samplesElsewhere = 16
	// edgeContrast is the relative step between neighbours of one part that counts
	// as an edge: a crease, or a narrow gleam.
	edgeContrast = 0.08
)

// findEdges marks the pixels that need more than one ray: those with a neighbour of
// another id, or a step in brightness on the same part.
func findEdges(p *lightPicture, ids []edgeID) []bool {
	w, h := p.width, p.height
	edges := make([]bool, w*h)
	green := p.channel[1]
	parallel(h, func(y int) {
		for x := range w {
			i := y*w + x
			id, g := ids[i], green[i]
			floor := id.floor()
			for yy := max(y-1, 0); yy <= min(y+1, h-1) && !edges[i]; yy++ {
				for xx := max(x-1, 0); xx <= min(x+1, w-1); xx++ {
					k := yy*w + xx
					step := green[k] - g
					if ids[k] != id || !floor && (step > edgeContrast*g+0.004 || -step > edgeContrast*g+0.004) {
						edges[i] = true
						break
					}
				}
			}
		}
	})
	return edges
}

// sobol is point i of the two-dimensional Sobol sequence with its digits scrambled:
// any 32 points in a row put one into each elementary interval of area 1/32
// (Sobol, 1967; the second dimension's matrix is Pascal's modulo 2).
func sobol(i uint32, scramble uint64) (u, v float64) {
	a := bits.Reverse32(i)
	b := uint32(0)
	for m, k := uint32(1)<<31, i; k != 0; k, m = k>>1, m^m>>1 {
		if k&1 == 1 {
			b ^= m
		}
	}
	const scale = 1. / (1 << 32)
	return float64(a^uint32(scramble)) * scale, float64(b^uint32(scramble>>32)) * scale
}

// pixelHash mixes a pixel's place (finaliser of SplitMix64, Steele et al., 2014).
func pixelHash(x, y int) uint64 {
	z := uint64(y)<<32 | uint64(x)
	z += 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
