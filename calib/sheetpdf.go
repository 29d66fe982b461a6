package calib

import (
	"bytes"
	"fmt"
	"io"
	"strconv"

	"codeberg.org/go-pdf/fpdf"
)

// Paper is a size of paper to print on.
type Paper struct {
	Name              string
	WidthMm, HeightMm float64
}

// Papers are the sizes that a sheet fits on at 100 %.
func Papers() []Paper {
	return []Paper{{"a4", 210, 297}, {"letter", 215.9, 279.4}}
}

// WriteSheetsPDF writes the reference sheets with the given numbers (1 to
// MaxSheets) after a page that shows where to lay them and where to stand. What
// a photo is measured by is drawn as vectors, within 0.01 mm.
func WriteSheetsPDF(w io.Writer, paper Paper, numbers []int) error {
	if len(numbers) == 0 {
		return fmt.Errorf("no sheet number given")
	}
	for _, n := range numbers {
		if n < 1 || n > MaxSheets {
			return fmt.Errorf("there is no sheet %d: sheets have the numbers 1 to %d", n, MaxSheets)
		}
	}
	d := newDrawing(paper)
	d.planPage()
	for _, n := range numbers {
		d.sheetPage(n)
	}
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return err
	}
	pdf, err := askForFullSize(b.Bytes())
	if err != nil {
		return err
	}
	_, err = w.Write(pdf)
	return err
}

// askForFullSize makes the printing dialogue propose 100 % instead of "fit to
// page" (ISO 32000-1, 12.2, PrintScaling), which fpdf has no call for. The
// catalogue is the last object before the cross-reference table, so that only
// the table's own place (startxref) moves.
func askForFullSize(pdf []byte) ([]byte, error) {
	const entry = "/ViewerPreferences <</PrintScaling /None>>\n"
	head, rest, ok1 := bytes.Cut(pdf, []byte("/Type /Catalog\n"))
	catalogue, tail, ok2 := bytes.Cut(rest, []byte("startxref\n"))
	place, end, ok3 := bytes.Cut(tail, []byte("\n"))
	start, err := strconv.Atoi(string(place))
	if !ok1 || !ok2 || !ok3 || err != nil {
		return nil, fmt.Errorf("the PDF library writes its catalogue in an unknown way")
	}
	return fmt.Appendf(nil, "%s/Type /Catalog\n%s%sstartxref\n%d\n%s",
		head, entry, catalogue, start+len(entry), end), nil
}

// drawing is a document being drawn, in mm from the page's top left.
type drawing struct {
	pdf   *fpdf.Fpdf
	paper Paper
	ansi  func(string) string // from UTF-8 to the built-in fonts' code page
}

func newDrawing(paper Paper) *drawing {
	pdf := fpdf.NewCustom(&fpdf.InitType{
		UnitStr: "mm",
		Size:    fpdf.SizeType{Wd: paper.WidthMm, Ht: paper.HeightMm},
	})
	pdf.SetTitle("Rimpair reference sheets", false)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	return &drawing{pdf: pdf, paper: paper, ansi: pdf.UnicodeTranslatorFromDescriptor("")}
}

// colour is a grey or the one accent.
type colour struct{ r, g, b int }

func black() colour  { return colour{0, 0, 0} }
func white() colour  { return colour{255, 255, 255} }
func accent() colour { return colour{196, 64, 20} }

func grey(level int) colour { return colour{level, level, level} }

func (d *drawing) fill(c colour)   { d.pdf.SetFillColor(c.r, c.g, c.b) }
func (d *drawing) stroke(c colour) { d.pdf.SetDrawColor(c.r, c.g, c.b) }

// box fills a rectangle.
func (d *drawing) box(x, y, width, height float64) { d.pdf.Rect(x, y, width, height, "F") }

// Where a text's given place lies in it.
const (
	left   = 0.0
	middle = 0.5
	right  = 1.0
)

// text writes one line with its base line at y.
func (d *drawing) text(x, y, points float64, style string, align float64, c colour, line string) {
	d.pdf.SetFont("Helvetica", style, points)
	d.pdf.SetTextColor(c.r, c.g, c.b)
	s := d.ansi(line)
	d.pdf.Text(x-align*d.pdf.GetStringWidth(s), y, s)
}

// textUp writes one line that runs up the page, its base line at x.
func (d *drawing) textUp(x, y, points float64, style string, align float64, c colour, line string) {
	d.pdf.TransformBegin()
	d.pdf.TransformRotate(90, x, y)
	d.text(x, y, points, style, align, c, line)
	d.pdf.TransformEnd()
}

// polygon fills the shape between points.
func (d *drawing) polygon(points ...Point) {
	p := make([]fpdf.PointType, len(points))
	for i, q := range points {
		p[i] = fpdf.PointType{X: q.X, Y: q.Y}
	}
	d.pdf.Polygon(p, "F")
}
