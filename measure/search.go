package measure

import (
	"cmp"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// This file finds the front wheels without any start: a grid of places on the
// floor, scored by how much the picture gets brighter across the predicted outline
// of the tyre, outward, in all photos together; the best places are improved by
// descent; then the best two that can be a pair are taken. The sign counts: tyres
// are dark, and edges of either sign lock on to anything.

// seeker scores wheels that are guessed.
type seeker struct {
	views    []view
	frames   []frame
	pictures []*vision.Coarse
	angles   []angle // points of an outline that are looked at
}

// angle is one around a wheel.
type angle struct{ sin, cos float64 }

func anglesAround(n int) []angle {
	list := make([]angle, n)
	for i := range list {
		list[i].sin, list[i].cos = math.Sincos(2 * math.Pi * (float64(i) + 0.5) / float64(n))
	}
	return list
}

// guess is a wheel to be scored: where it stands, how large its tyre is, and the bead
// seat radius that is taken for granted, mm.
type guess struct {
	x, y, headingRad, tiltRad, outer float64
	bead                             float64
	score                            float64
}

// wheel is what a guess means: the tyre's section is about as high as wide.
func (g guess) wheel() Wheel {
	tube := max(10, (g.outer-g.bead)/2)
	return Wheel{
		Centre:     r3.Vec{X: g.x, Y: g.y, Z: (g.outer - hubSinkMm) * math.Cos(g.tiltRad)},
		HeadingRad: g.headingRad, TiltRad: g.tiltRad,
		Ring: g.outer - tube, Tube: tube,
	}
}

const (
	searchAngles  = 32    // points of an outline on the grid
	fineAngles    = 64    // and when a guess is refined
	fineFactor    = 4     // pixels of the photo for one of the finer copy
	stepClip      = 0.6   // logarithm: what one point can bring at most, so that many must agree
	floorBlindMm  = 40.0  // height under which a tyre is flattened and in its own shadow
	minSeenShare  = 0.4   // of an outline's points, for a photo to have a say
	hopelessScore = -0.02 // of one photo
	absentPenalty = 0.05  // score of a photo that does not show the wheel
)

// rate scores a guess with points compared reach pixels to either side; what no photo
// shows has no score.
func (k *seeker) rate(g guess, reach float64) float64 {
	w := g.wheel()
	total, shown := 0.0, false
	for i := range k.views {
		v := &k.views[i]
		if k.frames[i].misses(v.pose.Apply(w.Centre), g.outer) {
			total += absentPenalty
			continue
		}
		c := newLocus(&w, TyreOuter, 0, *v).inCamera()
		sum, seen, asked := 0.0, 0, 0
		for _, a := range k.angles {
			p, ok := c.pointAt(a.sin, a.cos)
			if !ok || v.height(p.at) < floorBlindMm {
				continue
			}
			asked++
			step, ok := k.step(i, p.at, p.outward, reach)
			if !ok {
				continue
			}
			seen++
			sum += max(-stepClip, min(stepClip, step))
		}
		if float64(seen) < minSeenShare*float64(asked) {
			total += absentPenalty
			continue
		}
		// Where the first photo that shows the place says no, the others need not be
		// asked: most places.
		if !shown && sum < hopelessScore*float64(asked) && len(k.views) > 1 {
			return sum / float64(asked)
		}
		shown = true
		total += sum / float64(asked)
	}
	if !shown {
		return 0
	}
	return total / float64(len(k.views))
}

// step is how much brighter a photo gets outward across a point of an outline, both in camera
// coordinates.
func (k *seeker) step(photo int, at, out r3.Vec, reach float64) (float64, bool) {
	v := &k.views[photo]
	px, ok := v.camera.Project(at)
	// Outward in the picture is the projection of the surface's normal: to first
	// order its components across the line of sight. Without what the lens turns it by,
	// single photos that barely settle come out otherwise.
	beyond, ok2 := v.camera.Project(r3.Add(at, out))
	nx, ny := beyond.X-px.X, beyond.Y-px.Y
	norm := math.Sqrt(nx*nx + ny*ny)
	if !ok || !ok2 || norm == 0 {
		return 0, false
	}
	return k.pictures[photo].Step(px, nx/norm, ny/norm, reach)
}

// climb improves a guess along each of its numbers.
func (k *seeker) climb(g guess, reach float64, steps [5]float64, halvings int) guess {
	g.score = k.rate(g, reach)
	return climb(g, steps[:], halvings, func(from guess, axis int, d float64) (guess, float64, float64) {
		to := from
		*[...]*float64{&to.x, &to.y, &to.headingRad, &to.tiltRad, &to.outer}[axis] += d
		if !to.plausible() {
			return to, from.score, from.score
		}
		to.score = k.rate(to, reach)
		return to, to.score, from.score
	})
}

// climb tries steps along each number of a state in turn until none helps, then halves them.
// try moves a state along one number and returns the new state with both scores.
func climb[S any](s S, steps []float64, halvings int, try func(from S, number int, by float64) (to S, score, before float64)) S {
	steps = slices.Clone(steps)
	for range halvings {
		for number, inVain := 0, 0; inVain < len(steps); number = (number + 1) % len(steps) {
			inVain++
			for _, by := range [2]float64{steps[number], -steps[number]} {
				if to, score, before := try(s, number, by); score > before {
					s, inVain = to, 0
					break
				}
			}
		}
		for i := range steps {
			steps[i] /= 2
		}
	}
	return s
}

// Limits of what a front wheel can be.
const (
	maxHeadingRad = 0.26 // against the sheets' arrows
	maxTiltRad    = 0.14
	minSectionMm  = 18.0 // of a tyre, bead to tread
	maxSectionMm  = 70.0
)

func (g guess) plausible() bool {
	section := g.outer - g.bead
	return math.Abs(g.headingRad) <= maxHeadingRad && math.Abs(g.tiltRad) <= maxTiltRad && section >= minSectionMm && section <= maxSectionMm
}

const (
	gridStepMm    = 25.0
	gridReachX    = 1100.0 // how far from the nearest sheet a wheel can stand
	gridReachY    = 750.0
	outerStepMm   = 18.0
	gridReachPx   = 28.0 // about half a grid step in the photos
	climbReachPx  = 14.0
	fineReachPx   = 10.0
	finestReachPx = 5.0
	// How many guesses are kept at each stage; of few photos, which leave more in
	// doubt and take less time, more: as many together as the second number says.
	peaksClimbed, photosClimbed     = 60, 240
	peaksRefined, photosRefined     = 30, 120
	pairsSharpened, photosSharpened = 5, 20
	peaksKept                       = 60
	promisingShare                  = 0.4 // of the best pair's score
	// Guesses closer than this climb to the same peak.
	gridSpacingMm, gridSpacingOuterMm = gridStepMm * 1.1, outerStepMm * 0.9
	peakSpacingMm, peakSpacingOuterMm = 12.0, 6.0
)

// forPhotos is how many guesses are kept of a set of photos.
func (k *seeker) forPhotos(least, together int) int { return max(least, together/len(k.views)) }

// grid are guesses of wheels along the arrows on the floor around the sheets, with rims
// of one size, less those that nothing speaks for.
func (k *seeker) grid(sheets []SheetState, beadSeatMm float64) []guess {
	minX, maxX, minY, maxY := reachOf(sheets)
	columns := make([][]guess, int((maxX-minX)/gridStepMm)+1)
	each(len(columns), func(i int) {
		x := minX + float64(i)*gridStepMm
		for y := minY; y <= maxY; y += gridStepMm {
			for section := minSectionMm + outerStepMm/2; section < maxSectionMm; section += outerStepMm {
				g := guess{x: x, y: y, outer: beadSeatMm/2 + section, bead: beadSeatMm / 2}
				if g.score = k.rate(g, gridReachPx); g.score > 0 {
					columns[i] = append(columns[i], g)
				}
			}
		}
	})
	return slices.Concat(columns...)
}

// turned are guesses at those places of the grid where a wheel may stand that is turned
// against the arrows: the top of its outline lies where it would without that.
func (k *seeker) turned(places []guess) []guess {
	lists := make([][]guess, len(places))
	each(len(places), func(i int) {
		if places[i].score < turnedLeast {
			return
		}
		for _, heading := range headingsAskew {
			g := places[i]
			g.headingRad = heading
			g.score = k.rate(g, gridReachPx)
			lists[i] = append(lists[i], g)
		}
	})
	return slices.Concat(lists...)
}

// peaks are the best guesses of the places of each size, best first: found on the coarse
// pictures, refined on fine ones. A tyre's outline beats everything else only where it
// is met within some pixels, so places are ranked after refining.
func (k *seeker) peaks(fine *seeker, places [][]guess) []guess {
	var kept []guess
	for _, list := range places {
		most := k.forPhotos(peaksClimbed, photosClimbed) / len(places)
		kept = append(kept, distinct(list, gridSpacingMm, gridSpacingOuterMm, most)...)
	}
	each(len(kept), func(i int) {
		g := k.climb(kept[i], gridReachPx, [5]float64{12, 12, 0.04, 0.03, 8}, 2)
		kept[i] = k.climb(g, climbReachPx, [5]float64{6, 6, 0.02, 0.015, 4}, 2)
	})
	kept = distinct(kept, peakSpacingMm, peakSpacingOuterMm, k.forPhotos(peaksRefined, photosRefined))
	each(len(kept), func(i int) {
		g := fine.climb(kept[i], fineReachPx, [5]float64{4, 4, 0.015, 0.01, 3}, 2)
		kept[i] = fine.climb(g, finestReachPx, [5]float64{2, 2, 0.01, 0.005, 2}, 2)
	})
	return distinct(kept, peakSpacingMm, peakSpacingOuterMm, peaksKept)
}

func reachOf(sheets []SheetState) (minX, maxX, minY, maxY float64) {
	minX, minY, maxX, maxY = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, s := range sheets {
		minX, maxX = min(minX, s.Pose.T.X), max(maxX, s.Pose.T.X)
		minY, maxY = min(minY, s.Pose.T.Y), max(maxY, s.Pose.T.Y)
	}
	return minX - gridReachX, maxX + gridReachX, minY - gridReachY, maxY + gridReachY
}

// distinct keeps the best guesses that lie at least spacing apart, in place or in size.
func distinct(all []guess, spacing, outerSpacing float64, most int) []guess {
	return bestApart(all, most, func(g guess) float64 { return g.score }, func(a, b guess) bool {
		return math.Hypot(a.x-b.x, a.y-b.y) < spacing && math.Abs(a.outer-b.outer) < outerSpacing
	})
}

// bestApart keeps so many guesses at most, the best first, none near one that is kept.
func bestApart[G any](all []G, most int, score func(G) float64, near func(a, b G) bool) []G {
	slices.SortStableFunc(all, func(a, b G) int { return cmp.Compare(score(b), score(a)) })
	var kept []G
	for _, g := range all {
		if len(kept) == most {
			break
		}
		if !slices.ContainsFunc(kept, func(o G) bool { return near(o, g) }) {
			kept = append(kept, g)
		}
	}
	return kept
}

// What two front wheels of one vehicle have in common.
const (
	minTrackMm       = 450.0
	maxTrackMm       = 1100.0
	maxStaggerMm     = 130.0 // one axle ahead of the other
	maxOuterDiffMm   = 40.0  // of the guesses, which one photo leaves loose
	maxTiltDiffRad   = 0.22  // of the cambers
	maxHeadingDifRad = 0.15
)

// pairs are the pairs of guesses that can be the two front wheels, left and right,
// best first.
func pairs(peaks []guess) [][2]guess {
	var list [][2]guess
	for _, l := range peaks {
		for _, r := range peaks {
			heading := (l.headingRad + r.headingRad) / 2
			sin, cos := math.Sincos(heading)
			dx, dy := r.x-l.x, r.y-l.y
			across, along := dx*cos+dy*sin, dy*cos-dx*sin
			if across < minTrackMm || across > maxTrackMm || math.Abs(along) > maxStaggerMm ||
				l.bead != r.bead || math.Abs(l.outer-r.outer) > maxOuterDiffMm ||
				math.Abs(l.tiltRad+r.tiltRad) > maxTiltDiffRad ||
				math.Abs(l.headingRad-r.headingRad) > maxHeadingDifRad {
				continue
			}
			list = append(list, [2]guess{l, r})
		}
	}
	slices.SortStableFunc(list, func(a, b [2]guess) int {
		return cmp.Compare(b[0].score+b[1].score, a[0].score+a[1].score)
	})
	return list
}

// finder looks for pairs of wheels in some photos whose cameras are known.
type finder struct {
	finer, coarse []*vision.Coarse
	views         []view
	frames        []frame
	sheets        []SheetState
}

// Copies are small ones of a photo, for searching.
type Copies struct{ finer, coarse *vision.Coarse }

// NewCopies makes those of a photo.
func NewCopies(g *vision.Gray) *Copies {
	finer := g.Coarse(fineFactor)
	return &Copies{finer, finer.Halve()}
}

// addCopies makes those that did not come with the photos.
func (m *set) addCopies() {
	each(len(m.inputs), func(i int) {
		if in := &m.inputs[i]; in.Copies == nil {
			in.Copies = NewCopies(in.Photo.Gray)
		}
	})
}

// newFinder has the cameras where they are in the scene.
func (m *set) newFinder(scene *Scene) *finder {
	f := &finder{sheets: scene.Sheets}
	for i, in := range m.inputs {
		f.finer, f.coarse = append(f.finer, in.Copies.finer), append(f.coarse, in.Copies.coarse)
		v := scene.view(i)
		f.views = append(f.views, v)
		f.frames = append(f.frames, newFrame(v.camera, m.size(i)))
	}
	return f
}

// frame is what a photo can show, in the tangents of the angles from its line of sight.
type frame struct{ minX, maxX, minY, maxY float64 }

// newFrame goes by the middles and ends of the picture's sides, between which distortion
// bends them one way.
func newFrame(camera calib.Camera, size [2]float64) frame {
	f := frame{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, x := range [3]float64{0, size[0] / 2, size[0]} {
		for _, y := range [3]float64{0, size[1] / 2, size[1]} {
			ray, ok := camera.Ray(calib.Point{X: x, Y: y})
			if !ok {
				return frame{math.Inf(-1), math.Inf(1), math.Inf(-1), math.Inf(1)}
			}
			f.minX, f.maxX = min(f.minX, ray.X), max(f.maxX, ray.X)
			f.minY, f.maxY = min(f.minY, ray.Y), max(f.maxY, ray.Y)
		}
	}
	return f
}

// misses says whether a ball about a point in camera coordinates lies outside the picture.
func (f *frame) misses(at r3.Vec, radius float64) bool {
	beyond := func(x, tangent float64) bool { return x-tangent*at.Z > radius*math.Hypot(1, tangent) }
	return beyond(at.X, f.maxX) || beyond(-at.X, -f.minX) || beyond(at.Y, f.maxY) || beyond(-at.Y, -f.minY)
}

// headingsAskew are those of the vehicle against the arrows of sheets laid askew.
var headingsAskew = []float64{-askewRad, -askewRad / 2, askewRad / 2, askewRad}

// search finds pairs of wheels with rims of one of these bead seat diameters, best first:
// along the sheets' arrows, and where no pair is worth enough, beside them. Each size
// more takes its share of the grid, not of what is refined.
func (f *finder) search(beadSeatsMm []float64, enough float64) []pairGuess {
	rough := f.rough()
	places := make([][]guess, len(beadSeatsMm))
	for i, mm := range beadSeatsMm {
		places[i] = rough.grid(f.sheets, mm)
	}
	all := f.pairs(places)
	if len(all) == 0 || all[0].score < enough {
		for i := range places {
			places[i] = rough.turned(places[i])
		}
		all = inOrder(append(all, f.pairs(places)...))
	}
	return all
}

// pairs of wheels at some of the places of each size.
func (f *finder) pairs(places [][]guess) []pairGuess {
	fine := f.fine()
	return inOrder(fine.sharpen(pairs(f.rough().peaks(fine, places))))
}

// inOrder has the best first.
func inOrder(list []pairGuess) []pairGuess {
	slices.SortStableFunc(list, func(a, b pairGuess) int { return cmp.Compare(b.score, a.score) })
	return list
}

// rough is the seeker of the grid.
func (f *finder) rough() *seeker {
	return &seeker{views: f.views, frames: f.frames, pictures: f.coarse, angles: anglesAround(searchAngles)}
}

// fine is the seeker that refines.
func (f *finder) fine() *seeker {
	return &seeker{views: f.views, frames: f.frames, pictures: f.finer, angles: anglesAround(fineAngles)}
}

// findPairs looks for the front wheels in all photos of the set, best first. Where the
// rim size is unknown, pairs that were found with another one are tried with every usual
// one before anything is searched anew.
func (m *set) findPairs() []pairGuess {
	f := m.newFinder(m.scene)
	if m.settings.BeadSeatMm != 0 {
		return f.search([]float64{m.settings.BeadSeatMm}, sureScore)
	}
	all := f.resized(m.pairs)
	if len(all) == 0 || all[0].score < sureScore {
		all = inOrder(append(all, f.resized(f.search(roughBeadSeats, sureScore))...))
	}
	return all
}

// pairsResized is how many of some pairs are tried with other rims.
const pairsResized = 3

// resized are the first of some pairs with every usual size of rims, as far as their
// tyres allow, best first.
func (f *finder) resized(pairs []pairGuess) []pairGuess {
	pairs = pairs[:min(len(pairs), pairsResized)]
	sized, fine := make([]pairGuess, len(pairs)*len(beadSeats)), f.fine()
	each(len(sized), func(i int) {
		g := pairs[i/len(beadSeats)]
		g.bead = beadSeats[i%len(beadSeats)] / 2
		sized[i] = fine.sharpened(g)
	})
	return inOrder(slices.DeleteFunc(sized, func(g pairGuess) bool { return math.IsInf(g.score, -1) }))
}

// askewRad is how far the sheets' arrows may point beside the vehicle's forward.
const askewRad = 0.16

// turnedLeast is the score along the arrows from which on a wheel may stand beside them.
const turnedLeast = 0.05

// sureScore is that of a pair from which on it is the wheels: in 74 single photos
// only right pairs had more, four of five of them.
const sureScore = 0.42

// sharpen improves the most promising pairs.
func (k *seeker) sharpen(list [][2]guess) []pairGuess {
	promising := 0
	for promising < min(len(list), k.forPhotos(pairsSharpened, photosSharpened)) && list[promising][0].score+list[promising][1].score > promisingShare*(list[0][0].score+list[0][1].score) {
		promising++
	}
	sharp := make([]pairGuess, promising)
	each(len(sharp), func(i int) {
		sharp[i] = k.sharpened(newPairGuess(list[i]))
	})
	return sharp
}

func (k *seeker) sharpened(g pairGuess) pairGuess {
	return k.climbPair(k.climbPair(g, fineReachPx, 3), finestReachPx, 3)
}

// each calls do with 0 to n−1, as many at once as there are processors.
func each(n int, do func(i int)) {
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for i := range n {
		group.Go(func() error {
			do(i)
			return nil
		})
	}
	_ = group.Wait() // no call fails
}
