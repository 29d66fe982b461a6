package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"rimpair/calib"
)

// Sizes of the PDF, in mm and points.
const (
	pdfTopMm, pdfBottomMm = 16.0, 18.0
	pdfText, pdfSmall     = 9.5, 8.5
	pdfLineMm             = 4.6
	pdfPictureMm          = 100.0 // highest
	pdfPictureDpi         = 150   // coarsest
	pdfFamily             = "go"
)

// PDF writes a report on pages of paper.
func (p *JobPaper) PDF(w io.Writer, paper calib.Paper) error {
	d := newPDF(p, paper)
	d.paragraph(p.Title, pdfFamily, "B", 16)
	d.pdf.Ln(2)
	if len(p.Alarms) > 0 {
		d.attention(p.Language.say("head.attention"), p.Alarms)
	}
	for i := range p.Blocks {
		d.block(&p.Blocks[i])
	}
	return d.pdf.Output(w)
}

// pdfWriter writes blocks one under the other.
type pdfWriter struct {
	pdf      *fpdf.Fpdf
	width    float64 // between the margins
	pictures int
}

func newPDF(p *JobPaper, paper calib.Paper) *pdfWriter {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: paper.WidthMm, Ht: paper.HeightMm}})
	pdf.AddUTF8FontFromBytes(pdfFamily, "", goregular.TTF)
	pdf.AddUTF8FontFromBytes(pdfFamily, "B", gobold.TTF)
	pdf.SetTitle(p.Title, true)
	pdf.SetLang(p.Language.Code)
	side := (paper.WidthMm - chartWidthMm) / 2
	pdf.SetMargins(side, pdfTopMm, side)
	pdf.SetAutoPageBreak(true, pdfBottomMm)
	pdf.SetCellMargin(0)
	pdf.AliasNbPages("{all}")
	pdf.SetFooterFunc(func() {
		pdf.SetY(-12)
		pdf.SetFont(pdfFamily, "", pdfSmall)
		pdf.CellFormat(0, 5, p.Language.say("page", "n", fmt.Sprint(pdf.PageNo())), "", 0, "C", false, 0, "")
	})
	pdf.AddPage()
	return &pdfWriter{pdf: pdf, width: chartWidthMm}
}

// room starts a new page unless so much height is left.
func (d *pdfWriter) room(heightMm float64) {
	_, page := d.pdf.GetPageSize()
	if d.pdf.GetY()+heightMm > page-pdfBottomMm {
		d.pdf.AddPage()
	}
}

func (d *pdfWriter) paragraph(text, family, style string, points float64) {
	d.pdf.SetFont(family, style, points)
	d.pdf.MultiCell(d.width, pdfLineMm*points/pdfText, text, "", "L", false)
}

// attention is a framed box.
func (d *pdfWriter) attention(heading string, alarms []string) {
	const pad = 3.0
	left, _, _, _ := d.pdf.GetMargins()
	top := d.pdf.GetY()
	d.pdf.SetXY(left+pad, top+pad)
	d.pdf.SetFont(pdfFamily, "B", 11)
	for _, text := range append([]string{heading}, alarms...) {
		d.pdf.SetX(left + pad)
		d.pdf.MultiCell(d.width-2*pad, 5.2, text, "", "L", false)
	}
	bottom := d.pdf.GetY() + pad
	d.pdf.SetLineWidth(0.8)
	d.pdf.Rect(left, top, d.width, bottom-top, "D")
	d.pdf.SetLineWidth(0.2)
	d.pdf.SetXY(left, bottom+2)
}

func (d *pdfWriter) block(b *block) {
	d.room(b.leastMm()) // a heading does not stand alone
	d.pdf.Ln(4)
	d.pdf.Bookmark(b.Heading, 0, -1)
	d.paragraph(b.Heading, pdfFamily, "B", 12)
	left, _, _, _ := d.pdf.GetMargins()
	y := d.pdf.GetY() + 0.6
	d.pdf.SetLineWidth(0.4)
	d.pdf.Line(left, y, left+d.width, y)
	d.pdf.SetY(y + 1.4)
	for _, l := range b.Large {
		d.paragraph(l.Text, pdfFamily, "B", 12)
	}
	for _, l := range b.Lines {
		d.paragraph(l.Text, pdfFamily, "", pdfText)
	}
	if b.Chart != nil {
		d.chart(b.Chart)
	}
	if b.Table != nil {
		d.table(b.Table)
	}
	for _, l := range b.List {
		d.pdf.SetFont(pdfFamily, "", pdfText)
		d.pdf.CellFormat(4, pdfLineMm, "•", "", 0, "L", false, 0, "")
		d.pdf.MultiCell(d.width-4, pdfLineMm, l.Text, "", "L", false)
	}
	for _, f := range b.Pictures {
		d.picture(f)
	}
}

