package vision

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// strip is a dark body from the left to x = 40, a strip of so many pixels along it, and a
// grey floor, each as grey and blue.
func strip(width int, grey, blue uint8) *Photo {
	const size, body, floor = 100, 40, 128
	p := &Photo{Gray: newGray(size, size), Blue: newGray(size, size)}
	for i := range p.Gray.Pix {
		switch x := i % size; {
		case x < body:
			p.Gray.Pix[i], p.Blue.Pix[i] = 40, 40
		case x < body+width:
			p.Gray.Pix[i], p.Blue.Pix[i] = grey, blue
		default:
			p.Gray.Pix[i], p.Blue.Pix[i] = floor, floor
		}
	}
	return p
}

// What is beside a body's edge: a strip as light as the floor shows by its colour alone, a
// lighter one by the fall beyond it.
func TestStripsAlongAnEdge(t *testing.T) {
	probe := Probe{At: calib.Point{X: 39.5, Y: 50}, NX: 1, HalfWidth: 6}
	for name, c := range map[string]struct {
		photo          *Photo
		tint, reversal bool
	}{
		"plain":           {strip(0, 0, 0), false, false},
		"tan, like floor": {strip(4, 128, 70), true, false},
		"white":           {strip(3, 200, 200), false, true},
		"without colours": {&Photo{Gray: strip(4, 128, 70).Gray}, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			edges := c.photo.Gray.Edges(probe)
			require.NotEmpty(t, edges)
			require.InDelta(t, 0, edges[0].Offset, 0.3)
			if tint := c.photo.Tint(&probe, &edges[0]); c.tint {
				require.Less(t, tint, 0.6) // (70/128)^2.2 and less is 0.27, near the strip's middle
			} else {
				require.InDelta(t, 1, tint, 0.01)
			}
			if c.reversal {
				require.InDelta(t, 0.45, edges[0].Reversal, 0.1) // of 0.58 and 0.22 in linear light
			} else {
				require.Zero(t, edges[0].Reversal)
			}
		})
	}
}

// Near the picture's rim there is no telling.
func TestTintAtTheRim(t *testing.T) {
	p := strip(4, 128, 70)
	probe := Probe{At: calib.Point{X: 95, Y: 50}, NX: 1, HalfWidth: 6}
	require.Equal(t, 1.0, p.Tint(&probe, &Edge{}))
}
