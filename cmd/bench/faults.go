package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
	"rimpair/report/serve"
	"rimpair/vision"
)

// faultsCommand makes this program try one reader, as a process of its own: a crash
// in a C library is the end of a process.
const faultsCommand = "faults"

// reader is something that reads files of others, with good files to start from. Try
// says what is wrong with a file; whatever it holds, it must not crash.
type reader struct {
	name string
	good [][]byte
	try  func(file []byte) error
}

// readers are all of them. The root is the module's, the folder is for files.
func readers(root, folder string) ([]reader, error) {
	webp, err := os.ReadFile(filepath.Join(root, "vision/testdata/pattern.webp"))
	if err != nil {
		return nil, err
	}
	heic, err := os.ReadFile(filepath.Join(root, "vision/testdata/turned.heic"))
	if err != nil {
		return nil, err
	}
	sample, err := os.ReadFile(filepath.Join(root, "samples/photos/plan-bench/front.jpg"))
	if err != nil {
		return nil, err
	}
	records, err := goodRecords(root, folder)
	if err != nil {
		return nil, err
	}
	api, err := apiReader(filepath.Join(folder, "store"))
	if err != nil {
		return nil, err
	}
	photo := func(file []byte) error {
		path, err := put(folder, "photo", file)
		if err != nil {
			return err
		}
		_, err = vision.Load(path, vision.Limits{Bytes: 1 << 20, Pixels: 1e6, Time: 10 * time.Second})
		return err
	}
	return []reader{
		{"JPEG", [][]byte{smallJPEG()}, photo},
		{"EXIF", [][]byte{withExif(sample)}, photo},
		{"PNG", [][]byte{smallPNG()}, photo},
		{"WebP", [][]byte{webp}, photo},
		{"HEIC", [][]byte{heic}, photo},
		{"job.json", records.json, func(file []byte) error { return readRecord(folder, file) }},
		{"job in a zip", records.zip, func(file []byte) error { return takeIn(folder, file) }},
		{"camera profile", [][]byte{goodProfile()}, func(file []byte) error {
			path, err := put(folder, "profile.json", file)
			if err != nil {
				return err
			}
			p, err := calib.LoadProfile(path)
			if err == nil {
				_, err = p.For(p.Device)
			}
			return err
		}},
		{"steering", goodSteerings(), adviseOn},
		{"requests' JSON", goodRequests(), api},
	}, nil
}

func put(folder, name string, file []byte) (string, error) {
	path := filepath.Join(folder, name)
	return path, os.WriteFile(path, file, 0o600)
}

func smallPicture() image.Image {
	m := image.NewYCbCr(image.Rect(0, 0, 48, 32), image.YCbCrSubsampleRatio420)
	for i := range m.Y {
		m.Y[i] = byte(i * 37)
	}
	return m
}

func smallJPEG() []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, smallPicture(), nil); err != nil {
		panic(err) // into memory
	}
	return b.Bytes()
}

func smallPNG() []byte {
	m := image.NewPaletted(image.Rect(0, 0, 32, 32), color.Palette{color.Black, color.White})
	m.Pix[5] = 1
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		panic(err) // into memory
	}
	return b.Bytes()
}

// withExif is a small picture with the EXIF data of a photo: its first APP1 segment.
func withExif(photo []byte) []byte {
	at := bytes.Index(photo, []byte("\xff\xe1"))
	if at < 0 {
		panic("the sample photo has no EXIF data")
	}
	length := int(photo[at+2])<<8 | int(photo[at+3])
	small := smallJPEG()
	return bytes.Join([][]byte{small[:2], photo[at : at+2+length], small[2:]}, nil)
}

type goodJobs struct{ json, zip [][]byte }

