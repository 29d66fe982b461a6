package samples

import (
	"math"
	"math/rand/v2"

	"rimpair/calib"
)

// Sheet is a reference sheet as it lies on the floor: printed at its own scales,
// turned by yaw counter-clockwise, its paper's corners lifted a little.
type Sheet struct {
	Number         int
	X, Y, Z        float64
	YawDeg         float64
	ScaleX, ScaleY float64
	// LiftMm is how far the paper's corners are above Z: rear left, rear right,
	// front left, front right, the paper between them bilinear.
	LiftMm [4]float64
}

// The paper, measured from the board's centre on a sheet printed at 100 %.
const (
	paperWidthMm  = 210.0
	paperHeightMm = 297.0
	paperTopMm    = calib.SheetRows*calib.SquareMm/2 + 20.5
)

// Point is where a point of the sheet's own frame lies in the scene.
func (s Sheet) Point(p vec) vec {
	x, y := p.X*s.ScaleX, p.Y*s.ScaleY
	sin, cos := math.Sincos(radians(s.YawDeg))
	return vec{X: s.X + cos*x - sin*y, Y: s.Y + sin*x + cos*y, Z: s.Z + s.lift(x, y) + p.Z}
}

// Corner is where inner corner i of the board lies in the scene.
func (s Sheet) Corner(i int) vec { return s.Point(calib.CornerMm(i)) }

// paper returns the place on the paper, in true mm from the board's centre.
func (s Sheet) paper(p vec) (x, y float64) {
	sin, cos := math.Sincos(radians(s.YawDeg))
	dx, dy := p.X-s.X, p.Y-s.Y
	return cos*dx + sin*dy, -sin*dx + cos*dy
}

// across returns the place on the paper as fractions from its rear left corner.
func across(x, y float64) (a, b float64) {
	return x/paperWidthMm + 0.5, (y-paperTopMm)/paperHeightMm + 1
}

func (s Sheet) lift(x, y float64) float64 {
	a, b := across(x, y)
	l := s.LiftMm
	return (1-b)*((1-a)*l[0]+a*l[1]) + b*((1-a)*l[2]+a*l[3])
}

// slope returns the lift's derivatives along the paper's x and y.
func (s Sheet) slope(x, y float64) (dx, dy float64) {
	a, b := across(x, y)
	l := s.LiftMm
	return ((1-b)*(l[1]-l[0]) + b*(l[3]-l[2])) / paperWidthMm, ((1-a)*(l[2]-l[0]) + a*(l[3]-l[1])) / paperHeightMm
}

// meet returns where a ray meets the paper. The lift is so small against the paper
// that three steps of the fixed point iteration leave nothing to see.
func (s Sheet) meet(r ray) (p vec, x, y float64, ok bool) {
	z := s.Z
	for range 4 {
		p = r.at((z - r.o.Z) / r.d.Z)
		x, y = s.paper(p)
		z = s.Z + s.lift(x, y)
	}
	a, b := across(x, y)
	return p, x, y, a >= 0 && a <= 1 && b >= 0 && b <= 1
}

func (s Sheet) truth() SheetTruth {
	return SheetTruth{
		Number: s.Number, XMm: s.X, YMm: s.Y, YawDeg: s.YawDeg, ZMm: s.Z, CornerLift: s.LiftMm,
		Scale: (s.ScaleX + s.ScaleY) / 2, ScaleX: s.ScaleX, ScaleY: s.ScaleY,
	}
}

// Plan says where the sheets lie.
type Plan int

const (
	Diagonal Plan = iota // one before a front wheel, one behind the other
	OneSheet             // one before the axle, near the middle
	NoSheet
)

// newSheets lays out the sheets of a plan.
func newSheets(g *rand.Rand, plan Plan, v Vehicle) []Sheet {
	at := func(number int, x, y float64) Sheet {
		s := Sheet{
			Number: number,
			X:      x + uniform(g, -25, 25),
			Y:      y + uniform(g, -35, 35),
			Z:      0.25,
			YawDeg: g.NormFloat64() * 3.5,
		}
		scale := 1 + g.NormFloat64()*0.001
		s.ScaleX, s.ScaleY = scale*(1+g.NormFloat64()*0.0015), scale*(1+g.NormFloat64()*0.0015)
		for i := range s.LiftMm {
			s.LiftMm[i] = uniform(g, 0, 0.7)
		}
		return s
	}
	inward := func(w Wheel) float64 { return w.Side.outward() * (math.Abs(w.Hub.X) - 75) }
	switch plan {
	case Diagonal:
		first, second := v.Right, v.Left
		if g.IntN(2) == 0 {
			first, second = second, first
		}
		return []Sheet{at(1, inward(first), 425), at(2, inward(second), -425)}
	case OneSheet:
		return []Sheet{at(1, pick(g, -130., 130), 215)}
	}
	return nil
}
