package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

func plusVector(s, delta []float64) []float64 {
	moved := make([]float64, len(s))
	for i := range s {
		moved[i] = s[i] + delta[i]
	}
	return moved
}

// linear is a problem with residuals J·x − y.
func linear(j [][]float64, y []float64, loss Loss) Problem[[]float64] {
	cols := make([]int, len(j[0]))
	for i := range cols {
		cols[i] = i
	}
	return Problem[[]float64]{
		Unknowns: len(cols),
		Plus:     plusVector,
		Rows: func(x []float64, emit func(Row)) bool {
			for i, row := range j {
				r := -y[i]
				for k, d := range row {
					r += d * x[k]
				}
				emit(Row{Cols: cols, Derivs: row, Residual: r, Loss: loss, Group: i % 2})
			}
			return true
		},
	}
}

// requireDerivatives compares every derivative in the problem's rows with a
// five-point difference quotient. A step moves the most sensitive residual by a
// tenth of its σ; tolerance is relative to the largest derivative by the same
// unknown.
func requireDerivatives[S any](t *testing.T, p Problem[S], s S, tolerance float64) {
	t.Helper()
	residuals := func(s S) (r []float64) {
		require.True(t, p.Rows(s, func(row Row) { r = append(r, row.Residual) }))
		return r
	}
	var given []map[int]float64
	largest := make([]float64, p.Unknowns)
	require.True(t, p.Rows(s, func(row Row) {
		derivs := map[int]float64{}
		for k, c := range row.Cols {
			require.NotContains(t, derivs, c, "row %d has a column twice", len(given))
			derivs[c] = row.Derivs[k]
			largest[c] = max(largest[c], math.Abs(row.Derivs[k]))
		}
		given = append(given, derivs)
	}))
	for c := range p.Unknowns {
		require.NotZero(t, largest[c], "no row touches unknown %d", c)
		h := 0.1 / largest[c]
		at := func(steps float64) []float64 {
			delta := make([]float64, p.Unknowns)
			delta[c] = steps * h
			return residuals(p.Plus(s, delta))
		}
		a, b, d, e := at(-2), at(-1), at(1), at(2)
		require.Len(t, a, len(given))
		for i := range given {
			numeric := (a[i] - 8*b[i] + 8*d[i] - e[i]) / (12 * h)
			require.InDelta(t, numeric, given[i][c], tolerance*largest[c], "row %d by unknown %d", i, c)
		}
	}
}

// The straight line of JCGM 100:2008, H.3: readings of a thermometer against a
// standard, fitted with equal weights about 20 °C. Data of its table H.6 and
// results of H.3.3 from memory.
func TestSolveCalibrationLine(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	var j [][]float64
	for _, v := range temperature {
		j = append(j, []float64{1, v - 20})
	}
	s, err := Solve(linear(j, correction, nil), []float64{0, 0}, Options{})
	require.NoError(t, err)
	sd := math.Sqrt(2 * s.Cost / 9)
	// Half a unit of the last digit that the guide prints.
	require.InDelta(t, -0.1712, s.State[0], 0.00005)
	require.InDelta(t, 0.00218, s.State[1], 0.000005)
	require.InDelta(t, 0.0035, sd, 0.00005)
	require.InDelta(t, 0.0029, sd*math.Sqrt(s.Covariance.At(0, 0)), 0.00005)
	require.InDelta(t, 0.00067, sd*math.Sqrt(s.Covariance.At(1, 1)), 0.000005)
	require.InDelta(t, -0.930, s.Covariance.At(0, 1)/math.Sqrt(s.Covariance.At(0, 0)*s.Covariance.At(1, 1)), 0.0005)
}

