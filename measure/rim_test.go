package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

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
