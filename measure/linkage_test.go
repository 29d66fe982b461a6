package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// upright is a kingpin without inclination.
func upright(x, y float64) Pivot { return Pivot{Foot: r3.Vec{X: x, Y: y}, Axis: r3.Vec{Z: 1}} }

// fourBar is the linkage of one rod in a plane: fixed pivots apart, two arms at
// angles against the line that joins them.
func fourBar(apart, left, right, leftRad, rightRad float64) *Linkage {
	arm := func(length, angle float64) r3.Vec {
		return r3.Vec{X: length * math.Cos(angle), Y: length * math.Sin(angle)}
	}
	return &Linkage{
		Pivots: [numBodies]Pivot{upright(0, 0), upright(apart, 0), upright(0, 0)},
		Axles:  [2]r3.Vec{{X: 1}, {X: 1}},
		Rods: []Rod{{
			{Body: LeftCarrier, At: arm(left, leftRad)},
			{Body: RightCarrier, At: r3.Add(r3.Vec{X: apart}, arm(right, rightRad))},
		}},
	}
}

// R. L. Norton, Design of Machinery, example 4-1 (from memory; its open circuit
// checked by an independent script with Freudenstein's equation): ground 100 mm, crank 40,
// coupler 120, rocker 80, crank at 40°: the rocker stands at 57.33°.
func TestFourBarOfTheTextbook(t *testing.T) {
	l := fourBar(100, 40, 80, 0, 0)
	const crankDeg, rockerDeg = 40, 57.33
	mean := (crankDeg + rockerDeg) / 2 / degPerRad
	pose, err := l.Solve([]float64{120}, PoseRad{mean, mean})
	require.NoError(t, err)
	// The book rounds to 0.01°; the crank takes up what the rounded rocker leaves.
	assert.InDelta(t, crankDeg, pose[LeftCarrier]*degPerRad, 0.01)
	assert.InDelta(t, rockerDeg, pose[RightCarrier]*degPerRad, 0.01)
}

// Freudenstein's equation (F. Freudenstein, "Approximate synthesis of four-bar
// linkages", Transactions of the ASME 77, 1955), with ground d, arms a and c and
// coupler b, holds for every solved pose:
//
//	d/a cosψ − d/c cosφ + (a² − b² + c² + d²)/(2ac) = cos(φ − ψ).
func TestFourBarsObeyFreudenstein(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(400, 700).Draw(t, "ground")
		a := rapid.Float64Range(50, 120).Draw(t, "left arm")
		c := rapid.Float64Range(50, 120).Draw(t, "right arm")
		down := -math.Pi / 2
		leftRad := down + rapid.Float64Range(-0.4, 0.4).Draw(t, "left angle")
		rightRad := down + rapid.Float64Range(-0.4, 0.4).Draw(t, "right angle")
		l := fourBar(d, a, c, leftRad, rightRad)
		b := l.LengthsMm(PoseRad{})[0] + rapid.Float64Range(-10, 10).Draw(t, "change")
		steer := rapid.Float64Range(-0.3, 0.3).Draw(t, "steering")
		pose, err := l.Solve([]float64{b}, PoseRad{steer, steer})
		if err != nil {
			t.Fatal(err)
		}
		phi, psi := leftRad+pose[LeftCarrier], rightRad+pose[RightCarrier]
		left := d/a*math.Cos(psi) - d/c*math.Cos(phi) + (a*a-b*b+c*c+d*d)/(2*a*c)
		// closedMm over arms of 50 mm.
		if got := left - math.Cos(phi-psi); math.Abs(got) > 1e-8 {
			t.Fatalf("Freudenstein's equation is off by %g", got)
		}
	})
}

