package main

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/samples"
)

// mishap is something that goes wrong between the photo from the front and the one
// from the rear, or with both, or something wrong that is said of them.
type mishap struct {
	name string
	both bool                 // both photos show it, else only the one from the rear
	do   func(*samples.Scene) // nil: nothing
	// rim is the bead seat diameter that is said; nil: the right one.
	rim func(beadMm float64) float64
	// profile is the camera that is said; nil: none.
	profile func(calib.Camera) calib.Camera
	causes  []string // codes of refusals that name it
}

func mishaps() []mishap {
	toe := func(deg float64) func(*samples.Scene) {
		return func(s *samples.Scene) { s.Vehicle.Left.ToeDeg += deg; s.Vehicle.Right.ToeDeg += deg }
	}
	sheet := func(x, y float64) func(*samples.Scene) {
		return func(s *samples.Scene) { s.Sheets[1].X += x; s.Sheets[1].Y += y }
	}
	printed := func(scale float64) func(*samples.Scene) {
		return func(s *samples.Scene) {
			for i := range s.Sheets {
				s.Sheets[i].ScaleX *= scale
				s.Sheets[i].ScaleY *= scale
			}
		}
	}
	size := func(factor float64) func(float64) float64 {
		return func(bead float64) float64 { return math.Round(factor * bead) }
	}
	moved, sheets, printSize := []string{"photo_disagrees"}, []string{"sheets_moved"}, []string{"size_mismatch"}
	return []mishap{
		{name: "none"},
		{name: "tie rods turned, 1° a wheel", do: toe(1), causes: moved},
		{name: "tie rods turned, 0.3° a wheel", do: toe(0.3), causes: moved},
		{name: "steered by 2°", do: func(s *samples.Scene) { s.Vehicle.Left.ToeDeg += 2; s.Vehicle.Right.ToeDeg -= 2 }, causes: moved},
		{name: "rolled by 15 mm", do: func(s *samples.Scene) { s.Vehicle.Left.Hub.Y += 15; s.Vehicle.Right.Hub.Y += 15 }, causes: moved},
		{name: "rolled by 60 mm", do: func(s *samples.Scene) { s.Vehicle.Left.Hub.Y += 60; s.Vehicle.Right.Hub.Y += 60 }, causes: moved},
		{name: "one sheet 5 mm across", do: sheet(5, 0), causes: sheets},
		{name: "one sheet 5 mm along", do: sheet(0, 5), causes: sheets},
		{name: "one sheet turned 1°", do: func(s *samples.Scene) { s.Sheets[1].YawDeg++ }, causes: sheets},
		{name: "another vehicle at the rear", do: func(s *samples.Scene) { s.Vehicle = samples.NewScene(s.Seed+1_000_003, samples.Options{}).Vehicle }, causes: moved},
		{name: "printed at 97 %", both: true, do: printed(0.97), causes: printSize},
		{name: "printed at 94 %", both: true, do: printed(0.94), causes: printSize},
		{name: "one sheet's corners 5 mm up", both: true, do: func(s *samples.Scene) { s.Sheets[0].LiftMm = [4]float64{5, 5, 5, 5} }, causes: sheets},
		{name: "left wheel on a 10 mm board", both: true, do: func(s *samples.Scene) { s.Vehicle.Left.Hub.Z += 10 }},
		{name: "--rim 4 % too small", rim: size(0.96), causes: printSize},
		{name: "--rim 15 % too small", rim: size(0.85), causes: printSize},
		{name: "--rim 15 % too large", rim: size(1.15), causes: printSize},
		{name: "the phone's own profile", profile: otherLens(1, 0)},
		{name: "another phone's, f 1 % off", profile: otherLens(1.01, 10), causes: []string{"camera_mismatch"}},
		{name: "another phone's, f 4 % off", profile: otherLens(1.04, 30), causes: []string{"camera_mismatch"}},
	}
}

// otherLens differs in focal length and, by so many px, in the principal point.
func otherLens(focal, shiftPx float64) func(calib.Camera) calib.Camera {
	return func(c calib.Camera) calib.Camera {
		c.F *= focal
		c.Cx += shiftPx
		c.Cy -= shiftPx
		return c
	}
}

// saveLens writes a profile that photos of a shot's phone pass for, of a lens known as a
// calibration knows it.
func saveLens(shot samples.Shot, lens calib.Camera, file string) error {
	u := []float64{2, 3, 3, 0.003, 0.01, 1e-4, 1e-4} // of 15 photos: see the table of phones
	covariance := mat.NewSymDense(len(u), nil)
	for i := range u {
		covariance.SetSym(i, i, u[i]*u[i])
	}
	device := calib.Device{
		Make: shot.Phone.Make, Model: shot.Phone.Model, FocalMm: shot.Phone.FocalMm, Focal35Mm: float64(shot.Phone.Focal35Mm),
		Width: shot.Width, Height: shot.Height,
	}
	p := calib.NewProfile(device, lens, covariance)
	p.Created, p.Photos = "2026-01-01", 15
	return p.Save(file)
}

