package main

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/disintegration/imaging"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
	"rimpair/vision"
)

// cli runs one command line as a person would.
func cli(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = run(args, &out, &err)
	return code, out.String(), err.String()
}

func TestSheetSaysWhatItWrote(t *testing.T) {
	tests := []struct {
		args []string
		what string
	}{
		{nil, "sheets 1 and 2"},
		{[]string{"--sheets", "3"}, "sheet 3"},
		{[]string{"--sheets", "1,2,5", "--paper", "Letter"}, "sheets 1, 2 and 5"},
	}
	for _, test := range tests {
		file := filepath.Join(t.TempDir(), "sheets.pdf")
		code, stdout, stderr := cli(append([]string{"sheet", "-o", file}, test.args...)...)
		assert.Equal(t, exitDone, code)
		assert.Empty(t, stderr)
		assert.Equal(t, file+": where to lay them, then "+test.what+". Print at 100 % and measure the rulers.\n", stdout)
		assert.FileExists(t, file)
	}
}

func TestSheetMistakesGetOneLine(t *testing.T) {
	nowhere := filepath.Join(t.TempDir(), "none", "sheets.pdf")
	tests := []struct {
		args []string
		line string
	}{
		{[]string{"--paper", "a3"}, `no paper size "a3": give a4 or letter`},
		{[]string{"--sheets", "6"}, "there is no sheet 6: sheets have the numbers 1 to 5"},
		{[]string{"-o", nowhere}, "open " + nowhere + ": no such file or directory"},
		{[]string{"photo.jpg"}, `unknown command "photo.jpg" for "rimpair sheet"`},
	}
	for _, test := range tests {
		code, stdout, stderr := cli(append([]string{"sheet"}, test.args...)...)
		assert.Equal(t, exitFailed, code)
		assert.Empty(t, stdout)
		assert.Equal(t, "rimpair: "+test.line+"\n", stderr)
	}
}

const dpi = 100

// pixels is a length on paper in pixels of the raster.
func pixels(mm float64) float64 { return mm / 25.4 * dpi }

// printed is what a printer would put on paper: the pages as Poppler's pdftocairo
// draws them, which does not shift edges to whole pixels.
func printed(t *testing.T, paper string) []*vision.Gray {
	dir := t.TempDir()
	file := filepath.Join(dir, "sheets.pdf")
	code, _, stderr := cli("sheet", "-o", file, "--paper", paper, "--sheets", "1,2,3,4,5")
	require.Equal(t, exitDone, code, stderr)
	output, err := exec.Command("pdftocairo", "-r", fmt.Sprint(dpi), "-gray", "-png", file, filepath.Join(dir, "page")).CombinedOutput()
	require.NoError(t, err, "%s", output)
	assert.Empty(t, string(output), "Poppler complains of nothing")
	var found []*vision.Gray
	for page := 1; page <= 1+calib.MaxSheets; page++ {
		page, err := imaging.Open(filepath.Join(dir, fmt.Sprintf("page-%d.png", page)))
		require.NoError(t, err)
		found = append(found, photographed(page))
	}
	return found
}

// photographed is a page as softened as a sharp lens would: vision expects that.
func photographed(page image.Image) *vision.Gray {
	soft := imaging.Blur(page, 0.8)
	g := &vision.Gray{Width: soft.Rect.Dx(), Height: soft.Rect.Dy()}
	for i := 0; i < len(soft.Pix); i += 4 {
		g.Pix = append(g.Pix, soft.Pix[i])
	}
	return g
}

// board is where a sheet's corners were found, and their middle.
type board struct {
	corners []vision.Corner
	x, y    float64
}

func findBoard(t *testing.T, page *vision.Gray) board {
	corners, err := vision.FindSheets(page)
	require.NoError(t, err)
	b := board{corners: corners}
	for _, c := range corners {
		b.x += c.X / float64(len(corners))
		b.y += c.Y / float64(len(corners))
	}
	return b
}