// drawLinkage is a linkage in space of either number of rods, unlike on its sides.
func drawLinkage(t *rapid.T) *Linkage {
	between := func(lo, hi float64, what string) float64 { return rapid.Float64Range(lo, hi).Draw(t, what) }
	l := &Linkage{}
	var ends [2]r3.Vec
	for i, sign := range [2]float64{-1, 1} {
		l.Pivots[i] = Pivot{
			Foot: r3.Vec{X: sign * between(250, 350, "kingpin"), Y: between(-5, 5, "kingpin"), Z: between(-5, 5, "kingpin")},
			Axis: r3.Unit(r3.Vec{X: -sign * between(0, 0.35, "inclination"), Y: -between(-0.1, 0.3, "caster"), Z: 1}),
		}
		l.Axles[i] = newAxes(0, between(-0.1, 0.1, "camber")).axle
		ends[i] = r3.Add(l.Pivots[i].Foot, r3.Vec{X: -sign * between(-20, 30, "arm"), Y: -between(60, 120, "arm"), Z: between(-10, 10, "arm")})
	}
	if rapid.Bool().Draw(t, "two rods") {
		l.Pivots[Handlebar] = Pivot{Foot: r3.Vec{Y: between(-60, 60, "bar")}, Axis: r3.Unit(r3.Vec{Y: between(-0.3, 0.3, "bar"), Z: 1})}
		for i, sign := range [2]float64{-1, 1} {
			inner := r3.Vec{X: sign * between(20, 50, "inner"), Y: ends[i].Y + between(-20, 20, "inner"), Z: between(-20, 20, "inner")}
			l.Rods = append(l.Rods, Rod{{Body: Body(i), At: ends[i]}, {Body: Handlebar, At: inner}})
		}
	} else {
		l.Rods = []Rod{{{Body: LeftCarrier, At: ends[Left]}, {Body: RightCarrier, At: ends[Right]}}}
	}
	return l
}

func TestLengthsAndPosesAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinkage(t)
		toe := rapid.Float64Range(-0.06, 0.06).Draw(t, "toe")
		heading := rapid.Float64Range(-0.1, 0.1).Draw(t, "heading")
		want, err := l.Pose(toe, heading, rapid.Float64Range(-0.1, 0.1).Draw(t, "bar"))
		if err != nil {
			t.Fatal(err)
		}
		// Rounding of an arc tangent's arguments.
		if math.Abs(l.ToeRad(want)-toe) > 1e-13 || math.Abs(l.MeanHeadingRad(want)-heading) > 1e-13 {
			t.Fatalf("the pose has toe %g and heading %g", l.ToeRad(want), l.MeanHeadingRad(want))
		}
		start, err := l.Pose(0, heading, want[Handlebar])
		if err != nil {
			t.Fatal(err)
		}
		got, err := l.Solve(l.LengthsMm(want), start)
		if err != nil {
			t.Fatal(err)
		}
		for body := range got {
			// closedMm over arms of 60 mm, times two.
			if math.Abs(got[body]-want[body]) > 4e-9 {
				t.Fatalf("body %d: %g, not %g", body, got[body], want[body])
			}
		}
	})
}

func TestLinkageDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinkage(t)
		pose := PoseRad{0.03, -0.02, 0.01}
		p := l.closure(make([]float64, len(l.Rods)), 0)
		rows := func(s PoseRad) (list []Row) {
			p.Rows(s, func(r Row) { list = append(list, r) })
			return list
		}
		const h = 1e-5 // truncation h² · 100 mm, rounding 1e-13 / h: both about 1e-8
		for i, row := range rows(pose) {
			for k, column := range row.Cols {
				delta := make([]float64, 2)
				delta[column] = h
				up := rows(p.Plus(pose, delta))[i].Residual
				delta[column] = -h
				down := rows(p.Plus(pose, delta))[i].Residual
				if slope := (up - down) / (2 * h); math.Abs(slope-row.Derivs[k]) > 1e-6 {
					t.Fatalf("row %d by %d: %g, by differences %g", i, column, row.Derivs[k], slope)
				}
			}
		}
	})
}

