package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A rim settles its wheel where its edge is met nearly all around, near the circle, and
// was found clearly.
func TestRimSettles(t *testing.T) {
	type met struct {
		face    Face
		arcs    []int
		points  int
		offPx   float64
		further float64 // turns by which the angle was counted on
	}
	inboard, outboard := Left.inboard(), 1-Left.inboard()
	const clear = rimClearShare
	for _, c := range []struct {
		name  string
		share [2]float64 // of the inboard and the outboard edge
		met   []met
		want  bool
	}{
		{"nothing met", [2]float64{clear, clear}, nil, false},
		{"five arcs of one face", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 4, 5}, points: 3, offPx: 0.2}}, true},
		{"counted on from turn to turn", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 4, 5}, points: 3, offPx: 0.2, further: -1}}, true},
		{"four arcs", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 4}, points: 30, offPx: 0.1}}, false},
		{"two points an arc", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 3, 4, 5}, points: 2, offPx: 0.1}}, false},
		{"points that scatter", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 3, 4, 5}, points: 9, offPx: 0.4}}, false},
		{"points far off", [2]float64{clear, 0}, []met{{face: inboard, arcs: []int{0, 1, 2, 3, 4, 5}, points: 9, offPx: 0.6}}, false},
		{"both faces together", [2]float64{clear, clear}, []met{
			{face: inboard, arcs: []int{0, 1, 2}, points: 5, offPx: 0.1}, {face: outboard, arcs: []int{2, 4, 5}, points: 5, offPx: 0.1},
		}, true},
		{"one of them found by few", [2]float64{clear, clear - 0.01}, []met{
			{face: inboard, arcs: []int{0, 1, 2}, points: 5, offPx: 0.1}, {face: outboard, arcs: []int{2, 4, 5}, points: 5, offPx: 0.1},
		}, false},
		{"a mudguard's outline instead", [2]float64{}, []met{{face: inboard, arcs: []int{0, 1, 2, 3, 4, 5}, points: 9, offPx: 0.1}}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, f := &set{}, &fitted{}
			m.rims[Left][inboard].share, m.rims[Left][outboard].share = c.share[0], c.share[1]
			for _, one := range c.met {
				for _, arc := range one.arcs {
					for i := range one.points {
						u := (float64(arc)+(float64(i)+0.5)/float64(one.points))/arcs + one.further
						f.adjustment.edges = append(f.adjustment.edges, edgeObservation{kind: RimCircle, side: Left, face: one.face, u: 2 * math.Pi * u})
						f.residuals = append(f.residuals, one.offPx*float64(1-2*(i%2)))
					}
				}
			}
			assert.Equal(t, c.want, m.rimSettles(f, Left))
			assert.False(t, m.rimSettles(f, Right), "the other wheel")
		})
	}
}

// With mudguards on both wheels two photos, or one, need both rims; three photos, or a wheel whose
// outline is hidden on one side alone, do not.
func TestTwoPhotosOfMudguardsNeedTheRims(t *testing.T) {
	for _, c := range []struct {
		name   string
		photos int
		lower  [2]bool
		want   bool
	}{
		{"no mudguards", 2, [2]bool{}, false},
		{"one side", 2, [2]bool{true, false}, false},
		{"both", 2, [2]bool{true, true}, true},
		{"both, three photos", 3, [2]bool{true, true}, false},
		{"both, one photo", 1, [2]bool{true, true}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := &set{inputs: make([]Input, c.photos), hearing: hearing{lower: c.lower}}
			assert.Equal(t, c.want, m.needsRims())
		})
	}
}
