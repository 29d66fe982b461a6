package report

import (
	"errors"
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/measure"
)

const (
	topPxPerMm  = 2     // half a millimetre a pixel: about what a phone resolves at arm's length
	besideMm    = 210.0 // shown beyond the rims' points, to the sides
	beyondMm    = 170.0 // and to the front and rear
	widestMm    = 4000  // what is wider is no vehicle
	toneOpacity = 0.8   // of the photo on white, so that dark lines stand out on it
)

// ground is the part of the horizontal plane at hub height that is drawn. Its own
// frame lies in the middle of the rims, y along the line that bisects them: toe
// shows as a slant against the picture's edges.
type ground struct {
	heightMm      float64
	middle        [2]float64 // in the vehicle frame
	ahead         [2]float64 // unit vector of y, in the vehicle frame
	halfWidthMm   float64
	halfHeightMm  float64
	cameras       []measure.PlacedCamera
	width, height int        // in pixels
	colour        [][3]uint8 // of each pixel
	steepness     []float32  // sine of the elevation from which it was seen; 0: not seen
}

func newGround(top measure.TopView) (*ground, error) {
	g := &ground{heightMm: top.HeightMm, cameras: top.Cameras}
	for _, rim := range top.Rims {
		x, y := unit(rim.Front[0]-rim.Rear[0], rim.Front[1]-rim.Rear[1])
		g.ahead[0] += x
		g.ahead[1] += y
		g.middle[0] += (rim.Front[0] + rim.Rear[0]) / 4
		g.middle[1] += (rim.Front[1] + rim.Rear[1]) / 4
	}
	g.ahead[0], g.ahead[1] = unit(g.ahead[0], g.ahead[1])
	for _, rim := range top.Rims {
		for _, at := range [][2]float64{rim.Front, rim.Rear} {
			x, y := g.local(at)
			g.halfWidthMm = math.Max(g.halfWidthMm, math.Abs(x)+besideMm)
			g.halfHeightMm = math.Max(g.halfHeightMm, math.Abs(y)+beyondMm)
		}
	}
	// Also false for lines without a direction, whose span is no number.
	if !(g.halfWidthMm < widestMm/2 && g.halfHeightMm < widestMm/2) {
		return nil, errors.New("the lines of the two rims span no drawable view from above")
	}
	g.width = int(math.Ceil(2 * g.halfWidthMm * topPxPerMm))
	g.height = int(math.Ceil(2 * g.halfHeightMm * topPxPerMm))
	g.colour = make([][3]uint8, g.width*g.height)
	g.steepness = make([]float32, g.width*g.height)
	return g, nil
}

func unit(x, y float64) (float64, float64) {
	n := math.Hypot(x, y)
	return x / n, y / n
}

// local turns a place of the vehicle frame into the drawn frame.
func (g *ground) local(at [2]float64) (x, y float64) {
	dx, dy := at[0]-g.middle[0], at[1]-g.middle[1]
	return dx*g.ahead[1] - dy*g.ahead[0], dx*g.ahead[0] + dy*g.ahead[1]
}

// pixel is where a place of the drawn frame is in the picture (y up).
func (g *ground) pixel(x, y float64) calib.Point {
	return calib.Point{X: (x+g.halfWidthMm)*topPxPerMm - 0.5, Y: (g.halfHeightMm-y)*topPxPerMm - 0.5}
}

// scene is the scene point shown at a pixel.
func (g *ground) scene(column, row int) r3.Vec {
	x := (float64(column)+0.5)/topPxPerMm - g.halfWidthMm
	y := g.halfHeightMm - (float64(row)+0.5)/topPxPerMm
	return r3.Vec{
		X: g.middle[0] + x*g.ahead[1] + y*g.ahead[0],
		Y: g.middle[1] - x*g.ahead[0] + y*g.ahead[1],
		Z: g.heightMm,
	}
}

// add shows photo i wherever it sees the plane more steeply than those before:
// what lies off the plane is displaced least there. Photos are cut, not blended,
// as blending would show such things twice.
func (g *ground) add(i int, photo *Picture) {
	camera := g.cameras[i]
	eye := camera.Pose.Origin()
	gain := gain(photo)
	for row := range g.height {
		for column := range g.width {
			at, k := g.scene(column, row), row*g.width+column
			view := r3.Sub(eye, at)
			steepness := float32(view.Z / r3.Norm(view))
			if steepness <= g.steepness[k] {
				continue
			}
			pixel, ok := camera.Camera.Project(camera.Pose.Apply(at))
			if !ok {
				continue
			}
			if c, ok := photo.sample(photo.place(pixel)); ok {
				for b, v := range c {
					g.colour[k][b] = uint8(255 - toneOpacity*(255-min(255, gain*v)) + 0.5)
				}
				g.steepness[k] = steepness
			}
		}
	}
}

// gain brightens a dim photo: it takes all but the brightest few pixels (in green,
// the most luminous channel) up to a light grey.
func gain(photo *Picture) float32 {
	const share, light, most = 0.005, 250, 1.6
	const step = 8 // every eighth pixel of every eighth row is sample enough
	var histogram [256]int
	seen := 0
	size := photo.Upright.Rect.Size()
	for y := 0; y < size.Y; y += step {
		for x := 0; x < size.X; x += step {
			histogram[photo.Upright.Pix[y*photo.Upright.Stride+4*x+1]]++
			seen++
		}
	}
	level, above := 255, histogram[255]
	for level > 0 && float64(above) < share*float64(seen) {
		level--
		above += histogram[level]
	}
	return max(1, min(most, light/float32(level)))
}

// paint lays the photos on a picture; what none shows stays as it is.
func (g *ground) paint(on *image.RGBA, left, top int) {
	for row := range g.height {
		line := on.Pix[on.PixOffset(left, top+row):]
		for column := range g.width {
			k := row*g.width + column
			if g.steepness[k] == 0 {
				continue
			}
			copy(line[4*column:], g.colour[k][:])
		}
	}
}