// A general-purpose minimiser (gonum's optimize, Nelder and Mead's simplex, without derivatives of
// ours) on the same equations, written here by rotation matrices, finds the same
// pose.
func TestLinkageAgainstGeneralSolver(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLinkage(t)
		lengths := l.LengthsMm(PoseRad{})
		for i := range lengths {
			lengths[i] += rapid.Float64Range(-5, 5).Draw(t, "change")
		}
		pose, err := l.Solve(lengths, PoseRad{})
		if err != nil {
			t.Fatal(err)
		}
		squares := func(x []float64) float64 {
			angles := []float64{x[0], x[1], 0}
			place := func(e RodEnd) [3]float64 {
				f, k := l.Pivots[e.Body].Foot, l.Pivots[e.Body].Axis
				v := matrixTimes(rotationMatrix(k, angles[e.Body]), [3]float64{e.At.X - f.X, e.At.Y - f.Y, e.At.Z - f.Z})
				return [3]float64{f.X + v[0], f.Y + v[1], f.Z + v[2]}
			}
			sum := 0.0
			for i, rod := range l.Rods {
				a, b := place(rod[0]), place(rod[1])
				gap := math.Sqrt(math.Pow(a[0]-b[0], 2)+math.Pow(a[1]-b[1], 2)+math.Pow(a[2]-b[2], 2)) - lengths[i]
				sum += gap * gap
			}
			if len(l.Rods) == 1 {
				heading := 0.0
				for i, axle := range l.Axles {
					v := matrixTimes(rotationMatrix(l.Pivots[i].Axis, x[i]), [3]float64{axle.X, axle.Y, axle.Z})
					heading += math.Atan(v[1] / v[0])
				}
				sum += math.Pow(100*heading/2, 2)
			}
			return sum
		}
		result, err := optimize.Minimize(optimize.Problem{Func: squares}, []float64{0, 0},
			&optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-16, Iterations: 60}}, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		for i, angle := range result.X {
			// A sum of squares of 1e-14 mm² over arms of 60 mm, and some reserve for
			// where the simplex stops.
			if math.Abs(angle-pose[i]) > 1e-7 {
				t.Fatalf("angle %d: %.12f here, %.12f there (sum of squares %g)", i, pose[i], angle, result.F)
			}
		}
	})
}

// rotationMatrix about a unit vector, in components.
func rotationMatrix(k r3.Vec, angle float64) [3][3]float64 {
	s, c := math.Sincos(angle)
	v := 1 - c
	return [3][3]float64{
		{k.X*k.X*v + c, k.X*k.Y*v - k.Z*s, k.X*k.Z*v + k.Y*s},
		{k.X*k.Y*v + k.Z*s, k.Y*k.Y*v + c, k.Y*k.Z*v - k.X*s},
		{k.X*k.Z*v - k.Y*s, k.Y*k.Z*v + k.X*s, k.Z*k.Z*v + c},
	}
}

func matrixTimes(m [3][3]float64, v [3]float64) (w [3]float64) {
	for i := range m {
		for j := range v {
			w[i] += m[i][j] * v[j]
		}
	}
	return w
}

// An arm d square to the rod turns its wheel by 1/d for each mm of rod, and a rod
// behind the kingpins that gets longer pushes the wheels' fronts together.
func TestArmsRule(t *testing.T) {
	for _, test := range []struct {
		name     string
		armRad   float64
		toePerMm float64
	}{
		{"behind", -math.Pi / 2, 1.0 / 2 / 70},
		{"in front", math.Pi / 2, -1.0 / 2 / 70},
	} {
		l := fourBar(600, 70, 70, test.armRad, test.armRad)
		length := l.LengthsMm(PoseRad{})[0]
		const h = 1e-3
		up, err := l.Solve([]float64{length + h}, PoseRad{})
		require.NoError(t, err)
		down, err := l.Solve([]float64{length - h}, PoseRad{})
		require.NoError(t, err)
		// Each wheel has half of the two; closedMm/h/d of rounding.
		assert.InDelta(t, test.toePerMm, (l.ToeRad(up)-l.ToeRad(down))/(2*h), 1e-6, test.name)
	}
}

func TestLinkagesThatCannotStand(t *testing.T) {
	l := fourBar(600, 70, 70, -math.Pi/2, -math.Pi/2)
	for _, length := range []float64{0, 400, 800} { // the ends reach from 460 to 740
		_, err := l.Solve([]float64{length}, PoseRad{})
		assert.ErrorIs(t, err, ErrLinkage, "%g mm", length)
	}
	_, err := l.Solve(nil, PoseRad{})
	assert.Error(t, err)
	lying := *l
	lying.Pivots[LeftCarrier].Axis = r3.Vec{X: 1}
	_, err = lying.Pose(0.02, 0, 0)
	assert.ErrorIs(t, err, ErrLinkage, "a wheel does not steer about a lying axis")
}