func TestThePrintedSheetsAreFound(t *testing.T) {
	for _, paper := range []string{"a4", "letter"} {
		for i, page := range printed(t, paper) {
			t.Run(fmt.Sprintf("%s page %d", paper, i+1), func(t *testing.T) {
				if i == 0 {
					_, err := vision.FindSheets(page)
					var refusal *vision.Refusal
					require.ErrorAs(t, err, &refusal, "the drawing of the sheets must not be read as sheets")
					assert.Equal(t, "no_sheet", refusal.Code)
					return
				}
				b := findBoard(t, page)
				checkCorners(t, i, b)
				checkRing(t, page, b)
			})
		}
	}
}

// checkCorners finds all corners of one sheet in their places.
func checkCorners(t *testing.T, sheet int, b board) {
	require.Len(t, b.corners, calib.SheetCorners)
	seen := map[int]bool{}
	for _, c := range b.corners {
		assert.Equal(t, sheet, c.Sheet)
		seen[c.Index] = true
		place := calib.CornerMm(c.Index)
		// How well a corner of such a raster is found: 0.03 px, 0.008 mm on paper.
		assert.InDelta(t, pixels(place.X), c.X-b.x, 0.03, "corner %d", c.Index)
		assert.InDelta(t, -pixels(place.Y), c.Y-b.y, 0.03, "corner %d", c.Index)
	}
	assert.Len(t, seen, calib.SheetCorners)
}

const ringMm = (calib.SquareMm - calib.MarkerMm) / 2 // white around a marker

// checkRing sees that the arrow, the words and the rulers leave as much white
// around the board as there is around a marker.
func checkRing(t *testing.T, page *vision.Gray, b board) {
	halfWidth, halfHeight := pixels(calib.SheetColumns*calib.SquareMm/2), pixels(calib.SheetRows*calib.SquareMm/2)
	for y := range page.Height {
		for x := range page.Width {
			// How far outside the board; three pixels of each edge are blurred.
			outside := math.Max(math.Abs(float64(x)-b.x)-halfWidth, math.Abs(float64(y)-b.y)-halfHeight)
			if outside > 3 && outside < pixels(ringMm)-3 {
				require.EqualValues(t, 255, page.At(x, y), "ink beside the board at (%d, %d)", x, y)
			}
		}
	}
}

// OpenCV reads every marker with its own dictionary: with all but two of them
// painted over, a sheet is found only when both are read as what they should be,
// where they should be.
func TestOpenCVReadsEveryMarker(t *testing.T) {
	for i, page := range printed(t, "a4")[1:] {
		b := findBoard(t, page)
		for first := 0; first < calib.SheetMarkers; first += 2 {
			second := (first + 1) % calib.SheetMarkers
			corners, err := vision.FindSheets(keepMarkers(page, b, first, second))
			require.NoError(t, err, "sheet %d, markers %d and %d", i+1, first, second)
			for _, c := range corners {
				assert.Equal(t, i+1, c.Sheet)
				assert.InDelta(t, pixels(calib.CornerMm(c.Index).X), c.X-b.x, 0.5)
				assert.InDelta(t, -pixels(calib.CornerMm(c.Index).Y), c.Y-b.y, 0.5)
			}
		}
	}
}

// keepMarkers paints all markers of a sheet white but those with the given places
// in OpenCV's order: in the white squares, row by row, the top left square black.
func keepMarkers(page *vision.Gray, b board, keep ...int) *vision.Gray {
	g := &vision.Gray{Width: page.Width, Height: page.Height, Pix: slices.Clone(page.Pix)}
	marker := 0
	for square := range calib.SheetColumns * calib.SheetRows {
		if square%2 == 0 {
			continue
		}
		if !slices.Contains(keep, marker) {
			column, row := square%calib.SheetColumns, square/calib.SheetColumns
			left := b.x + pixels((float64(column)-calib.SheetColumns/2.0)*calib.SquareMm+ringMm/2)
			top := b.y + pixels((float64(row)-calib.SheetRows/2.0)*calib.SquareMm+ringMm/2)
			size := int(pixels(calib.SquareMm - ringMm))
			for y := int(top); y <= int(top)+size; y++ {
				for x := int(left); x <= int(left)+size; x++ {
					g.Pix[y*g.Width+x] = 255
				}
			}
		}
		marker++
	}
	return g
}
