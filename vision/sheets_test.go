package vision

import (
	"bytes"
	"image"
	"math"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"

	"rimpair/calib"
)

func loadSample(t *testing.T, name string) *Gray {
	p, err := Load(samplePhotos+name, DefaultLimits())
	require.NoError(t, err)
	return p.Gray
}

func (g *Gray) clone() *Gray {
	return &Gray{Width: g.Width, Height: g.Height, Pix: bytes.Clone(g.Pix)}
}

// throughOpenCV runs an OpenCV operation on a picture.
func throughOpenCV(t *testing.T, g *Gray, width, height int, f func(from gocv.Mat, to *gocv.Mat)) *Gray {
	from, err := gocv.NewMatFromBytes(g.Height, g.Width, gocv.MatTypeCV8UC1, g.Pix)
	require.NoError(t, err)
	defer from.Close()
	to := gocv.NewMat()
	defer to.Close()
	f(from, &to)
	return &Gray{Width: width, Height: height, Pix: to.ToBytes()}
}

func blurred(t *testing.T, g *Gray, sigma float64) *Gray {
	return throughOpenCV(t, g, g.Width, g.Height, func(from gocv.Mat, to *gocv.Mat) {
		gocv.GaussianBlur(from, to, image.Point{}, sigma, sigma, gocv.BorderReplicate)
	})
}

type cornerKey struct{ sheet, index int }

func byKey(corners []Corner) map[cornerKey]Corner {
	m := map[cornerKey]Corner{}
	for _, c := range corners {
		m[cornerKey{c.Sheet, c.Index}] = c
	}
	return m
}

// paint sets the pixels of a disc.
func (g *Gray) paint(cx, cy, radius float64, value func(old uint8) uint8) {
	for y := int(cy - radius); y <= int(cy+radius); y++ {
		for x := int(cx - radius); x <= int(cx+radius); x++ {
			if math.Hypot(float64(x)-cx, float64(y)-cy) <= radius {
				g.Pix[y*g.Width+x] = value(g.At(x, y))
			}
		}
	}
}

func flat(v uint8) func(uint8) uint8 { return func(uint8) uint8 { return v } }

func assertRefusal(t *testing.T, code string, err error) {
	var refusal *Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, code, refusal.Code)
}

func TestNoSheet(t *testing.T) {
	for name, g := range map[string]*Gray{
		"grey":          {Width: 800, Height: 600, Pix: bytes.Repeat([]uint8{128}, 800*600)},
		"one pixel":     {Width: 1, Height: 1, Pix: []uint8{7}},
		"a line":        {Width: 5000, Height: 2, Pix: make([]uint8, 10000)},
		"sharp squares": checkerboard(800, 600, 40),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := FindSheets(g)
			assertRefusal(t, "no_sheet", err)
		})
	}
}

func checkerboard(width, height, square int) *Gray {
	g := &Gray{Width: width, Height: height, Pix: make([]uint8, width*height)}
	for i := range g.Pix {
		g.Pix[i] = uint8(40 + 160*((i%width/square+i/width/square)%2))
	}
	return g
}

// Blur adds up in squares: the blur that is told grows by what is added, until no
// marker can be read, and then the reason is told.
func TestBlur(t *testing.T) {
	g := loadSample(t, "front.jpg")
	corners, err := FindSheets(g)
	require.NoError(t, err)
	own := BlurPx(sheetCorners(corners, 1))
	// Of the whole photo's sharpest edges, by another way: sharp as the sheet's.
	assert.InDelta(t, own, sharpestBlurPx(g), 0.2)
	for _, added := range []float64{1, 2, 3} {
		corners, err := FindSheets(blurred(t, g, added))
		require.NoError(t, err)
		// 8 %: the blur of a sharpened picture is no Gaussian, and the white margin
		// between corner and marker, 7 px here, is narrower than the blur's tails.
		// Without these two the blur comes out to 1 % (TestCrossingFit).
		assert.InEpsilon(t, math.Hypot(own, added), BlurPx(sheetCorners(corners, 1)), 0.08)
	}
	for _, added := range []float64{5, 8} {
		_, err := FindSheets(blurred(t, g, added))
		assertRefusal(t, "too_blurred", err)
	}
}

func sheetCorners(corners []Corner, sheet int) []Corner {
	var mine []Corner
	for _, c := range corners {
		if c.Sheet == sheet {
			mine = append(mine, c)
		}
	}
	return mine
}

