package calib

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// toleranceMm is what the sheets promise.
const toleranceMm = 0.01

// rectangle is a filled one, in mm from the page's top left.
type rectangle struct {
	left, top, right, bottom float64
	white                    bool
}

func (r rectangle) near(left, top, width, height float64) bool {
	for _, d := range []float64{r.left - left, r.top - top, r.right - left - width, r.bottom - top - height} {
		if math.Abs(d) > toleranceMm {
			return false
		}
	}
	return true
}

func (r rectangle) covers(x, y float64) bool {
	return x > r.left && x < r.right && y > r.top && y < r.bottom
}

func sheetsPDF(t *testing.T, paper Paper, numbers ...int) []byte {
	var b bytes.Buffer
	require.NoError(t, WriteSheetsPDF(&b, paper, numbers))
	return b.Bytes()
}

// pages returns the drawing operators of every page (ISO 32000-1, 8.5 and 9.4).
func pages(t *testing.T, pdf []byte) []string {
	var content []string
	for _, m := range regexp.MustCompile(`(?s)/FlateDecode.*?stream\n(.*?)\nendstream`).FindAllSubmatch(pdf, -1) {
		r, err := zlib.NewReader(bytes.NewReader(m[1]))
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NoError(t, err)
		content = append(content, string(text))
	}
	return content
}

// rectangles returns the filled rectangles of a page: "x y w h re f" in points of
// 1/72 inch from the page's bottom left, in the grey set last by "level g".
func rectangles(t *testing.T, content string, paper Paper) []rectangle {
	const pointMm = 25.4 / 72
	var found []rectangle
	level := 0.0
	for line := range strings.Lines(content) {
		var x, y, w, h, grey float64
		if _, err := fmt.Sscanf(line, "%f %f %f %f re f\n", &x, &y, &w, &h); err == nil {
			require.Contains(t, []float64{0, 1}, level)
			require.True(t, h < 0 && w > 0)
			top := paper.HeightMm - y*pointMm
			found = append(found, rectangle{x * pointMm, top, (x + w) * pointMm, top - h*pointMm, level == 1})
		} else if _, err := fmt.Sscanf(line, "%f g\n", &grey); err == nil {
			level = grey
		}
	}
	return found
}

// boardAt returns where the board's top left lies: that of the first square drawn.
func boardAt(t *testing.T, rs []rectangle) (x, y float64) {
	require.NotEmpty(t, rs)
	require.True(t, rs[0].near(rs[0].left, rs[0].top, 36, 36))
	return rs[0].left, rs[0].top
}

// count says how many black rectangles have just this place and size.
func count(rs []rectangle, left, top, width, height float64) int {
	n := 0
	for _, r := range rs {
		if !r.white && r.near(left, top, width, height) {
			n++
		}
	}
	return n
}

// everySheet runs a check on each sheet of each paper.
func everySheet(t *testing.T, check func(t *testing.T, paper Paper, number int, rs []rectangle)) {
	for _, paper := range Papers() {
		all := pages(t, sheetsPDF(t, paper, 1, 2, 3, 4, 5))
		require.Len(t, all, 1+MaxSheets)
		for number := 1; number <= MaxSheets; number++ {
			t.Run(fmt.Sprintf("%s sheet %d", paper.Name, number), func(t *testing.T) {
				check(t, paper, number, rectangles(t, all[number], paper))
			})
		}
	}
}

// The sizes here are the design's, written out: 36 mm squares, 27 mm markers of
// 6 × 6 cells of 4.5 mm, a ring of 4.5 mm around them, the top left square black.
func TestEverySquareAndMarkerIsInItsPlace(t *testing.T) {
	everySheet(t, func(t *testing.T, _ Paper, number int, rs []rectangle) {
		x, y := boardAt(t, rs)
		squares, markers := 0, 0
		for row := range 7 {
			for column := range 5 {
				left, top := x+36*float64(column), y+36*float64(row)
				if (row+column)%2 == 0 {
					squares++
					assert.Equal(t, 1, count(rs, left, top, 36, 36), "square in row %d, column %d", row, column)
				} else {
					markers++
					assert.Equal(t, 1, count(rs, left+4.5, top+4.5, 27, 27), "marker in row %d, column %d", row, column)
				}
			}
		}
		assert.Equal(t, 18, squares)
		assert.Equal(t, 17, markers)
	})
}

