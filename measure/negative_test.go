package measure_test

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/samples"
	"rimpair/vision"
)

// What bad photos get: a reason and no number. The photos are drawn, so that each
// differs from a good one in one thing alone.

// studio draws photos of one vehicle on the standard plan, from the front and the
// rear; 2000 px are enough for a number, as the first of the tests shows.
type studio struct {
	scene       samples.Scene
	front, rear measure.Input
}

func newStudio(t *testing.T, seed uint64, setting samples.Setting) *studio {
	t.Helper()
	return newStudioOf(t, seed, samples.Options{Setting: setting})
}

func newStudioOf(t *testing.T, seed uint64, o samples.Options) *studio {
	t.Helper()
	o.LongSide = cmp.Or(o.LongSide, 2000)
	if o.Views == nil {
		o.Views = []samples.View{samples.Front, samples.RearView}
	}
	s := &studio{scene: samples.NewScene(seed, o)}
	s.front, s.rear = s.take(t, 0, nil), s.take(t, 1, nil)
	return s
}

// take takes photo i after something was changed in the scene. Without a sheet it
// has no corners.
func (s *studio) take(t *testing.T, i int, change func(*samples.Scene)) measure.Input {
	t.Helper()
	scene := s.scene
	scene.Sheets, scene.Shots = slices.Clone(scene.Sheets), slices.Clone(scene.Shots)
	if change != nil {
		change(&scene)
	}
	file, err := scene.Photo(i)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), scene.Shots[i].Name+".jpg")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	photo, err := vision.Load(path, vision.DefaultLimits())
	require.NoError(t, err)
	corners, err := vision.FindSheets(photo.Gray)
	if refusal := new(vision.Refusal); !errors.As(err, &refusal) {
		require.NoError(t, err)
	}
	return measure.Input{Photo: photo, Corners: corners}
}

func (s *studio) settings() measure.Settings {
	return measure.Settings{BeadSeatMm: s.scene.Vehicle.Left.BeadSeatMm, RunoutMm: 1}
}

func (s *studio) truth() samples.StateTruth { return s.scene.Vehicle.State(0) }

// testSeed is that of the scene from which bad ones are made: both photos show both
// sheets.
const testSeed = 22

func TestDrawnPhotos(t *testing.T) {
	s := newStudio(t, testSeed, samples.Bench)
	t.Run("good ones get a number", s.testGood)
	t.Run("bad ones are refused", s.testBad)
	t.Run("rim of another size", s.testWrongRimSize)
	t.Run("sheets printed too small", s.testSheetsPrintedTooSmall)
	t.Run("two cameras", s.testTwoCameras)
	t.Run("paper bent, profile of another phone", s.testBentAndForeign)
}

func (s *studio) testGood(t *testing.T) {
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
	assertCovers(t, "total toe", m.Result.TotalToeMm, s.truth().TotalToeMm)
	assert.Less(t, m.Result.RimTotalToeMm.StandardUncertainty, 0.6)
}

func assertCovers(t *testing.T, what string, q measure.Quantity, truth float64) {
	t.Helper()
	assert.True(t, q.Low95 <= truth && truth <= q.High95, "%s: %.3f is not in %.3f to %.3f", what, truth, q.Low95, q.High95)
}