// goodRecords are a job's record in both its versions, and packed.
func goodRecords(root, folder string) (g goodJobs, err error) {
	old, err := os.ReadFile(filepath.Join(root, "report/job/testdata/version-1/job.json"))
	if err != nil {
		return g, err
	}
	whole, err := json.Marshal(wholeJob(1, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)))
	if err != nil {
		return g, err
	}
	dir := filepath.Join(folder, "packed")
	if err := job.Create(dir, job.Job{Created: time.Now(), Reference: "7"}); err != nil {
		return g, err
	}
	path, err := put(folder, "front.jpg", smallJPEG())
	if err != nil {
		return g, err
	}
	err = job.Update(dir, func(d *job.Draft) error {
		e := job.Entry{At: time.Now(), Note: "a note"}
		f, err := d.AddPhoto(&e, path)
		e.Photos = []job.File{f}
		d.Append(e)
		return err
	})
	if err != nil {
		return g, err
	}
	archive := filepath.Join(folder, "packed.zip")
	if _, err := job.Export(dir, archive); err != nil {
		return g, err
	}
	packed, err := os.ReadFile(archive)
	return goodJobs{json: [][]byte{old, whole}, zip: [][]byte{packed}}, err
}

// readRecord reads a record and words it, as a list and a page do.
func readRecord(folder string, file []byte) error {
	store := filepath.Join(folder, "records")
	dir := filepath.Join(store, "job")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if _, err := put(dir, "job.json", file); err != nil {
		return err
	}
	if _, err := job.List(store); err != nil {
		return err
	}
	s, err := job.Inspect(dir)
	if err != nil {
		return err
	}
	return report.JobText(&bytes.Buffer{}, s, s.Advice())
}

func takeIn(folder string, file []byte) error {
	archive, err := put(folder, "received.zip", file)
	if err != nil {
		return err
	}
	store := filepath.Join(folder, "received")
	_, err = job.TakeIn(archive, store)
	if e := os.RemoveAll(store); e != nil {
		return e
	}
	return err
}

// goodProfile is of an invented phone.
func goodProfile() []byte {
	covariance := mat.NewSymDense(7, nil)
	for i, u := range []float64{3, 1.5, 1.4, 4e-4, 1e-3, 4e-5, 5e-5} {
		covariance.SetSym(i, i, u*u)
	}
	device := calib.Device{Make: "Aster", Model: "A1", Focal35Mm: 26, Width: 4000, Height: 3000}
	p := calib.NewProfile(device, calib.Camera{F: 3080, Cx: 1985, Cy: 1512, K1: -0.03}, covariance)
	content, err := json.Marshal(p)
	if err != nil {
		panic(err) // plain numbers
	}
	return content
}

func goodSteerings() [][]byte {
	return [][]byte{
		[]byte(`{"schema": "rimpair/steering/1", "kind": "one_rod", "rods": "behind", "thread": "M6", "ends": "right_and_left", "left_thread": "left", "engaged_mm": 12,
			"arm_mm": {"value": 70, "plus_minus": 2}, "arm_inward_deg": {"value": 8}, "kingpin_distance_mm": {"value": 620}, "toe_mm_per_turn": {"value": 12, "standard_uncertainty": 0.5},
			"record": [{"total_toe_mm": {"value": -1, "standard_uncertainty": 0.3}, "then_longer_by_turns": 0.5}], "target": {"aim_mm": 1, "low_mm": 0, "high_mm": 2}}`),
		[]byte(`{"kind": "two_rods", "thread": "1/4-28 UNF", "sprung": true}`),
		[]byte(`{"kind": "bar_and_cross_rod", "thread": "M8x1.25"}`),
	}
}

// adviseOn reads a steering and advises on it, in words and in JSON.
func adviseOn(file []byte) error {
	var s measure.Steering
	d := json.NewDecoder(bytes.NewReader(file))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return err
	}
	toe := measure.Quantity{Value: 5, StandardUncertainty: 0.3, Low95: 4.4, High95: 5.6}
	side := measure.WheelResult{ToeDeg: measure.Quantity{Value: 0.3, StandardUncertainty: 0.02, Low95: 0.26, High95: 0.34}, RimDiameterMm: measure.Quantity{Value: 420, StandardUncertainty: 1, Low95: 418, High95: 422}}
	m := measure.Result{TotalToeMm: toe, RimTotalToeMm: toe, Wheels: []measure.WheelResult{side, side}, TrackMm: measure.Quantity{Value: 720, StandardUncertainty: 1, Low95: 718, High95: 722}}
	m.Wheels[0].Side, m.Wheels[1].Side = "left", "right"
	advice, err := measure.AdviseRods(m, s)
	if err != nil {
		return err
	}
	if err := report.AdjustText(&bytes.Buffer{}, *advice); err != nil {
		return err
	}
	return report.AdjustJSON(&bytes.Buffer{}, *advice)
}

