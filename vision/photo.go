package vision

import "time"

// Gray is a grey picture, row by row, in stored (unrotated) sensor coordinates.
type Gray struct {
	Width, Height int
	Pix           []uint8 // Width*Height values as developed by the camera
}

func newGray(width, height int) *Gray {
	return &Gray{Width: width, Height: height, Pix: make([]uint8, width*height)}
}

// At returns the pixel at (x, y), which must lie inside.
func (g *Gray) At(x, y int) uint8 { return g.Pix[y*g.Width+x] }

// Photo is one picture and what its file says of the camera.
type Photo struct {
	Path        string
	Gray        *Gray
	Blue        *Gray   // what of its light is blue: tan side walls are as dark in it as rubber
	Orientation int     // EXIF orientation, 1 to 8; for display only
	FocalPx     float64 // focal length in pixels from EXIF, 0 when unknown
	Camera      CameraID
	Taken       time.Time // by the camera's own clock, written as if that were UTC; zero when the file does not say
	SHA256      [32]byte  // of the file's bytes
}

// CameraID tells cameras apart: photos with equal values share one camera model.
type CameraID struct {
	Make, Model, Lens string
	FocalMm           float64
	Focal35Mm         float64 // 35 mm equivalent, which often tells digital zoom as well
	DigitalZoom       float64 // 0 without any
	Width, Height     int
}

// Corner is one inner corner of a reference sheet found in a photo.
type Corner struct {
	Sheet   int     // sheet number, 1 to calib.MaxSheets
	Index   int     // corner on the sheet, see calib.CornerMm
	X, Y    float64 // pixels
	SigmaPx float64 // standard uncertainty of either coordinate
	BlurPx  float64 // standard deviation of the blur of the edges that meet here
}