// resection finds where a camera stands from known points in its picture: the
// state is a pose, whose rotation is no vector.
func resection(points []r3.Vec, picture []calib.Point, camera calib.Camera, sigma float64) Problem[calib.Pose] {
	return Problem[calib.Pose]{
		Unknowns: 6,
		Plus: func(p calib.Pose, d []float64) calib.Pose {
			return p.Perturb(r3.Vec{X: d[0], Y: d[1], Z: d[2]}, r3.Vec{X: d[3], Y: d[4], Z: d[5]})
		},
		Rows: func(p calib.Pose, emit func(Row)) bool {
			for i, x := range points {
				turned := p.R.Apply(x)
				q, j, ok := camera.ProjectJacobian(r3.Add(turned, p.T))
				if !ok {
					return false
				}
				for axis, residual := range []float64{q.X - picture[i].X, q.Y - picture[i].Y} {
					d := r3.Scale(1/sigma, r3.Vec{X: j.Point[axis][0], Y: j.Point[axis][1], Z: j.Point[axis][2]})
					w := r3.Cross(turned, d) // d·(w × turned) = w·(turned × d)
					emit(Row{
						Cols:     []int{0, 1, 2, 3, 4, 5},
						Derivs:   []float64{w.X, w.Y, w.Z, d.X, d.Y, d.Z},
						Residual: residual / sigma,
					})
				}
			}
			return true
		},
	}
}

func TestSolveRotations(t *testing.T) {
	camera := calib.Camera{F: 3000, Cx: 2016, Cy: 1512, K1: 0.05, K2: -0.1}
	truth := calib.Pose{R: calib.RotFromVector(r3.Vec{X: 2, Y: -0.4, Z: 0.3}), T: r3.Vec{X: 20, Y: -60, Z: 900}}
	var points []r3.Vec
	var exact []calib.Point
	for i := range calib.SheetCorners {
		x := calib.CornerMm(i)
		q, ok := camera.Project(truth.Apply(x))
		require.True(t, ok)
		points, exact = append(points, x), append(exact, q)
	}
	start := truth.Perturb(r3.Vec{X: 0.3, Y: 0.2, Z: -0.3}, r3.Vec{X: 50, Y: 50, Z: -200})
	requireDerivatives(t, resection(points, exact, camera, 0.1), start, 1e-7)

	s, err := Solve(resection(points, exact, camera, 0.1), start, Options{})
	require.NoError(t, err)
	require.Less(t, r3.Norm(r3.Sub(truth.T, s.State.T)), 1e-8)

	// With noise, the squared error in units of the covariance has mean 6 and
	// variance 12 (χ² of 6): over 500 draws a mean with standard error 0.155.
	const draws, sigma = 500, 0.1
	random := rand.New(rand.NewPCG(1, 2))
	var mean, meanCost float64
	for range draws {
		noisy := make([]calib.Point, len(exact))
		for i, q := range exact {
			noisy[i] = calib.Point{X: q.X + sigma*random.NormFloat64(), Y: q.Y + sigma*random.NormFloat64()}
		}
		s, err := Solve(resection(points, noisy, camera, sigma), truth, Options{})
		require.NoError(t, err)
		turn := s.State.R.Mul(truth.R.Transpose())
		shift := r3.Sub(s.State.T, truth.T)
		// A small rotation's vector, from its antisymmetric part.
		error := mat.NewVecDense(6, []float64{
			(turn[2][1] - turn[1][2]) / 2, (turn[0][2] - turn[2][0]) / 2, (turn[1][0] - turn[0][1]) / 2,
			shift.X, shift.Y, shift.Z,
		})
		var information mat.Dense
		require.NoError(t, information.Inverse(s.Covariance))
		mean += mat.Inner(error, &information, error) / draws
		meanCost += 2 * s.Cost / draws
	}
	require.InDelta(t, 6, mean, 4*0.155)
	dof := float64(2*len(points) - 6)
	require.InDelta(t, dof, meanCost, 4*math.Sqrt(2*dof/draws))
}

func TestSolveImpossibleStart(t *testing.T) {
	p := resection([]r3.Vec{{Z: -1}}, []calib.Point{{}}, calib.Camera{F: 1}, 1)
	_, err := Solve(p, calib.Pose{R: calib.Identity()}, Options{})
	require.ErrorIs(t, err, ErrStart)
}

// A state that turns impossible on the way is stepped back from: the minimum of
// (log x − 1)² lies at e, and from 20 the first full step leads below zero.
func TestSolveStepsBack(t *testing.T) {
	steppedBack := false
	p := Problem[float64]{
		Unknowns: 1,
		Plus:     func(x float64, d []float64) float64 { return x + d[0] },
		Rows: func(x float64, emit func(Row)) bool {
			if x <= 0 {
				steppedBack = true
				return false
			}
			emit(Row{Cols: []int{0}, Derivs: []float64{1 / x}, Residual: math.Log(x) - 1})
			return true
		},
	}
	s, err := Solve(p, 20, Options{})
	require.NoError(t, err)
	require.True(t, steppedBack)
	require.InDelta(t, math.E, s.State, 1e-9)
}