// Corners are found though all but two markers of the sheet are covered.
func TestCornersBetweenHiddenMarkers(t *testing.T) {
	g := loadSample(t, "front.jpg")
	before, err := FindSheets(g)
	require.NoError(t, err)
	markers, err := findMarkers(g, 1, fineWindow)
	require.NoError(t, err)
	covered := g.clone()
	for _, m := range markersOf(1, markers) {
		if m.id == 0 || m.id == 16 {
			continue
		}
		middleX := (m.corners[0].X + m.corners[2].X) / 2
		middleY := (m.corners[0].Y + m.corners[2].Y) / 2
		covered.paint(middleX, middleY, 8, flat(120)) // the code within, not the rim
	}
	after, err := FindSheets(covered)
	require.NoError(t, err)
	was, n := byKey(before), 0
	for _, c := range sheetCorners(after, 1) {
		q := was[cornerKey{1, c.Index}]
		assert.Less(t, math.Hypot(c.X-q.X, c.Y-q.Y), 0.1)
		n++
	}
	assert.Equal(t, calib.SheetCorners, n)
}

// What covers a corner, wholly or in part, makes it vanish but never move: painted
// over corners in turn, the rest of the sheet stays as it is.
func TestCoveredCornersAreDropped(t *testing.T) {
	g := loadSample(t, "front.jpg")
	before, err := FindSheets(g)
	require.NoError(t, err)
	was := byKey(before)
	covers := map[string]func(g *Gray, c Corner){
		"dark leaf on it":    func(g *Gray, c Corner) { g.paint(c.X, c.Y, 9, flat(70)) },
		"bright leaf on it":  func(g *Gray, c Corner) { g.paint(c.X, c.Y, 9, flat(200)) },
		"leaf beside it":     func(g *Gray, c Corner) { g.paint(c.X+8, c.Y+5, 9, flat(90)) },
		"dark cable":         func(g *Gray, c Corner) { line(g, c.X, c.Y, 3, flat(30)) },
		"bright cable":       func(g *Gray, c Corner) { line(g, c.X, c.Y, 3, flat(230)) },
		"cable nearby":       func(g *Gray, c Corner) { line(g, c.X+4, c.Y, 3, flat(30)) },
		"hard shadow's edge": func(g *Gray, c Corner) { halfDark(g, c.X+0.7, c.Y) },
	}
	for name, cover := range covers {
		t.Run(name, func(t *testing.T) {
			covered := g.clone()
			hit := map[int]bool{}
			for _, c := range sheetCorners(before, 1) {
				if c.Index%4 == (c.Index/4)%4 { // a diagonal: two markers at least stay clear
					cover(covered, c)
					hit[c.Index] = true
				}
			}
			after, err := FindSheets(covered)
			require.NoError(t, err)
			untouched := 0
			for _, c := range sheetCorners(after, 1) {
				q := was[cornerKey{1, c.Index}]
				moved := math.Hypot(c.X-q.X, c.Y-q.Y)
				// Half a pixel is what makes a corner false; four sigma what makes it suspicious.
				assert.Less(t, moved, math.Min(0.5, 4*math.Sqrt2*c.SigmaPx), "corner %d, sigma %.3f", c.Index, c.SigmaPx)
				if !hit[c.Index] {
					untouched++
				}
			}
			assert.GreaterOrEqual(t, untouched, 12)
		})
	}
}

// line paints a short band that runs steeply downward through (cx, cy).
func line(g *Gray, cx, cy, halfWidth float64, value func(uint8) uint8) {
	near(g, cx, cy, func(dx, dy float64) bool { return math.Abs(0.9*dx+0.436*dy) <= halfWidth }, value)
}

// halfDark puts everything left of a slanted line through (cx, cy) in shadow.
func halfDark(g *Gray, cx, cy float64) {
	near(g, cx, cy, func(dx, dy float64) bool { return 0.8*dx+0.6*dy < 0 }, func(v uint8) uint8 { return v/2 + 5 })
}

func near(g *Gray, cx, cy float64, inside func(dx, dy float64) bool, value func(uint8) uint8) {
	const reach = 22
	for y := int(cy) - reach; y <= int(cy)+reach; y++ {
		for x := int(cx) - reach; x <= int(cx)+reach; x++ {
			if inside(float64(x)-cx, float64(y)-cy) {
				g.Pix[y*g.Width+x] = value(g.At(x, y))
			}
		}
	}
}