// White is drawn over black, so a cell is white when a white box lies on its middle;
// that no box ends elsewhere than at the cells' edges makes the whole cell so.
func TestEveryMarkerCellHasItsColour(t *testing.T) {
	everySheet(t, func(t *testing.T, _ Paper, number int, rs []rectangle) {
		x, y := boardAt(t, rs)
		var white []rectangle
		for _, r := range rs {
			if r.white {
				white = append(white, r)
			}
		}
		onGrid := func(v float64) bool { return math.Abs(v-4.5*math.Round(v/4.5)) <= toleranceMm }
		for _, r := range white {
			assert.True(t, onGrid(r.left-x) && onGrid(r.right-x) && onGrid(r.top-y) && onGrid(r.bottom-y), "%+v", r)
		}
		id := 17 * (number - 1)
		for row := range 7 {
			for column := range 5 {
				if (row+column)%2 == 0 {
					continue
				}
				for j := range 6 {
					for i := range 6 {
						cx := x + 36*float64(column) + 4.5*(1.5+float64(i))
						cy := y + 36*float64(row) + 4.5*(1.5+float64(j))
						isWhite := false
						for _, r := range white {
							isWhite = isWhite || r.covers(cx, cy)
						}
						border := i == 0 || j == 0 || i == 5 || j == 5
						want := !border && markerCells[id]>>(15-4*(j-1)-(i-1))&1 == 1
						assert.Equal(t, want, isWhite, "marker %d, cell (%d, %d)", id, i, j)
					}
				}
				id++
			}
		}
	})
}

func TestRulersAreExact(t *testing.T) {
	everySheet(t, func(t *testing.T, _ Paper, _ int, rs []rectangle) {
		var across, along []float64 // the middles of the ticks
		for _, r := range rs {
			w, h := r.right-r.left, r.bottom-r.top
			switch {
			case math.Abs(w-lineMm) <= toleranceMm && h < 5:
				across = append(across, (r.left+r.right)/2)
			case math.Abs(h-lineMm) <= toleranceMm && w < 5:
				along = append(along, (r.top+r.bottom)/2)
			}
		}
		for _, ticks := range [][]float64{across, along} {
			require.Len(t, ticks, 11)
			for i, place := range ticks {
				assert.InDelta(t, 10*float64(i), math.Abs(place-ticks[0]), toleranceMm)
			}
		}
	})
}

func TestEverythingIsWithinThePrintersReach(t *testing.T) {
	everySheet(t, func(t *testing.T, paper Paper, _ int, rs []rectangle) {
		const edge = edgeMm - toleranceMm
		for _, r := range rs {
			assert.True(t, r.left >= edge && r.top >= edge &&
				r.right <= paper.WidthMm-edge && r.bottom <= paper.HeightMm-edge, "%+v", r)
		}
	})
}

func TestTheFileAsksForFullSize(t *testing.T) {
	assert.Contains(t, string(sheetsPDF(t, Papers()[0], 1)), "/Type /Catalog\n/ViewerPreferences <</PrintScaling /None>>\n")
}

// Poppler's pdfinfo reads the file without complaint and finds the right paper:
// ISO 216 A4; Letter is 8.5 × 11 inches (ANSI/ASME Y14.1), 72 points an inch.
func TestAnotherProgramReadsTheFile(t *testing.T) {
	for i, size := range []string{"595.28 x 841.89 pts (A4)", "612 x 792 pts (letter)"} {
		file := filepath.Join(t.TempDir(), "sheets.pdf")
		require.NoError(t, os.WriteFile(file, sheetsPDF(t, Papers()[i], 1, 2), 0o644))
		info, err := exec.Command("pdfinfo", file).CombinedOutput()
		require.NoError(t, err, "%s", info)
		assert.NotContains(t, string(info), "Syntax")
		assert.Regexp(t, `(?m)^Pages: +3$`, string(info))
		assert.Regexp(t, `(?m)^Page size: +`+regexp.QuoteMeta(size)+`$`, string(info))
	}
}

func TestUnknownSheetsAreRefused(t *testing.T) {
	tests := []struct {
		numbers []int
		message string
	}{
		{nil, "no sheet number given"},
		{[]int{0}, "there is no sheet 0: sheets have the numbers 1 to 5"},
		{[]int{1, 6}, "there is no sheet 6: sheets have the numbers 1 to 5"},
	}
	for _, test := range tests {
		var b bytes.Buffer
		assert.EqualError(t, WriteSheetsPDF(&b, Papers()[0], test.numbers), test.message)
		assert.Zero(t, b.Len(), "nothing is written")
	}
}
