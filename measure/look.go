package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Stand is where a photo was taken, from its sheets' corners alone.
type Stand struct {
	BearingDeg float64 // of the camera seen from the sheets: 0° in front, 90° at the right, to ±180°
	PitchDeg   float64 // how steeply the sheets' middle is seen: 90° from straight above
}

// StandOf finds where one photo was taken; no wheel is looked for. The error is a
// *vision.Refusal where the sheets do not serve.
func StandOf(in Input) (Stand, error) {
	m, err := prepare([]Input{in}, Settings{})
	if err != nil {
		return Stand{}, err
	}
	var middle r3.Vec
	for _, s := range m.scene.Sheets {
		middle = r3.Add(middle, r3.Scale(1/float64(len(m.scene.Sheets)), s.Pose.T))
	}
	line := r3.Sub(m.scene.view(0).eye, middle)
	return Stand{
		BearingDeg: math.Atan2(line.X, line.Y) * degPerRad,
		PitchDeg:   math.Atan2(line.Z, math.Hypot(line.X, line.Y)) * degPerRad,
	}, nil
}