// leastMm is the height that a heading needs with what follows it at once.
func (b *block) leastMm() float64 {
	switch {
	case b.Chart != nil:
		return b.Chart.HeightMm + 50
	case len(b.Pictures) > 0:
		return pdfPictureMm + 30
	}
	return 28
}

// table gives each column width by its longest word and its longest text.
func (d *pdfWriter) table(t *table) {
	d.pdf.SetFont(pdfFamily, "", pdfSmall)
	widths := d.columns(t)
	if len(t.Head) > 0 {
		d.row(widths, t.Head, "B")
	}
	for _, row := range t.Rows {
		texts := make([]string, len(row))
		for i, c := range row {
			texts[i] = c.Text
		}
		d.row(widths, texts, "")
	}
	d.pdf.Ln(1)
}

const cellPadMm = 3 // between columns

func (d *pdfWriter) columns(t *table) []float64 {
	var least, wanted []float64
	note := func(i int, text, style string) {
		d.pdf.SetFont(pdfFamily, style, pdfSmall)
		for len(least) <= i {
			least, wanted = append(least, 0), append(wanted, 0)
		}
		for _, word := range strings.Split(text, " ") {
			least[i] = math.Max(least[i], d.pdf.GetStringWidth(word)+cellPadMm+0.2)
		}
		wanted[i] = math.Max(wanted[i], d.pdf.GetStringWidth(text)+cellPadMm+0.2)
	}
	for i, text := range t.Head {
		note(i, text, "B")
	}
	for _, row := range t.Rows {
		for i, c := range row {
			note(i, c.Text, "")
		}
	}
	return share(least, wanted, d.width)
}

// share divides a width: what is wanted where there is room, else the least and an
// equal part of what is wanted beyond it.
func share(least, wanted []float64, width float64) []float64 {
	sumLeast, sumWanted := 0.0, 0.0
	for i := range least {
		sumLeast += least[i]
		sumWanted += wanted[i]
	}
	widths := make([]float64, len(least))
	for i := range least {
		switch {
		case sumWanted <= width:
			widths[i] = wanted[i]
		case sumLeast >= width:
			widths[i] = least[i] * width / sumLeast
		default:
			widths[i] = least[i] + (wanted[i]-least[i])*(width-sumLeast)/(sumWanted-sumLeast)
		}
	}
	return widths
}

func (d *pdfWriter) row(widths []float64, texts []string, style string) {
	const lineMm = 4.0
	d.pdf.SetFont(pdfFamily, style, pdfSmall)
	cells, most := make([][]string, len(texts)), 1
	for i, text := range texts {
		cells[i] = d.pdf.SplitText(text, widths[i]-cellPadMm)
		most = max(most, len(cells[i]))
	}
	height := lineMm*float64(most) + 1.2
	d.room(height)
	left, _, _, _ := d.pdf.GetMargins()
	y := d.pdf.GetY()
	x := left
	for i, cell := range cells {
		for n, text := range cell {
			d.pdf.Text(x, y+lineMm*float64(n)+3.4, text)
		}
		x += widths[i]
	}
	d.pdf.SetLineWidth(map[string]float64{"": 0.1, "B": 0.4}[style])
	d.pdf.Line(left, y+height, left+d.width, y+height)
	d.pdf.SetXY(left, y+height)
}