// verdict counts what came of a mishap; named are refusals with a code that says so.
type verdict struct{ refused, named, right, wrong int }

// negativesTable shows what mishaps lead to. A number is right when its interval
// holds the toe, and that of the track the track, as either photo saw them.
func (b *bench) negativesTable() error {
	scenes := min(b.scenes, 40)
	b.title("Mishaps between or in the photos: %d drawn scenes from seed %d, front and rear, pictures of %s", scenes, b.seed, b.pictureSize())
	list := mishaps()
	verdicts := make([][]*trial, scenes)
	var group errgroup.Group
	group.SetLimit(2)
	for i := range scenes {
		group.Go(func() (err error) {
			verdicts[i], err = b.mishapTrials(b.seed+uint64(i), list)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	b.printf("%-32s %8s %8s %8s %8s %6s  %s\n", "", "refused", "named", "right", "WRONG", "chi²", "other codes; wrong ones: seed, error and u in mm, off in the track in mm")
	for k, m := range list {
		var v verdict
		wrong, others := "", map[string]int{}
		var chi moments
		for i := range verdicts {
			t := verdicts[i][k]
			switch {
			case t.outcome.Refused != nil:
				v.refused++
				if slices.Contains(m.causes, t.outcome.Refused.Code) {
					v.named++
				} else {
					others[t.outcome.Refused.Code]++
				}
			case t.outcome.fault == "" && t.right():
				v.right++
				chi.add(math.Sqrt(t.outcome.ChiSquarePerDof))
			default:
				v.wrong++
				wrong += fmt.Sprintf(" %d: %+.2f, %.2f, %+.1f;", b.seed+uint64(i), t.errorMm(), t.outcome.RimTotalToeMm.StandardUncertainty, t.outcome.TrackMm.Value-t.truth.TrackMm)
			}
		}
		codes := ""
		for _, code := range slices.Sorted(maps.Keys(others)) {
			codes += fmt.Sprintf(" %d %s;", others[code], code)
		}
		b.printf("%-32s %8d %8d %8d %8d %6.2f %s%s\n", m.name, v.refused, v.named, v.right, v.wrong, chi.sum/float64(max(1, chi.n)), codes, wrong)
	}
	b.limits("no wrong number but for the 5 % of the lines without a mishap; few refused in these; chi² is the mean of the right ones")
	return nil
}

// right says whether the intervals hold what is true in either photo.
func (t *trial) right() bool {
	toe, track := false, false
	for _, truth := range append([]samples.StateTruth{t.truth}, t.otherTruths...) {
		toe = toe || covers(t.outcome.RimTotalToeMm, truth.RimTotalToeMm)
		track = track || covers(t.outcome.TrackMm, truth.TrackMm)
	}
	return toe && track
}

func (b *bench) mishapTrials(seed uint64, list []mishap) ([]*trial, error) {
	dir := filepath.Join(b.dir, fmt.Sprint("mishaps", seed))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	plain := samples.NewScene(seed, samples.Options{LongSide: b.long, Views: []samples.View{samples.Front, samples.RearView}, Guards: samples.NoGuards})
	good := []string{filepath.Join(dir, "front.jpg"), filepath.Join(dir, "rear.jpg")}
	for i, path := range good {
		if err := writePhoto(plain, i, path); err != nil {
			return nil, err
		}
	}
	var trials []*trial
	for _, m := range list {
		t := &trial{set: fmt.Sprint(seed), rimMm: plain.Vehicle.Left.BeadSeatMm, truth: plain.Vehicle.State(0), photos: slices.Clone(good)}
		if m.do != nil {
			if err := m.happen(t, plain, dir); err != nil {
				return nil, err
			}
		}
		if m.rim != nil {
			t.rimMm = m.rim(t.rimMm)
		}
		if m.profile != nil {
			t.camera = filepath.Join(dir, "camera.json")
			if err := saveLens(plain.Shots[0], m.profile(plain.Shots[0].Camera), t.camera); err != nil {
				return nil, err
			}
		}
		t.measure(b.rimpair)
		trials = append(trials, t)
	}
	return trials, nil
}

// happen takes the photos that show the mishap.
func (m *mishap) happen(t *trial, plain samples.Scene, dir string) error {
	scene := plain
	scene.Sheets = slices.Clone(plain.Sheets)
	m.do(&scene)
	if m.both {
		t.truth = scene.Vehicle.State(0)
		t.photos[0] = filepath.Join(dir, "bad-front.jpg")
		if err := writePhoto(scene, 0, t.photos[0]); err != nil {
			return err
		}
	} else {
		t.otherTruths = []samples.StateTruth{scene.Vehicle.State(0)}
	}
	t.photos[1] = filepath.Join(dir, "bad-rear.jpg")
	return writePhoto(scene, 1, t.photos[1])
}

func writePhoto(s samples.Scene, i int, path string) error {
	file, err := s.Photo(i)
	if err != nil {
		return err
	}
	return os.WriteFile(path, file, 0o600)
}
