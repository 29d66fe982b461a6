package measure

import (
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/vision"
)

// cameraPrior is what is known of a camera before its photos are adjusted: from EXIF,
// each number by itself, or from a calibration, all of them together.
type cameraPrior struct {
	camera calib.Camera
	sigmas [calib.NumIntrinsics]float64
	// white stands in place of sigmas for a calibrated camera: the whitening of its
	// numbers' covariance.
	white  *mat.TriDense
	width  float64 // longer side of the picture, px
	motion float64 // how much more than usual the lens moves from photo to photo, at least 1
}

// defaultFocal is the focal length per picture width of a phone's main camera
// when EXIF says nothing (a 26 mm lens on 36 mm), and how far off it may be.
const (
	defaultFocal      = 0.74
	defaultFocalSigma = 0.15
)

// priorOf is what EXIF tells of a photo's camera.
func priorOf(p *vision.Photo) cameraPrior {
	width, height := float64(p.Gray.Width), float64(p.Gray.Height)
	c := cameraPrior{
		camera: calib.Camera{F: p.FocalPx, Cx: (width - 1) / 2, Cy: (height - 1) / 2},
		width:  max(width, height),
		motion: 1,
	}
	sigma := focalSigma * p.FocalPx
	if p.FocalPx == 0 {
		c.camera.F, sigma = defaultFocal*c.width, defaultFocalSigma*c.width
	}
	c.sigmas = exifSigmas(sigma, principalSigma*c.width)
	return c
}

// exifSigmas are those of a camera of which EXIF tells the focal length. Of k3 nothing
// is known, and nothing is assumed: see newLayout.
func exifSigmas(focal, principal float64) [calib.NumIntrinsics]float64 {
	return [...]float64{focal, principal, principal, k1Sigma, k2Sigma, tangentialSigma, tangentialSigma, 1}
}

// anyLens are sigmas so wide that they matter only where the photos say nothing.
func (c *cameraPrior) anyLens() [calib.NumIntrinsics]float64 {
	return [...]float64{0.5 * c.camera.F, 0.2 * c.width, 0.2 * c.width, 2, 5, 0.2, 0.2, 20}
}

// use takes a calibrated camera's numbers in place of EXIF's.
func (c *cameraPrior) use(p *calib.Profile) {
	c.camera, c.white, c.motion = p.Camera(), whitening(p.Sym()), p.LensMotion
}

// priors are those of a camera's free numbers, whose columns are given.
func (c *cameraPrior) priors(camera int, columns []int) []prior {
	numbers := c.camera.Numbers()
	value := func(s *Scene, k int) float64 { return *s.Cameras[camera].Numbers()[k] }
	if c.white != nil {
		n, _ := c.white.Dims()
		var means []float64
		for _, number := range numbers[:n] {
			means = append(means, *number)
		}
		return correlatedPriors(sourceCamera, columns[:n], c.white, means, 1, value)
	}
	var list []prior
	for k, column := range columns {
		if column == fixed {
			continue
		}
		src := sourceDistortion
		switch k {
		case 0:
			src = sourceFocal
		case 1, 2:
			src = sourcePrincipal
		}
		list = append(list, prior{
			source: src, columns: []int{column}, mean: *numbers[k], sigma: c.sigmas[k],
			value: func(s *Scene) float64 { return value(s, k) },
		})
	}
	return list
}

// motionPriors are those of how a photo's lens stood against the camera's mean.
func (c *cameraPrior) motionPriors(photo int, columns []int) []prior {
	if columns[0] == fixed {
		return nil
	}
	shift := shiftSigma * c.width
	list := make([]prior, photoTurn)
	for k, sigma := range [photoTurn]float64{zoomSigma, shift, shift} {
		list[k] = prior{source: sourceLensMotion, columns: columns[k : k+1], sigma: c.motion * sigma, value: func(s *Scene) float64 {
			p := &s.Photos[photo]
			return [...]float64{p.Zoom, p.ShiftX, p.ShiftY}[k]
		}}
	}
	inUnits(list[:1], c.width/2) // px at the picture's edge
	return list
}

// whitening is the inverse W of the Cholesky factor of a covariance: W times what has
// that covariance has a standard uncertainty of 1 in every row, and no correlation.
func whitening(covariance mat.Symmetric) *mat.TriDense {
	var factor mat.Cholesky
	if !factor.Factorize(covariance) {
		panic("measure: a covariance that is not positive definite")
	}
	var lower, inverse mat.TriDense
	factor.LTo(&lower)
	if err := inverse.InverseTri(&lower); err != nil {
		panic(err) // cannot be: the factor's diagonal is positive
	}
	return &inverse
}

// correlatedPriors are the rows W (x − mean), divided by a factor, of unknowns x known
// with a covariance. Where they are fixed there are none.
func correlatedPriors(src source, columns []int, white *mat.TriDense, means []float64, factor float64, value func(s *Scene, k int) float64) []prior {
	if len(columns) == 0 || columns[0] == fixed {
		return nil
	}
	list := make([]prior, len(columns))
	for i := range list {
		p := prior{source: src, columns: columns[:i+1], sigma: factor}
		for k := range i + 1 {
			p.derivs = append(p.derivs, white.At(i, k))
			p.mean += white.At(i, k) * means[k]
		}
		p.value = func(s *Scene) float64 {
			sum := 0.0
			for k, w := range p.derivs {
				sum += w * value(s, k)
			}
			return sum
		}
		list[i] = p
	}
	return list
}
