package measure

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// source is where uncertainty comes from: a line of the budget.
type source int

// Sources of the adjustment; the first three are type A, seen in the photos' own
// residuals, the others type B.
const (
	sourceCorners source = iota
	sourceTyreEdges
	sourceRimEdges
	sourceCamera
	sourceFocal
	sourcePrincipal
	sourceDistortion
	sourceLensMotion
	sourcePrintScale
	sourceFlatness
	sourceWobble
	sourceTyreShape
	sourceRimSize
	sourceEdgeOffset
	numSources
)

func (s source) code() string {
	return [...]string{
		"sheet_corners", "tyre_outline", "rim_edge", "camera_profile", "focal_length", "principal_point", "lens_distortion", "lens_motion",
		"print_scale", "sheet_flatness", "tyre_on_rim", "tyre_shape", "rim_size", "edge_brightness",
	}[s]
}

// unit is the one of the source's line in the budget.
func (s source) unit() string {
	return [...]string{
		"px", "px", "px", "own u", "px", "px", "1", "px", "%", "mm", "mm", "mm", "mm", "px",
	}[s]
}

func (s source) evaluation() string {
	if s <= sourceRimEdges {
		return "A"
	}
	return "B"
}

// prior is what is known beforehand of one unknown, or of a sum of some.
type prior struct {
	source  source
	value   func(s *Scene) float64
	columns []int
	derivs  []float64 // of value by the columns; nil: all 1
	mean    float64
	sigma   float64
	scale   float64 // from the value to the unit of the source's line; 0: 1
	reserve float64 // of the weight, see Row; 0: none
}

// inUnits says how much one of these priors' values is in the unit of their source's
// line: a relative scale in %, an angle in mm at the edge of what it turns.
func inUnits(priors []prior, scale float64) {
	for i := range priors {
		priors[i].scale = scale
	}
}

func (p *prior) row(s *Scene, b *rowBuilder, emit func(Row)) {
	b.reset()
	for k, column := range p.columns {
		deriv := 1.0
		if p.derivs != nil {
			deriv = p.derivs[k]
		}
		b.add(column, deriv/p.sigma)
	}
	if len(b.cols) > 0 {
		emit(Row{Cols: b.cols, Derivs: b.derivs, Residual: (p.value(s) - p.mean) / p.sigma, Group: int(p.source), Sigma: p.sigma * cmp.Or(p.scale, 1), Reserve: p.reserve})
	}
}

// Prior standard uncertainties. Those of lens and sheet are the project's design
// figures; the others say where they come from.
const (
	focalSigma        = 0.03 // relative, of EXIF's focal length
	principalSigma    = 0.01 // of the picture's width
	k1Sigma, k2Sigma  = 0.05, 0.1
	tangentialSigma   = 5e-4
	zoomSigma         = 0.002 // relative, photo to photo: Sensors 2023, 23(2), 728
	shiftSigma        = 0.001 // of the picture's width, photo to photo: the same study
	printSigma        = 0.002 // of a print said to be at 100 %: 0.2 mm on the 100 mm ruler
	warpSigmaMm       = 0.3   // paper on a floor
	paperSigmaMm      = 0.02  // of a corner: what the three kinds of warp leave, and the printer
	sheetHeightSigma  = 0.5   // mm, of the sheet's middle above the floor
	sheetTiltSigmaRad = 0.003 // 0.3 mm across 100 mm
	gapShiftSigmaPx   = 0.6   // up to a photo's blur of 1 px either way, all alike
	// A tyre wobbles on its rim by up to about 1 mm peak to peak (common practice, no source),
	// in a direction of its own. If one in twenty wobbles by more, across 450 mm, that is
	// 1/450/1.96/√2 = 0.0008 rad about either axis. It is weighted as if it were more: the few
	// that wobble more would lose more by it than the others win.
	wobbleSigmaRad  = 0.001
	wobbleReserve   = 1.25
	rimShiftSigmaMm = 0.7 // of the rim's centre against the tyre's, likewise
	// A rim's outer diameter exceeds its bead seat diameter by about twice the
	// flange's height of 6 mm (ISO 5775-2, from memory).
	flangeHeightMm      = 6.0
	flangeHeightSigmaMm = 0.6
	handSigmaMm         = 1.0  // of a rim's outer diameter measured by hand across the hub
	rimOffsetMm         = 14.0 // of the lip's outermost point from the rim's middle plane
	rimOffsetSigmaMm    = 3.0
	lipMm, lipSigmaMm   = 1.0, 0.5 // rounding of a flange's lip, whose wall is about 2 mm
	tubeSigmaMm         = 3.0      // of the tyre's half width against half its section's height
	// A tyre sags under its load by up to some 15 % of its height (common practice, no source),
	// 0 to 7 mm: by how much the hub is below the tyre's free radius.
	hubSinkMm, hubSinkSigmaMm = 2.5, 2.0
	// What rolling and steering on an even floor leave of a wheel's height and lean.
	restHeightSigmaMm = 0.5
	restTiltSigmaRad  = 0.002
	anyMoveMm         = 300.0 // so wide that it matters only where a wheel is not seen
	anyTurnRad        = 0.5
)

