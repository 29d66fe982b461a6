package measure

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/vision"
)

// This file is where measuring meets calibrated cameras: whether a profile holds for
// the photos, and what the photos add to it.

// profileLimit is the χ² from which on a profile is taken for another camera's: for
// seven numbers chance alone passes it once in 30 000 times.
const profileLimit = 33.0

// verifyProfiles refuses a profile that the sheets in the photos speak against: of
// another phone, or for photos that were cropped without a trace in EXIF. The sheets'
// corners alone, with nothing known of the lens, give its numbers x with a covariance C;
// against the profile's m and P
//
//	(x − m)ᵀ (C + P)⁻¹ (x − m)
//
// is a χ² with as many degrees of freedom as there are numbers.
func (m *set) verifyProfiles() error {
	for i, c := range m.knowledge.cameras {
		if c.white == nil {
			continue
		}
		x, covariance, ok := m.cameraAlone(i)
		if !ok {
			continue // too little is seen to speak against anything
		}
		profile := m.profileOf(i)
		covariance.AddSym(covariance, profile.Sym())
		if chi := mahalanobis(offProfile(&x, profile), covariance); chi > profileLimit {
			return &vision.Refusal{
				Code: "camera_mismatch", Photo: m.photoOf(i),
				Reason: fmt.Sprintf("The camera profile does not hold for this photo: by the sheets the focal length is %.0f ± %.0f px, by the profile %.0f ± %.0f px.",
					x.F, coverage95*math.Sqrt(covariance.At(0, 0)-profile.Covariance[0][0]), profile.Values[0], coverage95*profile.StandardUncertainty(0)),
				Remedy: profileRemedy,
			}
		}
	}
	return nil
}

// orProfile is the refusal of a profile that the sheets speak against, where without it they agree;
// else err, for which they do not.
func (m *set) orProfile(err error) error {
	wrong := m.verifyProfiles()
	if wrong == nil {
		return err
	}
	unsaid := m.settings
	unsaid.Cameras = nil
	if _, apart := prepare(m.inputs, unsaid); apart != nil {
		return err
	}
	return wrong
}

// verifyLenses refuses a profile that the photos speak against with their wheels as well, where
// the sheets alone say too little of the lens.
func (m *set) verifyLenses(f *fitted) error {
	for i, c := range m.knowledge.cameras {
		if c.white != nil && m.strain(f, i) > profileLimit {
			return &vision.Refusal{
				Code: "camera_mismatch", Photo: m.photoOf(i),
				Reason: "The camera profile does not hold for these photos: sheets and wheels together speak of another lens.",
				Remedy: profileRemedy,
			}
		}
	}
	return nil
}

// strain is the χ² of verifyProfiles where the profile went into the solution. In its units, what
// the solution adds to it is r and leaves of its uncertainty Ĉ. Then r has the covariance I − Ĉ
// if all is right, and counts along the axes of that of which the photos say anything.
func (m *set) strain(f *fitted, camera int) (chi float64) {
	profile, white := m.profileOf(camera), m.knowledge.cameras[camera].white
	n := len(profile.Values)
	var r, left mat.Dense
	r.Mul(white, offProfile(&f.scene.Cameras[camera], profile))
	left.Mul(white, f.cameraCovariance(camera))
	left.Mul(&left, white.T())
	expected := mat.NewSymDense(n, nil)
	for i := range n {
		for k := range i + 1 {
			expected.SetSym(i, k, -left.At(i, k))
		}
		expected.SetSym(i, i, 1-left.At(i, i))
	}
	var axes mat.EigenSym
	if !axes.Factorize(expected, true) {
		return 0
	}
	var vectors, along mat.Dense
	axes.VectorsTo(&vectors)
	along.Mul(vectors.T(), &r)
	for k, said := range axes.Values(nil) {
		if said > leastSaid {
			chi += along.At(k, 0) * along.At(k, 0) / said
		}
	}
	return chi
}

// offProfile is by how much a camera's numbers differ from a profile's.
func offProfile(c *calib.Camera, p *calib.Profile) *mat.VecDense {
	off := mat.NewVecDense(len(p.Values), nil)
	for k, v := range p.Values {
		off.SetVec(k, *c.Numbers()[k]-v)
	}
	return off
}

// leastSaid is how much less uncertain, in variance, photos must make a profile along an axis of
// it to speak of it: beyond that it hangs on rounding and on what is linear.
const leastSaid = 0.02

const profileRemedy = "Give the photo as the phone stored it, neither cropped nor edited; or calibrate the phone anew (rimpair camera), or measure without a profile (--camera none)."