func TestSolveNotConverged(t *testing.T) {
	set := readNIST(t, "Misra1a")
	s, err := Solve(set.problem("Misra1a"), set.starts[0], Options{MaxIterations: 3})
	require.ErrorIs(t, err, ErrNotConverged)
	require.Equal(t, 3, s.Iterations)
}

// The solver never reports a place where wrong derivatives only made it stop.
func TestSolveWrongDerivatives(t *testing.T) {
	p := linear([][]float64{{1}, {1}}, []float64{1, 3}, nil)
	right := p.Rows
	p.Rows = func(x []float64, emit func(Row)) bool {
		return right(x, func(r Row) {
			r.Derivs = []float64{-r.Derivs[0]}
			emit(r)
		})
	}
	_, err := Solve(p, []float64{0}, Options{})
	require.ErrorIs(t, err, ErrNotConverged)
}

func TestSolveRank(t *testing.T) {
	tests := []struct {
		name     string
		j        [][]float64
		unknowns []int // any of these may be named
	}{
		{"unknown not observed", [][]float64{{1, 0, 2}, {3, 0, 1}, {1, 0, 1}}, []int{1}},
		{"only a sum observed", [][]float64{{1, 5, 5}, {2, 1, 1}, {1, 1, 1}}, []int{1, 2}},
		{"fewer observations than unknowns", [][]float64{{1, 0, 0}, {0, 1, 0}}, []int{2}},
		{"nearly dependent", [][]float64{{1, 1, 0}, {1, 1 + 1e-8, 0}, {0, 0, 1}}, []int{0, 1}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			p := linear(test.j, []float64{1, 2, 3}[:len(test.j)], nil)
			s, err := Solve(p, []float64{0, 0, 0}, Options{})
			var rank *RankError
			require.ErrorAs(t, err, &rank)
			require.Contains(t, test.unknowns, rank.Unknown)
			require.Greater(t, rank.Condition, maxCondition)
			require.Nil(t, s.Covariance)
			_, err = Covariance(p, []float64{0, 0, 0})
			require.ErrorAs(t, err, &rank)
		})
	}
}

// Units must not matter: the same problem in millimetres and in gigametres.
func TestSolveScales(t *testing.T) {
	j := [][]float64{{1, 2e-15}, {3, -1e-15}, {2, 2e-15}}
	s, err := Solve(linear(j, []float64{1, 2, 3}, nil), []float64{0, 0}, Options{})
	require.NoError(t, err)
	small := [][]float64{{1, 2}, {3, -1}, {2, 2}}
	want, err := Solve(linear(small, []float64{1, 2, 3}, nil), []float64{0, 0}, Options{})
	require.NoError(t, err)
	require.InEpsilon(t, want.State[0], s.State[0], 1e-12)
	require.InEpsilon(t, want.State[1], s.State[1]*1e-15, 1e-12)
	require.InEpsilon(t, want.Covariance.At(1, 1), s.Covariance.At(1, 1)*1e-30, 1e-12)
	require.InEpsilon(t, want.Condition, s.Condition, 1e-9)
}

// A mean with one gross error in five. The medians and trimmed means that the
// losses lead to can be had by hand.
func TestLosses(t *testing.T) {
	ones := [][]float64{{1}, {1}, {1}, {1}, {1}}
	y := []float64{-1, -0.5, 0.5, 1, 100}
	tests := []struct {
		name string
		loss Loss
		want float64
	}{
		{"squares", nil, 20},
		// Four residuals as squares and one at the constant slope 2·2: 4x = 2.
		{"Huber", Huber(2), 0.5},
		{"Tukey", Tukey(6), 0},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, err := Solve(linear(ones, y, test.loss), []float64{1}, Options{Tolerance: 1e-10})
			require.NoError(t, err)
			require.InDelta(t, test.want, s.State[0], 1e-8)
		})
	}
	// Weight is the slope of ρ, and ρ(s) ≈ s for small s.
	for _, loss := range []Loss{Huber(1.5), Tukey(4.5)} {
		for _, s := range []float64{1e-3, 0.5, 2, 3, 10, 30} {
			const h = 1e-5
			up, _ := loss(s + h)
			down, _ := loss(s - h)
			_, weight := loss(s)
			require.InDelta(t, (up-down)/(2*h), weight, 1e-8)
		}
		rho, _ := loss(1e-6)
		require.InEpsilon(t, 1e-6, rho, 1e-6)
	}
}