func goodRequests() [][]byte {
	return [][]byte{
		[]byte(`{"reference": "7", "customer": "A. Rider", "vehicle": {"name": "red", "rim_mm": 406, "steering": {"thread": "M6", "kind": "one_rod"}}, "ruler_mm": [99.5, 100]}`),
		[]byte(`{"check": "spokes", "result": "ok", "note": "fine"}`),
		[]byte(`{"checks": [{"check": "kingpins", "result": "failed"}]}`),
		[]byte(`{"turned": [{"rod": "tie_rod", "longer_by_turns": 0.5}], "note": "n"}`),
		[]byte(`{"stage": "as_found"}`),
		[]byte(`{"thread": "M6", "arm_mm": {"value": 70}}`),
		[]byte(`{"code": "12345678"}`),
	}
}

// apiReader sends a body to each address that reads JSON. An answer of the class 500
// is a fault.
func apiReader(store string) (func([]byte) error, error) {
	s, err := serve.New(serve.Options{Store: store, Language: "en"})
	if err != nil {
		return nil, err
	}
	dir := filepath.Join(store, "7")
	if err := job.Create(dir, job.Job{Created: time.Now(), Reference: "7"}); err != nil {
		return nil, err
	}
	record, err := os.ReadFile(filepath.Join(dir, "job.json"))
	if err != nil {
		return nil, err
	}
	handler := s.Handler()
	client := 0
	return func(body []byte) error {
		for _, address := range []string{"/api/pair", "/api/jobs/7/vehicle", "/api/jobs/7/steering", "/api/jobs/7/checks", "/api/jobs/7/turned", "/api/jobs/7/settle"} {
			client++
			r := httptest.NewRequest(http.MethodPost, "http://localhost"+address, bytes.NewReader(body))
			r.Header.Set("X-Rimpair", "1")
			r.RemoteAddr = fmt.Sprintf("192.0.2.%d:1", client%200) // so that the rate is no matter
			w := httptest.NewRecorder()
			handler.ServeHTTP(w, r)
			if w.Code >= http.StatusInternalServerError {
				return fault(fmt.Sprintf("%s answered %d %s", address, w.Code, strings.TrimSpace(w.Body.String())))
			}
		}
		return os.WriteFile(filepath.Join(dir, "job.json"), record, 0o600) // or it grows and grows
	}, nil
}

// fault is an error that must not be.
type fault string

func (f fault) Error() string { return string(f) }

// trial tries one spoilt file, and tells a crash from an error.
func (r *reader) trial(file []byte) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fault(fmt.Sprint(p))
		}
	}()
	return r.try(file)
}

// spoil tries n spoilt files. It returns how many were read all the same, and the
// faults with the file that made the first.
func (r *reader) spoil(seed uint64, n int) (read int, faults []error, first []byte, slowest time.Duration) {
	draw := rand.New(rand.NewPCG(seed, 0))
	for range n {
		file := garble(draw, r.good)
		start := time.Now()
		err := r.trial(file)
		slowest = max(slowest, time.Since(start))
		if _, bad := err.(fault); bad {
			if faults = append(faults, err); first == nil {
				first = file
			}
		}
		if err == nil {
			read++
		}
	}
	return read, faults, first, slowest
}

const spoiltFiles = 10_000

// tryReader is what a process of its own does for faultsTable.
func tryReader(name string, seed uint64) error {
	folder, err := os.MkdirTemp("", "faults")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	all, err := readers(".", folder)
	if err != nil {
		return err
	}
	for _, r := range all {
		if r.name != name {
			continue
		}
		for _, good := range r.good {
			if err := r.trial(good); err != nil {
				return fmt.Errorf("a good %s cannot be read: %w", name, err)
			}
		}
		start := time.Now()
		read, faults, first, slowest := r.spoil(seed, spoiltFiles)
		fmt.Printf("%-16s %8d %8d %8d %10.3f %8.1f\n", name, spoiltFiles, read, len(faults), slowest.Seconds(), time.Since(start).Seconds())
		if len(faults) > 0 {
			fmt.Printf("  %v\n  %.300q\n", faults[0], first)
		}
		return nil
	}
	return fmt.Errorf("no reader %q", name)
}