func (d *pdfWriter) picture(f figure) {
	width := min(d.width, float64(f.Pixels.X)*mmPerInch/pdfPictureDpi)
	height := width * f.Height / f.Width
	if height > pdfPictureMm {
		width, height = width*pdfPictureMm/height, pdfPictureMm
	}
	d.room(height + 3*pdfLineMm)
	d.pictures++
	name := fmt.Sprintf("picture-%d", d.pictures)
	options := fpdf.ImageOptions{ImageType: "JPEG"}
	d.pdf.RegisterImageOptionsReader(name, options, bytes.NewReader(f.JPEG))
	left, _, _, _ := d.pdf.GetMargins()
	y := d.pdf.GetY() + 2
	d.pdf.ImageOptions(name, left, y, width, height, false, options, 0, "")
	for _, s := range f.Words {
		scale := width / f.Width
		s.X, s.Y, s.Size = left+scale*s.X, y+scale*s.Y, scale*s.Size
		d.shape(s)
	}
	d.pdf.SetXY(left, y+height+1)
	d.paragraph(f.Caption, pdfFamily, "", pdfSmall)
}

// chart draws the shapes that the page draws.
func (d *pdfWriter) chart(c *chart) {
	d.room(c.HeightMm + 2*pdfLineMm)
	left, _, _, _ := d.pdf.GetMargins()
	top := d.pdf.GetY() + 1
	for _, s := range c.Shapes {
		s.X, s.X2, s.Y, s.Y2 = s.X+left, s.X2+left, s.Y+top, s.Y2+top
		d.shape(s)
	}
	d.pdf.SetXY(left, top+c.HeightMm)
	d.paragraph(c.Key, pdfFamily, "", pdfSmall)
}

func (d *pdfWriter) shape(s shape) {
	d.pdf.SetFillColor(0x14, 0x18, 0x1d)
	d.pdf.SetDrawColor(0x14, 0x18, 0x1d)
	d.pdf.SetLineWidth(s.Width)
	switch s.Kind {
	case "line":
		if s.Dashed {
			d.pdf.SetDashPattern([]float64{1.2, 1}, 0)
		}
		d.pdf.Line(s.X, s.Y, s.X2, s.Y2)
		d.pdf.SetDashPattern(nil, 0)
	case "band":
		d.band(s)
	case "dot":
		d.pdf.Circle(s.X, s.Y, s.Width, "F")
	case "ring":
		d.pdf.SetFillColor(255, 255, 255)
		d.pdf.SetLineWidth(0.7)
		d.pdf.Circle(s.X, s.Y, s.Width, "FD")
	case "diamond":
		const r = 2.2
		d.pdf.SetDrawColor(255, 255, 255)
		d.pdf.SetLineWidth(0.3)
		d.pdf.Polygon([]fpdf.PointType{{X: s.X, Y: s.Y - r}, {X: s.X + r, Y: s.Y}, {X: s.X, Y: s.Y + r}, {X: s.X - r, Y: s.Y}}, "FD")
	case "text":
		d.pdf.SetFont(pdfFamily, map[bool]string{true: "B"}[s.Bold], s.Size*72/mmPerInch)
		w := d.pdf.GetStringWidth(s.Text) * map[string]float64{"middle": 0.5, "end": 1}[s.Anchor]
		if s.Halo {
			const fill, stroke = 0, 1
			d.pdf.SetDrawColor(255, 255, 255)
			d.pdf.SetLineWidth(haloPart * s.Size)
			d.pdf.SetTextRenderingMode(stroke)
			d.pdf.Text(s.X-w, s.Y, s.Text)
			d.pdf.SetTextRenderingMode(fill)
		}
		d.pdf.Text(s.X-w, s.Y, s.Text)
	}
	d.pdf.SetDrawColor(0, 0, 0)
	d.pdf.SetLineWidth(0.2)
}

// haloPart is how wide the white around letters is, in their size.
const haloPart = 0.28

// band hatches a rectangle.
func (d *pdfWriter) band(s shape) {
	const apart = 2.4 * math.Sqrt2
	height := s.Y2 - s.Y
	d.pdf.ClipRect(s.X, s.Y, s.X2-s.X, height, false)
	d.pdf.SetDrawColor(0x99, 0x99, 0x99)
	d.pdf.SetLineWidth(0.35)
	for x := s.X - height; x < s.X2; x += apart {
		d.pdf.Line(x, s.Y2, x+height, s.Y)
	}
	d.pdf.ClipEnd()
	d.pdf.SetDrawColor(0x14, 0x18, 0x1d)
	d.pdf.SetLineWidth(0.3)
	d.pdf.Rect(s.X, s.Y, s.X2-s.X, height, "D")
}