func (s *studio) testBad(t *testing.T) {
	const front, rear = 0, 1
	shot := func(i int, change func(*samples.Shot)) measure.Input {
		return s.take(t, i, func(c *samples.Scene) { change(&c.Shots[i]) })
	}
	alter := func(i int, change func(*samples.Scene)) measure.Input { return s.take(t, i, change) }
	buried := func(w *samples.Wheel) { w.Hub.Z -= 2000 }
	tests := []struct {
		name   string
		inputs []measure.Input
		codes  []string // one of these
		photo  string   // that the refusal has to name
	}{
		{"no photo", nil, []string{"no_photos"}, ""},
		{"no sheet in one photo", []measure.Input{s.front, alter(rear, func(c *samples.Scene) { c.Sheets = nil })}, []string{"no_sheet"}, "rear"},
		{"no sheet at all", []measure.Input{alter(front, func(c *samples.Scene) { c.Sheets = nil })}, []string{"no_sheet"}, "front"},
		{"another sheet in each photo", []measure.Input{
			alter(front, func(c *samples.Scene) { c.Sheets = c.Sheets[:1] }),
			alter(rear, func(c *samples.Scene) { c.Sheets = c.Sheets[1:] }),
		}, []string{"sheets_not_linked"}, "rear"},
		{"one wheel", []measure.Input{
			alter(front, func(c *samples.Scene) { buried(&c.Vehicle.Left) }),
			alter(rear, func(c *samples.Scene) { buried(&c.Vehicle.Left) }),
		}, []string{"wheels_not_found", "wheel_unclear"}, ""},
		{"no wheel", []measure.Input{
			alter(front, func(c *samples.Scene) { buried(&c.Vehicle.Left); buried(&c.Vehicle.Right) }),
		}, []string{"wheels_not_found", "wheel_unclear"}, ""},
		{"blurred", []measure.Input{s.front, shot(rear, func(p *samples.Shot) { p.Develop.BlurPx = 6 })}, []string{"too_blurred", "no_sheet"}, "rear"},
		{"wheels cut off in front", []measure.Input{shot(front, s.zoomIn)}, []string{"wheels_cut_off", "wheel_unclear", "wheels_not_found"}, ""},
		{"wheels cut off at the rear", []measure.Input{shot(rear, s.zoomIn)}, []string{"wheels_cut_off", "wheel_unclear", "wheels_not_found"}, ""},
		{"the same photo twice", []measure.Input{s.front, s.rear, s.front}, []string{"same_photo_twice"}, "front"},
		{"two vehicles, each on sheets of its own", []measure.Input{s.front, alter(rear, func(c *samples.Scene) {
			*c = samples.NewScene(testSeed+1, samples.Options{LongSide: 2000, Setting: samples.Bench, Views: []samples.View{samples.Front, samples.RearView}})
		})}, []string{"sheets_moved", "photo_disagrees"}, ""},
		{"two vehicles, one after the other on the same sheets", []measure.Input{s.front, alter(rear, func(c *samples.Scene) {
			c.Vehicle = samples.NewScene(testSeed+1, samples.Options{}).Vehicle
		})}, []string{"photo_disagrees", "wheel_unclear", "not_settled", "size_mismatch"}, ""},
		{"a sheet moved by 20 mm", []measure.Input{s.front, alter(rear, func(c *samples.Scene) { c.Sheets[1].X += 20 })}, []string{"sheets_moved"}, ""},
		{"a sheet turned by 3 degrees", []measure.Input{s.front, alter(rear, func(c *samples.Scene) { c.Sheets[1].YawDeg += 3 })}, []string{"sheets_moved"}, ""},
		{"a sheet moved, the other one hidden", []measure.Input{s.front, alter(rear, func(c *samples.Scene) {
			c.Sheets = c.Sheets[1:]
			c.Sheets[0].X += 20
		})}, []string{"photo_disagrees", "sheets_moved", "not_settled"}, ""},
		{"a sheet moved by 5 mm", []measure.Input{s.front, alter(rear, func(c *samples.Scene) { c.Sheets[1].X += 5 })}, []string{"sheets_moved"}, ""},
		{"the vehicle rolled by 15 mm", []measure.Input{s.front, alter(rear, func(c *samples.Scene) {
			c.Vehicle.Left.Hub.Y += 15
			c.Vehicle.Right.Hub.Y += 15
		})}, []string{"photo_disagrees"}, ""},
		{"the tie rods turned", []measure.Input{s.front, alter(rear, turnTieRods)}, []string{"photo_disagrees"}, ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			m, err := measure.Measure(test.inputs, s.settings())
			refusal := requireRefused(t, m, err)
			assert.Contains(t, test.codes, refusal.Code, "%v", refusal)
			if test.photo != "" {
				assert.Equal(t, test.photo+".jpg", filepath.Base(refusal.Photo))
			}
			assert.NotEmpty(t, refusal.Reason)
			assert.NotEmpty(t, refusal.Remedy)
		})
	}
}

// turnTieRods turns each wheel by 1°.
func turnTieRods(c *samples.Scene) { turnRods(c, 1) }

func turnRods(c *samples.Scene, degrees float64) {
	c.Vehicle.Left.ToeDeg += degrees
	c.Vehicle.Right.ToeDeg += degrees
}

// Tie rods turned by 0.3° a wheel before the photo from the rear, which shows only where nothing else is
// taken to have moved: numbers 2.4 and 1.6 mm off, u 0.4 and 0.6, before.
func TestTieRodsTurnedALittle(t *testing.T) {
	for seed, photos := range map[uint64]int{906001: 2, 906000: 3} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s := newStudioOf(t, seed, samples.Options{Views: []samples.View{samples.Front, samples.RearView, samples.Above}})
			inputs := []measure.Input{s.front, s.take(t, 1, func(c *samples.Scene) { turnRods(c, 0.3) }), s.take(t, 2, nil)}
			m, err := measure.Measure(inputs[:photos], s.settings())
			assert.Equal(t, "photo_disagrees", requireRefused(t, m, err).Code)
			inputs[1] = s.rear
			_, err = measure.Measure(inputs[:photos], s.settings())
			assert.NoError(t, err)
		})
	}
}