func TestShares(t *testing.T) {
	j := [][]float64{{1, 2}, {3, -1}, {2, 2}, {0.5, 7}}
	p := linear(j, []float64{1, 2, 3, 4}, nil)
	s, err := Solve(p, []float64{0, 0}, Options{})
	require.NoError(t, err)
	gradient := mat.NewVecDense(2, []float64{0.3, -2})
	parts := Shares(p, s.State, s.Covariance, gradient.RawVector().Data)
	require.Len(t, parts, 2)
	require.InEpsilon(t, mat.Inner(gradient, s.Covariance, gradient), parts[0].Variance+parts[1].Variance, 1e-12)
	// Rows 0 and 2 are group 0: their share by propagating their noise through the
	// estimator C·Jᵀ.
	var want float64
	for _, i := range []int{0, 2} {
		along := mat.Inner(gradient, s.Covariance, mat.NewVecDense(2, j[i]))
		want += along * along
	}
	require.InEpsilon(t, want, parts[0].Variance, 1e-12)
	// Observations less unknowns are left over; σ of 1 make sensitivities the same.
	scatters := Scatters(p, s.State, s.Covariance)
	require.InDelta(t, 2, scatters[0].Redundancy+scatters[1].Redundancy, 1e-12)
	require.InEpsilon(t, 2*s.Cost, scatters[0].ChiSquare+scatters[1].ChiSquare, 1e-12)
	require.InEpsilon(t, math.Sqrt(want), parts[0].Sensitivity, 1e-12)
}

// Weights with a reserve leave the solution alone; what is stated is what the observations'
// own noise makes of it: the estimator C·Jᵀ applied to each row's variance.
func TestReserve(t *testing.T) {
	j := [][]float64{{1, 2}, {3, -1}, {2, 2}, {0.5, 7}}
	reserves := []float64{1, 2, 0, 5} // 0: none
	plain := linear(j, []float64{1, 2, 3, 4}, nil)
	p := plain
	p.Rows = func(x []float64, emit func(Row)) bool {
		i := 0
		return plain.Rows(x, func(r Row) {
			r.Reserve = reserves[i]
			i++
			emit(r)
		})
	}
	s, err := Solve(p, []float64{0, 0}, Options{})
	require.NoError(t, err)
	without, err := Solve(plain, []float64{0, 0}, Options{})
	require.NoError(t, err)
	require.Equal(t, without, s)

	gradient := mat.NewVecDense(2, []float64{0.3, -2})
	var want float64
	for i, row := range j {
		along := mat.Inner(gradient, s.Covariance, mat.NewVecDense(2, row)) / max(1, reserves[i])
		want += along * along
	}
	stated := Propagated(p, s.State, s.Covariance)
	require.InEpsilon(t, want, mat.Inner(gradient, stated, gradient), 1e-12)
	parts := Shares(p, s.State, s.Covariance, gradient.RawVector().Data)
	require.InEpsilon(t, want, parts[0].Variance+parts[1].Variance, 1e-12)
	require.True(t, mat.EqualApprox(s.Covariance, Propagated(plain, s.State, s.Covariance), 1e-12))
}

// BenchmarkSolve is one adjustment of the size that a set of photos makes.
func BenchmarkSolve(b *testing.B) {
	const unknowns, rows, touched = 150, 6000, 20
	random := rand.New(rand.NewPCG(3, 4))
	type observation struct {
		cols   []int
		derivs []float64
	}
	observations := make([]observation, rows)
	for i := range observations {
		observations[i] = observation{random.Perm(unknowns)[:touched], make([]float64, touched)}
		for k := range touched {
			observations[i].derivs[k] = random.NormFloat64()
		}
	}
	p := Problem[[]float64]{
		Unknowns: unknowns,
		Plus:     plusVector,
		Rows: func(x []float64, emit func(Row)) bool {
			for i, o := range observations {
				r := float64(i % 7)
				for k, c := range o.cols {
					r += o.derivs[k] * x[c]
				}
				emit(Row{Cols: o.cols, Derivs: o.derivs, Residual: r})
			}
			return true
		},
	}
	for b.Loop() {
		if _, err := Solve(p, make([]float64, unknowns), Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