// mahalanobis is vᵀ S⁻¹ v.
func mahalanobis(v *mat.VecDense, s mat.Symmetric) float64 {
	var white mat.VecDense
	white.MulVec(whitening(s), v)
	return mat.Dot(&white, &white)
}

// cameraAlone is a camera as the sheets' corners give it, whatever its profile says.
func (m *set) cameraAlone(camera int) (calib.Camera, *mat.SymDense, bool) {
	alone := *m
	alone.knowledge.cameras = slices.Clone(m.knowledge.cameras)
	c := &alone.knowledge.cameras[camera]
	c.white, c.sigmas = nil, c.anyLens()
	f, err := alone.fitCameras(newLayout(m.scene, camerasAlone), Tukey(5))
	if err != nil {
		return calib.Camera{}, nil, false
	}
	return f.scene.Cameras[camera], f.cameraCovariance(camera), true
}

// cameraCovariance is that of a camera's free numbers.
func (f *fitted) cameraCovariance(camera int) *mat.SymDense {
	var columns []int
	for _, column := range f.adjustment.layout.cameras[camera] {
		if column != fixed {
			columns = append(columns, column)
		}
	}
	c := mat.NewSymDense(len(columns), nil)
	for i, a := range columns {
		for j, b := range columns[:i+1] {
			c.SetSym(i, j, f.inflation()*f.inflation()*f.solution.Covariance.At(a, b))
		}
	}
	return c
}

// photoOf is the first photo taken with a camera.
func (m *set) photoOf(camera int) string { return m.firstInput(camera).Photo.Path }

func (m *set) firstInput(camera int) *Input {
	i := slices.IndexFunc(m.scene.Photos, func(p PhotoState) bool { return p.Camera == camera })
	return &m.inputs[i]
}

func (m *set) profileOf(camera int) *calib.Profile {
	return m.settings.Cameras[m.firstInput(camera).Photo.Camera]
}

// profileNotes name the profiles that were used.
func (m *set) profileNotes() (notes []Message) {
	for i := range m.knowledge.cameras {
		if p := m.profileOf(i); p != nil {
			notes = append(notes, Message{"profile", Params{"date": p.Created, "photos": p.Photos}})
		}
	}
	return notes
}

// RefinedCamera is a camera as known after a measurement, and as it was before.
type RefinedCamera struct {
	Profile calib.Profile
	// Before are the standard uncertainties of the same numbers before.
	Before []float64
	// Counted says that the photos, or some, already went into the profile before.
	Counted bool
}

// Better says whether the camera is now known clearly better, so that it is worth
// keeping: its focal length and its principal point.
func (r *RefinedCamera) Better() bool {
	for k := range 3 {
		if r.Profile.StandardUncertainty(k) > worthKeeping*r.Before[k] {
			return false
		}
	}
	return !r.Counted
}

const worthKeeping = 0.9

// refinedCameras are the photos' cameras with what the joint solution adds to what
// was known of them.
func (m *set) refinedCameras(f *fitted) []RefinedCamera {
	var list []RefinedCamera
	for i := range f.scene.Cameras {
		old := m.profileOf(i)
		r := RefinedCamera{Profile: calib.NewProfile(calib.Device(m.firstInput(i).Photo.Camera), f.scene.Cameras[i], f.cameraCovariance(i))}
		p := &r.Profile
		if old != nil {
			p.Photos, p.PhotoHashes, p.LensMotion = old.Photos, slices.Clone(old.PhotoHashes), old.LensMotion
			for k := range old.Values {
				r.Before = append(r.Before, old.StandardUncertainty(k))
			}
		} else {
			sigmas := m.knowledge.cameras[i].sigmas
			r.Before = sigmas[:len(p.Values)]
		}
		for photo, in := range m.inputs {
			if f.scene.Photos[photo].Camera != i {
				continue
			}
			hash := fmt.Sprintf("%x", in.Photo.SHA256)
			r.Counted = r.Counted || slices.Contains(p.PhotoHashes, hash)
			p.Photos, p.PhotoHashes = p.Photos+1, append(p.PhotoHashes, hash)
		}
		p.RmsPx = m.cornerRms(f, i)
		list = append(list, r)
	}
	return list
}

// cornerRms is that of one coordinate of the sheets' corners in a camera's photos.
func (m *set) cornerRms(f *fitted, camera int) float64 {
	var r rms
	for i, residual := range m.cornerResiduals(f.scene) {
		if f.scene.Photos[m.corners[i].photo].Camera == camera {
			r.add(residual)
		}
	}
	return r.value() / math.Sqrt2
}
