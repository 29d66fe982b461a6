package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"rimpair/calib"
	"rimpair/samples"
	"rimpair/vision/yardstick"
)

// This file calibrates phones from photos whose truth is known, as a person would with
// the rimpair program, and measures single photos with what that gave.

// cameraYardstickCommand makes this program do OpenCV's own calibration, as a process
// of its own.
const cameraYardstickCommand = "camera-yardstick"

func runCameraYardstick(photos []string) error {
	rms, err := yardstick.Calibrate(photos)
	if err != nil {
		return err
	}
	_, err = fmt.Printf("RMS %.3f px of both coordinates\n", rms)
	return err
}

// phone is one phone's photos: of the sheets alone, and of a vehicle.
type phone struct {
	set         string
	calibration []string
	above       []string
	all         []string
	truth       samples.Truth
	shoot       shoot
}

const (
	leastCalibration = 8  // photos of a set that is meant to calibrate a phone
	timedPhotos      = 15 // photos of 12 megapixels to be timed
)

// readPhones are the sets that have photos to calibrate a phone from: cal01.jpg ….
func readPhones(dir string) ([]phone, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
	if err != nil {
		return nil, err
	}
	var phones []phone
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		var p phone
		if err := json.Unmarshal(raw, &p.truth); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		folder := filepath.Dir(file)
		p.set = filepath.Base(folder)
		for _, photo := range p.truth.Photos {
			path := filepath.Join(folder, photo.File)
			p.all = append(p.all, path)
			switch {
			case strings.HasPrefix(photo.File, "cal"):
				p.calibration = append(p.calibration, path)
			case strings.HasPrefix(photo.File, "above"):
				p.above = append(p.above, path)
			}
		}
		if shoots := split(folder, p.truth); len(p.calibration) >= leastCalibration && len(shoots) > 0 {
			p.shoot = shoots[0]
			phones = append(phones, p)
		}
	}
	return phones, nil
}

// cameraTable calibrates every phone, measures its single photos, and times.
func (b *bench) cameraTable() error {
	dir := photoFolder()
	b.title("Phones calibrated from photos in %s", dir)
	phones, err := readPhones(dir)
	if err != nil {
		return err
	}
	if len(phones) == 0 {
		b.printf("no set there has %d photos cal*.jpg and a vehicle\n", leastCalibration)
	}
	for i := range phones {
		if err := b.phoneTables(&phones[i]); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) phoneTables(p *phone) error {
	file := filepath.Join(b.dir, p.set+".json")
	output, err := exec.Command(b.rimpair, append([]string{"camera", "-o", file}, p.calibration...)...).CombinedOutput()
	if err != nil {
		b.printf("%s FAILED: %v %s\n", p.set, err, output)
		return nil
	}
	profile, err := calib.LoadProfile(file)
	if err != nil {
		return err
	}
	b.parameters(p, profile)

	b.printf("\nSingle photos from above, with the profile\n")
	b.printf("%-20s %-14s %9s %16s  %s\n", "set", "photo", "error mm", "half-width mm", "in 95?")
	for _, photo := range p.above {
		t := trial{set: p.set, photos: []string{photo}, rimMm: p.shoot.truth.Wheels.L.BeadSeatMm, truth: p.shoot.truth, camera: file}
		t.measure(b.rimpair)
		if !t.measured() {
			b.rows([]*trial{&t})
			continue
		}
		half := (t.outcome.RimTotalToeMm.High95 - t.outcome.RimTotalToeMm.Low95) / 2
		b.printf("%-20s %-14s %+9.3f %16.2f  %s\n", p.set, t.names(), t.errorMm(), half, yes(t.inside()))
	}
	b.limits("half-width 1.5 mm, run-out apart; all inside")
	return b.timeCamera(p)
}

// parameters prints a profile beside the truth. The lens moves from photo to photo: the
// true focal length and principal point are those of the mean over all the phone's
// photos, itself uncertain by their scatter.
func (b *bench) parameters(p *phone, profile *calib.Profile) {
	b.printf("%s: %d of %d photos used, reprojection RMS %.3f px\n", p.set, profile.Photos, len(p.calibration), profile.RmsPx)
	b.printf("%-4s %12s %12s %10s %10s %6s  %s\n", "", "true", "found", "u", "u of true", "|z|", "within 2 u?")
	for i, name := range profile.Parameters {
		var list []float64
		for _, photo := range p.truth.Photos {
			k, d := photo.CameraMatrix, photo.Distortion
			list = append(list, []float64{k[0][0], k[0][2], k[1][2], d[0], d[1], d[2], d[3], d[4]}[i])
		}
		truth, uTruth := meanOf(list)
		found, u := profile.Values[i], profile.StandardUncertainty(i)
		z := math.Abs(found-truth) / u
		b.printf("%-4s %12.6g %12.6g %10.2g %10.2g %6.2f  %s\n", name, truth, found, u, uTruth, z, yes(z <= 2))
	}
}

// meanOf is the mean of some values and its standard uncertainty.
func meanOf(values []float64) (mean, u float64) {
	n := float64(len(values))
	for _, v := range values {
		mean += v / n
	}
	for _, v := range values {
		u += (v - mean) * (v - mean)
	}
	if slices.Min(values) == slices.Max(values) {
		return values[0], 0 // not the rounding of the mean
	}
	return mean, math.Sqrt(u / (n - 1) / n)
}

const cameraSpeedLimit = 1.2 // times the yardstick

// timeCamera compares rimpair camera with OpenCV's own pipeline on the same photos, in
// turn, and keeps the best of each.
func (b *bench) timeCamera(p *phone) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	photos := p.all[:min(len(p.all), timedPhotos)]
	size := p.truth.Photos[0].Size
	file := filepath.Join(b.dir, "timed.json")
	var ours, theirs cost
	for range speedRuns {
		t, err := timed(self, append([]string{cameraYardstickCommand}, photos...)...)
		if err != nil {
			return err
		}
		o, err := timed(b.rimpair, append([]string{"camera", "-o", file}, photos...)...)
		if err != nil {
			return err
		}
		ours, theirs = ours.best(o), theirs.best(t)
	}
	b.printf("\nTime: %d photos of %.0f megapixels, best of %d runs each, in turn\n", len(photos), float64(size[0]*size[1])/1e6, speedRuns)
	b.printf("%-44s %8s %12s %9s\n", "", "wall s", "processor s", "peak MiB")
	b.printf("%-44s %8.2f %12.2f %9.0f\n", "rimpair camera", ours.wall.Seconds(), ours.cpu.Seconds(), ours.peakMiB)
	b.printf("%-44s %8.2f %12.2f %9.0f\n", "OpenCV: decode, board corners, calibrate", theirs.wall.Seconds(), theirs.cpu.Seconds(), theirs.peakMiB)
	b.printf("ratio: wall %.2f, processor %.2f\n", ours.wall.Seconds()/theirs.wall.Seconds(), ours.cpu.Seconds()/theirs.cpu.Seconds())
	b.limits(fmt.Sprintf("%g times", cameraSpeedLimit))
	return nil
}