// knowledge is all prior knowledge of a scene.
type knowledge struct {
	cameras    []cameraPrior
	rims       [2]float64 // bead seat radius in mm
	rimSigma   float64    // of them, where they are guessed
	warpSigma  float64    // of the sheets' warps in mm, where it is asked whether they lie flat; 0: as usual
	edgeSigma  float64    // of the rims' outer radius, where that was measured; 0: as flanges are high
	scale      [2]float64 // print scale along x and y
	scaleSigma float64
	moved      bool // the person says that the wheels were moved between the states
}

// offsetsKnown is by how much edges may seem to lie outward, in px, which linearising the tone curve
// leaves: in all photos of a camera alike, and in each photo apart, of the tyre and of the rim.
type offsetsKnown struct {
	alike float64
	apart [2]float64
}

var (
	// While it is not settled what the edges are, they are left room in each photo.
	offsetsLoose = offsetsKnown{0, [2]float64{0.15, 0.15}}
	// The outlines of eight given sets lay 0.12 to 0.27 px inside, but within a set apart by 0.05 px,
	// the rims' edges by 0.12 (root mean square); in 21 drawn ones by 0.02 and 0.04.
	offsetsBelieved = offsetsKnown{0.2, [2]float64{0.06, 0.12}}
)

// priors are of the photos' edge offsets, and of what narrow gaps add.
func (o offsetsKnown) priors(s *Scene, l *layout) (list []prior) {
	for camera := range s.Cameras {
		var photos []int
		for i := range s.Photos {
			if s.Photos[i].Camera == camera {
				photos = append(photos, i)
			}
		}
		if len(photos) == 0 {
			continue // of another state
		}
		for kind, apart := range o.apart {
			covariance, columns := mat.NewSymDense(len(photos), nil), make([]int, len(photos))
			for i, photo := range photos {
				columns[i] = l.photos[photo][photoEdge+kind]
				for k := range i {
					covariance.SetSym(i, k, o.alike*o.alike)
				}
				covariance.SetSym(i, i, o.alike*o.alike+apart*apart)
			}
			white, first := whitening(covariance), len(list)
			list = append(list, correlatedPriors(sourceEdgeOffset, columns, white, make([]float64, len(photos)), 1,
				func(s *Scene, k int) float64 { return s.Photos[photos[k]].EdgeOffset[kind] })...)
			for i := range list[first:] {
				list[first+i].scale = 1 / white.At(i, i) // px, given the photos before
			}
		}
	}
	if l.gap[0] != fixed {
		list = append(list, prior{source: sourceEdgeOffset, columns: l.gap[:], sigma: gapShiftSigmaPx, value: func(s *Scene) float64 { return s.GapShift }})
	}
	return list
}

// instead are these priors with the edge offsets known so.
func (o offsetsKnown) instead(list []prior, s *Scene, l *layout) []prior {
	others := slices.DeleteFunc(slices.Clone(list), func(p prior) bool { return p.source == sourceEdgeOffset })
	return append(others, o.priors(s, l)...)
}

// priors of the free unknowns of a layout.
func (k *knowledge) priors(s *Scene, l *layout) []prior {
	var list []prior
	addSum := func(src source, columns []int, derivs []float64, mean, sigma float64, value func(*Scene) float64) {
		if columns[0] != fixed {
			list = append(list, prior{source: src, value: value, columns: columns, derivs: derivs, mean: mean, sigma: sigma})
		}
	}
	add := func(src source, column int, mean, sigma float64, value func(*Scene) float64) {
		addSum(src, []int{column}, nil, mean, sigma, value)
	}
	for i := range s.Cameras {
		list = append(list, k.cameras[i].priors(i, l.cameras[i][:])...)
	}
	for i := range s.Photos {
		at := l.photos[i]
		list = append(list, k.cameras[s.Photos[i].Camera].motionPriors(i, at[:photoTurn])...)
	}
	list = append(list, offsetsLoose.priors(s, l)...)
	for i := range s.Sheets {
		at := l.sheets[i]
		// The floor's normal on the sheet; turning the sheet about the vertical turns its tilt along.
		first := len(list)
		normal := r3.Vec{X: s.Sheets[i].Pose.R[0][2], Y: s.Sheets[i].Pose.R[1][2], Z: s.Sheets[i].Pose.R[2][2]}
		addSum(sourceFlatness, []int{at[sheetTurn], at[sheetTurn+2]}, []float64{normal.Z, -normal.X}, 0, sheetTiltSigmaRad,
			func(s *Scene) float64 { return -s.Sheets[i].Pose.R[1][2] })
		addSum(sourceFlatness, []int{at[sheetTurn+1], at[sheetTurn+2]}, []float64{normal.Z, -normal.Y}, 0, sheetTiltSigmaRad,
			func(s *Scene) float64 { return s.Sheets[i].Pose.R[0][2] })
		inUnits(list[first:], boardHalfY)
		add(sourceFlatness, at[sheetMove+2], 0, sheetHeightSigma, func(s *Scene) float64 { return s.Sheets[i].Pose.T.Z })
		first = len(list)
		add(sourcePrintScale, at[sheetScale], k.scale[0], k.scaleSigma, func(s *Scene) float64 { return s.Sheets[i].ScaleX })
		add(sourcePrintScale, at[sheetScale+1], k.scale[1], k.scaleSigma, func(s *Scene) float64 { return s.Sheets[i].ScaleY })
		inUnits(list[first:], 100)
		for w := range s.Sheets[i].Warp {
			add(sourceFlatness, at[sheetWarp+w], 0, cmp.Or(k.warpSigma, warpSigmaMm), func(s *Scene) float64 { return s.Sheets[i].Warp[w] })
		}
	}
	for side := range s.Wheels {
		list = append(list, k.wheelPriors(Side(side), l)...)
	}
	for state := range l.changes {
		for side := range l.changes[state] {
			list = append(list, k.changePriors(state, side, l.changes[state][side])...)
		}
	}
	return list
}

