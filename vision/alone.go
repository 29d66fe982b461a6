package vision

import "math"

// This file says where an edge would be met if it were alone. Sharp edges seen through a blur of
// standard deviation σ add up: the slope across them is Σ a·exp(−(x−p)²/2σ²), a for an edge's
// height, p for its place. Where two are nearer than some 3σ, the slope is steepest elsewhere: at
// edges of a thin line, one up and one down, farther apart, at two steps the same way nearer
// together. The places and slopes that were met are those of the sum's extrema; what is sought are
// the p and a that have them there.

const (
	aloneRounds  = 60
	aloneEnough  = 1e-3 // px, by which a round still moves an edge
	aloneHeavier = 20.0 // times the slope that was met: edges that nearly cancel are not told apart
)

// Alone is the offset at which an edge would be met without those beside it, sharp ones being
// blurred by a standard deviation of widthPx, the search's own smoothing included, as Width says
// it. ok is false where they are too near to be told apart.
func (e *Edge) Alone(widthPx float64) (offset float64, ok bool) {
	met := []Neighbour{{Slope: 1}}
	for _, n := range e.Beside {
		if n.Slope != 0 {
			met = append(met, n)
		}
	}
	if len(met) == 1 {
		return e.Offset, true
	}
	alone := append([]Neighbour(nil), met...)
	next := make([]Neighbour, len(met))
	for range aloneRounds {
		change := 0.0
		for k := range met {
			next[k] = apart(met[k], alone, k, widthPx)
			if !(math.Abs(next[k].Slope) < aloneHeavier && math.Abs(next[k].Offset-met[k].Offset) < 2*widthPx) {
				return e.Offset, false
			}
			change = max(change, math.Abs(next[k].Offset-alone[k].Offset))
		}
		for k := range alone { // halfway: two edges would swing about their places
			alone[k].Offset += (next[k].Offset - alone[k].Offset) / 2
			alone[k].Slope += (next[k].Slope - alone[k].Slope) / 2
		}
		if change < aloneEnough {
			return e.Offset + alone[0].Offset, true
		}
	}
	return e.Offset, false
}

// apart is edge k of those met, less what the others add at its place.
func apart(met Neighbour, alone []Neighbour, k int, width float64) Neighbour {
	slope, bend := 0.0, 0.0
	for j, other := range alone {
		if j != k {
			d := (met.Offset - other.Offset) / width
			a := other.Slope * math.Exp(-d*d/2)
			slope += a
			bend += a * d
		}
	}
	d := (met.Offset - alone[k].Offset) / width
	own := met.Slope - slope
	return Neighbour{Offset: met.Offset + width*bend/own, Slope: own / math.Exp(-d*d/2)}
}
