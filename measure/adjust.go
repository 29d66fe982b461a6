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
}

func (a *adjustment) problem() Problem[*Scene] {
	return Problem[*Scene]{Unknowns: a.layout.n, Rows: a.rows, Plus: a.layout.plus}
}

// rows emits every observation and prior at scene s.
func (a *adjustment) rows(s *Scene, emit func(Row)) bool {
	views := make([]view, len(s.Photos))
	for i := range views {
		views[i] = s.view(i)
	}
	var b rowBuilder
	for i := range a.corners {
		if !a.cornerRows(s, views, &a.corners[i], &b, emit) {
			return false
		}
	}
	var c locus
	for i := range a.edges {
		o := &a.edges[i]
		if i == 0 || !sameCurve(o, &a.edges[i-1]) {
			c = newLocus(s.wheel(o.photo, o.side), o.kind, o.face, views[o.photo])
		}
		if !a.edgeRow(s, &c, o, &b, emit) {
			return false
		}
	}
	for i := range a.priors {
		a.priors[i].row(s, &b, emit)
	}
	return true
}

func sameCurve(a, b *edgeObservation) bool {
	return a.photo == b.photo && a.side == b.side && a.kind == b.kind && a.face == b.face
}
