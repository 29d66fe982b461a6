package measure

// adjustment joins observations and prior knowledge into one least-squares problem.
type adjustment struct {
	layout     layout
	corners    []cornerObservation
	edges      []edgeObservation
	priors     []prior
	cornerLoss Loss
	edgeLoss   Loss
	covered    [2]bool // wheels that a mudguard covers: of the outline, the lower part is left
	grainy     bool    // tyres' edges were taken on grainy ground
}

// problemParts is in how many pieces its observations are asked for, whatever the number of
// processors, so that rounding is the same everywhere.
const problemParts = 4

func (a *adjustment) problem() Problem[*Scene] {
	p := Problem[*Scene]{Unknowns: a.layout.n, Rows: a.rows, Plus: a.layout.plus}
	for i := range problemParts {
		p.Parts = append(p.Parts, func(s *Scene, emit func(Row)) bool { return a.part(s, i, problemParts, emit) })
	}
	return p
}

// rows emits every observation and prior at scene s.
func (a *adjustment) rows(s *Scene, emit func(Row)) bool { return a.part(s, 0, 1, emit) }

// part emits one of so many parts of the corners, of the edges and of the priors.
func (a *adjustment) part(s *Scene, i, of int, emit func(Row)) bool {
	views := make([]view, len(s.Photos))
	for i := range views {
		views[i] = s.view(i)
	}
	var b rowBuilder
	corners, edges, priors := share(a.corners, i, of), share(a.edges, i, of), share(a.priors, i, of)
	for i := range corners {
		if !a.cornerRows(s, views, &corners[i], &b, emit) {
			return false
		}
	}
	var c locus
	for i := range edges {
		o := &edges[i]
		if i == 0 || !sameCurve(o, &edges[i-1]) {
			c = newLocus(s.wheel(o.photo, o.side), o.kind, o.face, views[o.photo])
		}
		if !a.edgeRow(s, &c, o, &b, emit) {
			return false
		}
	}
	for i := range priors {
		priors[i].row(s, &b, emit)
	}
	return true
}

// share is one of so many about equal stretches of a list.
func share[T any](list []T, i, of int) []T { return list[len(list)*i/of : len(list)*(i+1)/of] }

func sameCurve(a, b *edgeObservation) bool {
	return a.photo == b.photo && a.side == b.side && a.kind == b.kind && a.face == b.face
}
