package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// The gap beside a rim's edge is open where the line of sight clears the tyre by much, and
// narrows to nothing where it is about to be hidden.
func TestNarrowing(t *testing.T) {
	s := exampleScene()
	open, narrow := 0, 0
	for photo := range s.Photos {
		for side := range s.Wheels {
			c := newLocus(s.wheel(photo, Side(side)), RimCircle, Side(side).inboard(), s.view(photo))
			visible := rimVisible(&c)
			for u := 0.0; u < 2*math.Pi; u += 0.01 {
				ip, ok := c.image(u)
				if !ok || !visible(&ip) {
					continue
				}
				clearance, n := c.clearance(&ip), c.narrowing(&ip)
				require.Greater(t, clearance, bulgeMargin)
				require.Less(t, n, 1.0)
				require.Equal(t, clearance < gapOpens, n > 0)
				open += count(n == 0)
				narrow += count(n > 0.8)
			}
		}
	}
	require.Greater(t, open, 100)
	require.Greater(t, narrow, 10)
}

// An edge on the tyre's outline is the outline's, one beside it by more than blur moves
// edges may be the rim's.
func TestIsOutline(t *testing.T) {
	s := exampleScene()
	w, v := s.wheel(0, Left), s.view(0)
	outline := newLocus(w, TyreOuter, 0, v)
	is := isOutline(w, v)
	for _, u := range []float64{0.5, 1.5, 2.5} {
		ip, ok := outline.image(u)
		require.True(t, ok)
		for _, c := range []struct {
			beside float64 // px outward
			want   bool
		}{{0, true}, {outlineClearPx - 0.1, true}, {0.1 - outlineClearPx, true}, {outlineClearPx + 0.1, false}, {-outlineClearPx - 0.1, false}} {
			rim := ip // a point of a rim 5 px inside, its edge that much farther out
			rim.px = calib.Point{X: ip.px.X - 5*ip.nx, Y: ip.px.Y - 5*ip.ny}
			assert.Equal(t, c.want, is(&rim, 5+c.beside), "%g px beside, at %.0f°", c.beside, u*180/math.Pi)
		}
	}
}