// changePriors are of one wheel's change from state to state: on an even floor, or
// as moved.
func (k *knowledge) changePriors(state, side int, at [changeUnknowns]int) []prior {
	if at[0] == fixed {
		return nil
	}
	sigmas := [changeUnknowns]float64{anyMoveMm, anyMoveMm, restHeightSigmaMm, anyTurnRad, restTiltSigmaRad}
	if k.moved {
		sigmas[2], sigmas[4] = anyMoveMm, anyTurnRad
	}
	var list []prior
	for i, sigma := range sigmas {
		list = append(list, prior{source: sourceTyreShape, columns: at[i : i+1], sigma: sigma,
			value: func(s *Scene) float64 { return s.Changes[state][side].numbers()[i] }})
	}
	return list
}

// outerSigma is how well a rim's outer radius is known.
func (k *knowledge) outerSigma() float64 { return cmp.Or(k.edgeSigma, flangeHeightSigmaMm) }

func (k *knowledge) wheelPriors(side Side, l *layout) []prior {
	at := l.wheels[side]
	var list []prior
	add := func(src source, columns []int, derivs []float64, mean, sigma float64, value func(*Wheel) float64) {
		if columns[0] != fixed {
			list = append(list, prior{source: src, columns: columns, derivs: derivs, mean: mean, sigma: sigma,
				value: func(s *Scene) float64 { return value(&s.Wheels[side]) }})
		}
	}
	bead := k.rims[side]
	add(sourceTyreShape, []int{at[2], at[wheelRing], at[wheelTube]}, []float64{1, -1, -1}, -hubSinkMm, hubSinkSigmaMm,
		func(w *Wheel) float64 { return w.Centre.Z - w.Ring - w.Tube })
	// The tyre's section is about as high as wide: from the bead to the tread, R + r − bead = 2r.
	add(sourceTyreShape, []int{at[wheelRing], at[wheelTube]}, []float64{1, -1}, bead, math.Hypot(tubeSigmaMm, k.rimSigma),
		func(w *Wheel) float64 { return w.Ring - w.Tube })
	rim := at[wheelRim:]
	first := len(list)
	add(sourceWobble, rim[:1], nil, 0, wobbleSigmaRad, func(w *Wheel) float64 { return w.RimHeadingRad })
	add(sourceWobble, rim[1:2], nil, 0, wobbleSigmaRad, func(w *Wheel) float64 { return w.RimTiltRad })
	inUnits(list[first:], bead+flangeHeightMm)
	for i := first; i < len(list); i++ {
		list[i].reserve = wobbleReserve
	}
	add(sourceWobble, rim[2:3], nil, 0, rimShiftSigmaMm, func(w *Wheel) float64 { return w.RimForward })
	add(sourceWobble, rim[3:4], nil, 0, rimShiftSigmaMm, func(w *Wheel) float64 { return w.RimUp })
	add(sourceRimSize, rim[4:5], nil, lipMm, lipSigmaMm, func(w *Wheel) float64 { return w.Lip })
	for face := range 2 {
		circle := at[wheelCircles+2*face:]
		sign := Face(face).sign()
		add(sourceRimSize, []int{circle[0], at[wheelLip]}, nil, bead+flangeHeightMm, k.outerSigma(),
			func(w *Wheel) float64 { return w.Rim[face].Radius + w.Lip })
		add(sourceRimSize, []int{circle[1], at[wheelLip]}, []float64{1, sign}, sign*rimOffsetMm, rimOffsetSigmaMm,
			func(w *Wheel) float64 { return w.Rim[face].Offset + sign*w.Lip })
	}
	return list
}