// A result says how far tie rods could have been turned between its photos unnoticed. It says
// so for a power of 95 %: half as much again gives the alarm.
func TestWhatMayHideIsNoted(t *testing.T) {
	s := newStudio(t, testSeed, samples.Bench)
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	require.NoError(t, err)
	i := slices.IndexFunc(m.Result.Notes, func(n measure.Message) bool { return n.Code == "one_state" })
	require.NotEqual(t, -1, i)
	hides := m.Result.Notes[i].Params["degrees"].(float64)
	for _, sign := range []float64{-1, 1} {
		rear := s.take(t, 1, func(c *samples.Scene) { turnRods(c, sign*1.5*hides/2) })
		m, err := measure.Measure([]measure.Input{s.front, rear}, s.settings())
		assert.Equal(t, "photo_disagrees", requireRefused(t, m, err).Code)
	}
}

// zoomIn narrows the view until the outer halves of both wheels are out of it.
func (s *studio) zoomIn(p *samples.Shot) {
	zoom := 1.0
	for _, wheel := range []samples.Wheel{s.scene.Vehicle.Left, s.scene.Vehicle.Right} {
		hub, _ := p.Project(wheel.Hub)
		reach := max(math.Abs(hub.X-p.Camera.Cx)/float64(p.Width), math.Abs(hub.Y-p.Camera.Cy)/float64(p.Height))
		zoom = max(zoom, 0.5/reach)
	}
	p.Camera.F *= zoom
	p.Phone.Focal35Mm = int(math.Round(float64(p.Phone.Focal35Mm) * zoom))
}

func requireRefused(t *testing.T, m *measure.Measurement, err error) *vision.Refusal {
	t.Helper()
	if err == nil {
		q := m.Result.RimTotalToeMm
		require.Fail(t, "a number was given", "%.3f mm, u %.3f", q.Value, q.StandardUncertainty)
	}
	var refusal *vision.Refusal
	require.ErrorAs(t, err, &refusal)
	return refusal
}

// A rim of another size than said is refused, or has no part in a good number.
func (s *studio) testWrongRimSize(t *testing.T) {
	require.Equal(t, 451.0, s.settings().BeadSeatMm)
	for _, rim := range []float64{305, 406, 559} {
		t.Run(fmt.Sprint(rim), func(t *testing.T) {
			m, err := measure.Measure([]measure.Input{s.front, s.rear}, measure.Settings{BeadSeatMm: rim})
			s.requireRefusedOrRight(t, m, err, "size_mismatch")
			if err != nil {
				assert.ErrorContains(t, err, fmt.Sprintf("%.0f mm", rim))
			}
		})
	}
}

// Bare tyres of 406 mm, said to be 345: read as under mudguards, with some step for the rims'
// edges, their lower parts led to a track 5 mm off. All around they are of another size.
func TestBareTyresTellTheSize(t *testing.T) {
	s := newStudioOf(t, 9780000, samples.Options{LongSide: 3264, Guards: samples.NoGuards})
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, measure.Settings{BeadSeatMm: 345})
	refusal := requireRefused(t, m, err)
	assert.Equal(t, "size_mismatch", refusal.Code)
	assert.Contains(t, refusal.Reason, "with 406 mm the photos agree")
}

// Rims of 349 mm, said to be 349: the photo is unclear, and with 355 it would pass. That is no
// ground to doubt the size or the print.
func TestUnclearPhotoDoesNotBlameANearSize(t *testing.T) {
	s := newStudioOf(t, 906102, samples.Options{LongSide: 1400, Guards: samples.WithGuards, Views: []samples.View{samples.Front, samples.RearView, samples.Above}})
	require.Equal(t, 349.0, s.settings().BeadSeatMm)
	m, err := measure.Measure([]measure.Input{s.take(t, 2, nil)}, s.settings())
	refusal := requireRefused(t, m, err)
	assert.Equal(t, "wheel_unclear", refusal.Code)
	assert.NotContains(t, refusal.Reason, "355")
}

func printTooSmall(c *samples.Scene) {
	for i := range c.Sheets {
		c.Sheets[i].ScaleX *= 0.97
		c.Sheets[i].ScaleY *= 0.97
	}
}

// Sheets printed at 97 % ("fit to page") and not said to be: everything comes out
// 3 % too large, the rims too.
func (s *studio) testSheetsPrintedTooSmall(t *testing.T) {
	inputs := []measure.Input{s.take(t, 0, printTooSmall), s.take(t, 1, printTooSmall)}
	m, err := measure.Measure(inputs, s.settings())
	s.requireRefusedOrRight(t, m, err, "size_mismatch")

	said := s.settings()
	said.RulerMm = [2]float64{97, 97}
	m, err = measure.Measure(inputs, said)
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
	assertCovers(t, "track", m.Result.TrackMm, s.truth().TrackMm)
}