// A sheet that lies so far off that its markers cannot be read as they are is found on the floor
// beside the near one, and only it.
func TestSheetBesideAnother(t *testing.T) {
	g := loadSample(t, "rear.jpg")
	markers, err := proposeMarkers(g, sureSheets)
	require.NoError(t, err)
	plain, err := findEach(g, markers, [calib.MaxSheets][]Corner{})
	require.NoError(t, err)
	near, ok := onlyOne(&plain)
	require.True(t, ok)
	assert.Equal(t, 2, near[0].Sheet)

	all, err := FindSheets(g)
	require.NoError(t, err)
	seen := map[int]int{}
	for _, c := range all {
		seen[c.Sheet]++
	}
	assert.Equal(t, len(near), seen[2])
	assert.Greater(t, seen[1], 12)
	assert.Len(t, seen, 2)
}

// A second print of sheet 1 in the photo cannot be told from the first.
func TestSheetTwice(t *testing.T) {
	g := loadSample(t, "front.jpg")
	doubled := g.clone()
	// The part with sheet 1, copied to where no sheet lies.
	const x0, y0, width, height, down = 1100, 1640, 380, 400, -1500
	for y := y0; y < y0+height; y++ {
		copy(doubled.Pix[(y+down)*g.Width+x0:][:width], g.Pix[y*g.Width+x0:][:width])
	}
	_, err := FindSheets(doubled)
	assertRefusal(t, "sheet_twice", err)
}

// A copy of 1600 pixels, as messengers make, loses accuracy only with its pixels.
func TestSmallCopy(t *testing.T) {
	g := loadSample(t, "front.jpg")
	before, err := FindSheets(g)
	require.NoError(t, err)
	small := throughOpenCV(t, g, 1600, 1200, func(from gocv.Mat, to *gocv.Mat) {
		gocv.Resize(from, to, image.Pt(1600, 1200), 0, 0, gocv.InterpolationArea)
	})
	after, err := FindSheets(small)
	require.NoError(t, err)
	was := byKey(before)
	scale := float64(g.Width) / 1600
	n, square := 0, 0.0
	for _, c := range after {
		q, ok := was[cornerKey{c.Sheet, c.Index}]
		if !ok {
			continue
		}
		dx, dy := c.X-((q.X+0.5)/scale-0.5), c.Y-((q.Y+0.5)/scale-0.5)
		square += dx*dx + dy*dy
		n++
	}
	assert.Greater(t, n, 30)
	assert.Less(t, math.Sqrt(square/float64(2*n)), 0.1)
	assert.InEpsilon(t, SquarePx(before, 1)/scale, SquarePx(after, 1), 0.01)
}

// The detector's border copies markers into memory of the caller; what OpenCV and libjpeg
// allocate within must be gone afterwards.
func TestNoLeak(t *testing.T) {
	file, err := os.ReadFile(samplePhotos + "front.jpg")
	require.NoError(t, err)
	g := loadSample(t, "front.jpg")
	part := &Gray{Width: 400, Height: 400}
	for y := range 400 {
		part.Pix = append(part.Pix, g.Pix[(1640+y)*g.Width+1080:][:400]...)
	}
	run := func(times int) {
		for range times {
			markers, err := findMarkers(part, 1, 0)
			require.NoError(t, err)
			require.NotEmpty(t, markers)
		}
		for range times / 20 {
			_, err := decodeJPEG(file, header{width: g.Width, height: g.Height}, true)
			require.NoError(t, err)
			_, err = decodeJPEG(file[:300], header{width: g.Width, height: g.Height}, true) // ends amid its headers
			require.Error(t, err)
			_, err = decodeJPEG(file, header{width: 100, height: 100}, true)
			require.Error(t, err)
		}
	}
	run(100)
	// 200 leaked pictures of 160 kB would be 32 MB, 10 of 8 MB be 80 MB, each time anew.
	// The heaps of Go and C breathe by less than 16 MB here, as a rule: where they have
	// just breathed in, only what goes on growing is a leak.
	grown := math.MaxInt
	for range 3 {
		before := residentBytes(t)
		run(200)
		grown = min(grown, residentBytes(t)-before)
	}
	assert.Less(t, grown, 16<<20)
}

// What the process holds once Go has given back what it can.
func residentBytes(t *testing.T) int {
	debug.FreeOSMemory()
	statm, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Skip("no /proc here")
	}
	pages, err := strconv.Atoi(strings.Fields(string(statm))[1])
	require.NoError(t, err)
	return pages * os.Getpagesize()
}
