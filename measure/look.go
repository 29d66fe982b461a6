package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file says what one photo shows before it is measured: where it was taken from, by
// its sheets, and where the front wheels seem to be, by the search alone. It takes some
// 0.5 s of one processor, and half as much again where the rims' size is not known.

// Stand is where a photo was taken, from its sheets' corners alone.
type Stand struct {
	BearingDeg float64 // of the camera seen from the sheets: 0° in front, 90° at the right, to ±180°
	PitchDeg   float64 // how steeply the sheets' middle is seen: 90° from straight above
	Sheets     []Lying // by number
}

// Lying is how a sheet lies, in the frame of the photo's first sheet.
type Lying struct {
	Number     int
	XMm, YMm   float64
	HeadingDeg float64 // of its arrow, counter-clockwise from the first sheet's
}

// SeenFrom is how the sheet lies in the frame of another one of the photo.
func (l Lying) SeenFrom(other Lying) Lying {
	sin, cos := math.Sincos(other.HeadingDeg / degPerRad)
	x, y := l.XMm-other.XMm, l.YMm-other.YMm
	return Lying{l.Number, cos*x + sin*y, cos*y - sin*x, l.HeadingDeg - other.HeadingDeg}
}

// Sight is what a photo shows.
type Sight struct {
	Stand  Stand
	Wheels []SeenWheel // left and right; none where nothing looks like them
	Score  float64     // of the wheels: they are sure to be the front wheels from SureScore on
}

// SeenWheel is where a front wheel seems to be.
type SeenWheel struct {
	Side   Side
	Inside float64 // share of the tyre's outline that lies within the picture
	Curves []Curve // the tyre's outline, and where its size is known about where the rim ends
}

// Scores of what was taken for the front wheels. Of 74 photos with wheels none scored
// less than 0.26, of 12 of sheets alone none more than 0.08.
const (
	seenScore = 0.18
	SureScore = sureScore
)

// roughBeadSeats stand for every size where it is not known, the most usual one first:
// their tyres' outer diameters cover all.
var roughBeadSeats = []float64{406, 305, 507}

// LookAt says what one photo shows. The error is a *vision.Refusal where the sheets do not serve.
func LookAt(in Input, beadSeatMm float64) (*Sight, error) {
	m, err := prepare([]Input{in}, Settings{BeadSeatMm: beadSeatMm})
	if err != nil {
		return nil, err
	}
	sight := &Sight{Stand: m.stand()}
	f := m.newFinder(m.scene)
	var pairs []pairGuess
	if beadSeatMm != 0 {
		pairs = f.search([]float64{beadSeatMm}, seenScore)
	} else {
		pairs = f.search(roughBeadSeats, seenScore)
		pairs = inOrder(append(f.resized(pairs[:min(len(pairs), 1)]), pairs...))
	}
	if len(pairs) == 0 || pairs[0].score < seenScore {
		return sight, nil
	}
	best := pairs[0]
	sight.Score = best.score
	for side, g := range best.wheels() {
		sight.Wheels = append(sight.Wheels, m.seen(Side(side), g.wheel(), beadSeatMm))
	}
	return sight, nil
}

// stand is where the set's first photo was taken.
func (m *set) stand() Stand {
	var middle r3.Vec
	for _, s := range m.scene.Sheets {
		middle = r3.Add(middle, r3.Scale(1/float64(len(m.scene.Sheets)), s.Pose.T))
	}
	var lying []Lying
	first := m.scene.Sheets[0].Pose.Inverse()
	for _, s := range m.scene.Sheets {
		pose := first.Mul(s.Pose)
		arrow := pose.R.Apply(r3.Vec{Y: 1})
		lying = append(lying, Lying{s.Number, pose.T.X, pose.T.Y, math.Atan2(-arrow.X, arrow.Y) * degPerRad})
	}
	slices.SortFunc(lying, func(a, b Lying) int { return a.Number - b.Number })
	line := r3.Sub(m.scene.view(0).eye, middle)
	return Stand{
		BearingDeg: math.Atan2(line.X, line.Y) * degPerRad,
		PitchDeg:   math.Atan2(line.Z, math.Hypot(line.X, line.Y)) * degPerRad,
		Sheets:     lying,
	}
}

// seen is how a wheel lies in the set's first photo.
func (m *set) seen(side Side, w Wheel, beadSeatMm float64) SeenWheel {
	v := m.scene.view(0)
	outline := newLocus(&w, TyreOuter, 0, v)
	size := m.size(0)
	seen := SeenWheel{Side: side, Curves: outline.stretches(side, smallSteps, func(ip *imagePoint) bool { return ip.radial > 0 })}
	points, inside := 0, 0
	for _, c := range seen.Curves {
		for _, p := range c.Points {
			points++
			if p.X > 0 && p.Y > 0 && p.X < size[0] && p.Y < size[1] {
				inside++
			}
		}
	}
	seen.Inside = float64(inside) / float64(max(1, points))
	if beadSeatMm != 0 {
		for face := range w.Rim {
			w.expectRim(Face(face), beadSeatMm/2)
			rim := newLocus(&w, RimCircle, Face(face), v)
			seen.Curves = append(seen.Curves, rim.stretches(side, smallSteps, rimVisible(&rim))...)
		}
	}
	return seen
}
