package report

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"rimpair/calib"
	"rimpair/measure"
)

// Camera writes what a calibration found, at most 80 columns wide.
func Camera(w io.Writer, c *measure.Calibration) error {
	p := newPage()
	p.device(c)
	p.calibrationPhotos(c)
	p.coverage(&c.Coverage)
	p.cameraNumbers(c)
	p.correlations(c)
	p.enlarged(c)
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) device(c *measure.Calibration) {
	d := c.Device
	name := strings.TrimSpace(d.Make + " " + d.Model)
	if name == "" {
		name = "unnamed camera (the photos have no EXIF data)"
	}
	p.wrapped("Camera: ", name)
	if d.Lens != "" {
		p.wrapped("  ", d.Lens)
	}
	if d.FocalMm > 0 {
		p.wrapped("  ", fmt.Sprintf("%g mm lens, like %g mm on 35 mm film", d.FocalMm, d.Focal35Mm))
	}
	p.line("  pictures of %d x %d px", d.Width, d.Height)
	p.line("  %d photos used, %d left out", len(c.Used), len(c.Dropped))
	p.line("  reprojection error of their corners %s px (root mean square)", fixed(c.RmsPx, 3))
}

func (p *page) calibrationPhotos(c *measure.Calibration) {
	p.heading("Photos: corners, reprojection error, tilts about the picture's axes, turn")
	for _, photo := range c.Used {
		views := make([]string, len(photo.Views))
		for i, v := range photo.Views {
			target := "board"
			if v.Sheet > 0 {
				target = fmt.Sprintf("sheet %d", v.Sheet)
			}
			views[i] = fmt.Sprintf("%s %+.0f° %+.0f° %+.0f°", target, v.TiltAcrossDeg, v.TiltUprightDeg, v.TurnDeg)
		}
		p.line("  %-24s %3d  %s px  %s", shorten(printable(filepath.Base(photo.Photo)), 24), photo.Corners,
			fixed(photo.RmsPx, 3), strings.Join(views, ", "))
	}
	var out []string
	for _, d := range c.Dropped {
		out = append(out, d.Photo+": "+d.Reason)
	}
	p.list("Left out", out)
}

func (p *page) coverage(c *measure.Coverage) {
	p.heading("Coverage: how many corners were seen in each field of the stored picture")
	for _, row := range c {
		var line strings.Builder
		for _, n := range row {
			if n == 0 {
				line.WriteString("    .")
			} else {
				fmt.Fprintf(&line, " %4d", n)
			}
		}
		p.line("  %s", line.String())
	}
	words := fmt.Sprintf("%.0f %% of the fields.", 100*c.Share())
	if empty := c.EmptyCorners(); len(empty) > 0 {
		words += " Nothing was seen in these corners of the picture: " + strings.Join(empty, ", ") +
			". Photos with the sheet there would tell the distortion there."
	}
	p.wrapped("  ", words)
}

// cameraUnits are the units of the camera's numbers.
func cameraUnits() [calib.NumIntrinsics]string {
	return [...]string{"px", "px", "px", "", "", "", "", ""}
}

func (p *page) cameraNumbers(c *measure.Calibration) {
	p.heading("Lens: value, standard uncertainty")
	names, units := calib.IntrinsicNames(), cameraUnits()
	for i, v := range c.Camera.Numbers() {
		if i >= c.Covariance.SymmetricDim() {
			break
		}
		u := math.Sqrt(c.Covariance.At(i, i))
		d := decimals(u)
		p.line("  %-3s %12s ± %-9s %s", names[i], fixed(*v, d), fixed(roundUp(u, d), d), units[i])
	}
	p.wrapped("  ", "f: focal length; cx, cy: principal point; k1, k2, p1, p2 and k3: distortion (OpenCV's model, square pixels). "+
		"The numbers are the lens's mean; from photo to photo a stabilised lens moves about it.")
}

func (p *page) correlations(c *measure.Calibration) {
	p.heading("Correlations")
	names := calib.IntrinsicNames()
	n := c.Covariance.SymmetricDim()
	var head strings.Builder
	for j := range n - 1 {
		fmt.Fprintf(&head, "%7s", names[j])
	}
	p.line("      %s", head.String())
	for i := 1; i < n; i++ {
		var line strings.Builder
		for j := range i {
			fmt.Fprintf(&line, "%7s", fixed(c.Correlation(i, j), 2))
		}
		p.line("  %-4s%s", names[i], line.String())
	}
}

// enlarged says what came out larger than was stated beforehand.
func (p *page) enlarged(c *measure.Calibration) {
	var items []string
	for _, f := range []struct {
		what   string
		factor float64
	}{
		{"the corners' noise", c.CornerFactor},
		{"the lens's motion from photo to photo", c.MotionFactor},
		{"the paper's unevenness", c.PaperFactor},
	} {
		if f.factor >= leastEnlarged {
			items = append(items, fmt.Sprintf("%s, %s times", f.what, fixed(f.factor, 1)))
		}
	}
	p.list("Larger than expected, and the uncertainties with it", items)
}

// leastEnlarged: less is chance.
const leastEnlarged = 1.2