// Dark rims have an inner edge where 97 % put the outer one: only the tyres tell. Edges heard
// first, as under mudguards, led to toe 1 mm off in the last three: bare tyres are no mudguards.
func TestTyresTellThePrint(t *testing.T) {
	for _, c := range []struct {
		seed    uint64
		setting samples.Setting
	}{
		{743008, samples.Bench}, {9700000, samples.AnySetting}, {9700003, samples.AnySetting}, {9700014, samples.AnySetting},
	} {
		t.Run(fmt.Sprint(c.seed), func(t *testing.T) {
			s := newStudioOf(t, c.seed, samples.Options{Setting: c.setting, Guards: samples.NoGuards})
			inputs := []measure.Input{s.take(t, 0, printTooSmall), s.take(t, 1, printTooSmall)}
			m, err := measure.Measure(inputs, s.settings())
			refusal := requireRefused(t, m, err)
			assert.Equal(t, "size_mismatch", refusal.Code)
			assert.Contains(t, refusal.Reason, "printed too small")
		})
	}
}

func (s *studio) requireRefusedOrRight(t *testing.T, m *measure.Measurement, err error, codes ...string) {
	t.Helper()
	if err == nil {
		assertCovers(t, "total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
		assertCovers(t, "track", m.Result.TrackMm, s.truth().TrackMm)
		return
	}
	require.Contains(t, codes, requireRefused(t, m, err).Code)
}

// What is not as expected is named, or in the interval.
func (s *studio) testBentAndForeign(t *testing.T) {
	bent := func(c *samples.Scene) { c.Sheets[0].LiftMm = [4]float64{5, 0, 0, 5} }
	m, err := measure.Measure([]measure.Input{s.take(t, 0, bent), s.take(t, 1, bent)}, s.settings())
	s.requireRefusedOrRight(t, m, err, "sheets_moved")

	m, err = measure.Measure([]measure.Input{s.front, s.rear}, s.withOtherPhone(1.015, 0))
	s.requireRefusedOrRight(t, m, err, "camera_mismatch")
}

// withOtherPhone has the profile of another phone that EXIF does not tell from the right one: a lens
// known as a calibration knows it, of another focal length and a principal point so many px aside.
func (s *studio) withOtherPhone(focal, asidePx float64) measure.Settings {
	lens := s.scene.Shots[0].Camera
	lens.F *= focal
	lens.Cx += asidePx
	lens.Cy -= asidePx
	covariance := mat.NewSymDense(7, nil)
	for i, u := range []float64{2, 3, 3, 0.003, 0.01, 1e-4, 1e-4} {
		covariance.SetSym(i, i, u*u)
	}
	profile := calib.NewProfile(calib.Device(s.front.Photo.Camera), lens, covariance)
	settings := s.settings()
	settings.Cameras = map[vision.CameraID]*calib.Profile{s.front.Photo.Camera: &profile}
	return settings
}

// Sheets that say too little of the lens to speak against another phone's profile, which led to
// toe 1.6 mm and a track 2.9 mm off: with the wheels they do.
func TestWheelsTellTheLens(t *testing.T) {
	s := newStudioOf(t, 9740004, samples.Options{Guards: samples.NoGuards})
	both := []measure.Input{s.front, s.rear}
	m, err := measure.Measure(both, s.withOtherPhone(1.04, 30))
	refusal := requireRefused(t, m, err)
	assert.Equal(t, "camera_mismatch", refusal.Code)
	assert.Contains(t, refusal.Reason, "sheets and wheels together")
	m, err = measure.Measure(both, s.withOtherPhone(1, 0)) // the phone's own
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
	assertCovers(t, "track", m.Result.TrackMm, s.truth().TrackMm)
}

// Photos from two phones are welcome: each has a lens of its own.
func (s *studio) testTwoCameras(t *testing.T) {
	other := s.take(t, 1, func(c *samples.Scene) {
		shot := &c.Shots[1]
		shot.Camera.F *= 0.93
		shot.Camera.Cx += 15
		shot.Camera.K1 += 0.03
		shot.Phone.Model = "Phone 990"
		shot.Phone.Focal35Mm = int(float64(shot.Phone.Focal35Mm)*0.93 + 0.5)
	})
	require.NotEqual(t, s.front.Photo.Camera, other.Photo.Camera)
	m, err := measure.Measure([]measure.Input{s.front, other}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
}
