package calib

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// This file keeps what a calibration found as a file: plain JSON, described by
// camera.schema.json beside this file.

// Profile is a calibrated camera: its numbers with their full covariance, and the
// device that they hold for. Lengths are in pixels of the stored, unturned picture.
type Profile struct {
	Schema  string `json:"schema"`
	Created string `json:"created"` // a date, as 2006-01-02
	Device  Device `json:"device"`
	// Parameters names the numbers in the order of Values and Covariance: f, cx, cy,
	// k1, k2, p1, p2, and k3 where the photos called for it.
	Parameters []string    `json:"parameters"`
	Values     []float64   `json:"values"`
	Covariance [][]float64 `json:"covariance"`
	// LensMotion is how much more than usual the lens moved from photo to photo, 1 or
	// more; it comes on top of the covariance, which is that of the lens's mean.
	LensMotion float64 `json:"lens_motion"`
	Photos     int     `json:"photos"` // that were used
	// RmsPx is what the corners missed their places by, of one coordinate.
	RmsPx float64 `json:"rms_px"`
	// PhotoHashes are the SHA-256 of the photos' files, so that none counts twice.
	PhotoHashes []string `json:"photo_sha256"`
}

// Device is what a photo's file says of the camera and of the picture.
type Device struct {
	Make        string  `json:"make"`
	Model       string  `json:"model"`
	Lens        string  `json:"lens"`
	FocalMm     float64 `json:"focal_mm"`
	Focal35Mm   float64 `json:"focal_35mm"`             // 35 mm equivalent, which often tells digital zoom as well
	DigitalZoom float64 `json:"digital_zoom,omitempty"` // 0 without any
	Width       int     `json:"width_px"`
	Height      int     `json:"height_px"`
}

const (
	profileSchema  = "rimpair/camera/"
	profileVersion = 1
	maxProfileSize = 1 << 20 // bytes; a profile has some thousand
)

// NewProfile states a camera of the first n of its numbers, 7 or 8, with their
// covariance.
func NewProfile(d Device, c Camera, covariance mat.Symmetric) Profile {
	n := covariance.SymmetricDim()
	names, numbers := IntrinsicNames(), c.Numbers()
	p := Profile{Schema: profileSchema + strconv.Itoa(profileVersion), Device: d, LensMotion: 1, Parameters: slices.Clone(names[:n])}
	for i := range n {
		row := make([]float64, n)
		for j := range row {
			row[j] = covariance.At(i, j)
		}
		p.Values, p.Covariance = append(p.Values, *numbers[i]), append(p.Covariance, row)
	}
	return p
}

// Camera is the lens that the profile describes.
func (p *Profile) Camera() Camera {
	var c Camera
	numbers := c.Numbers()
	for i, v := range p.Values {
		*numbers[i] = v
	}
	return c
}

// Sym is the covariance as a matrix.
func (p *Profile) Sym() *mat.SymDense {
	s := mat.NewSymDense(len(p.Values), nil)
	for i, row := range p.Covariance {
		for j := i; j < len(row); j++ {
			s.SetSym(i, j, row[j])
		}
	}
	return s
}

// StandardUncertainty is that of one of the numbers.
func (p *Profile) StandardUncertainty(i int) float64 { return math.Sqrt(p.Covariance[i][i]) }

// Save writes the profile so that a reader finds either the old file or the whole
// new one.
func (p *Profile) Save(path string) error {
	text, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".camera-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // no longer there once renamed
	_, err = f.Write(append(text, '\n'))
	if err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// LoadProfile reads a profile and checks it.
func LoadProfile(path string) (*Profile, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxProfileSize+1))
	if err != nil {
		return nil, err
	}
	p, err := parseProfile(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

func parseProfile(text []byte) (*Profile, error) {
	if len(text) > maxProfileSize {
		return nil, errors.New("too large for a camera profile")
	}
	// The version first: a newer profile may be shaped otherwise.
	var header struct {
		Schema string `json:"schema"`
	}
	if err := json.Unmarshal(text, &header); err != nil {
		return nil, fmt.Errorf("not a camera profile: %w", err)
	}
	number, isProfile := strings.CutPrefix(header.Schema, profileSchema)
	version, err := strconv.Atoi(number)
	switch {
	case !isProfile || err != nil || version < 1:
		return nil, errors.New("not a camera profile: its schema is not " + profileSchema + strconv.Itoa(profileVersion))
	case version > profileVersion:
		return nil, fmt.Errorf("a camera profile of version %d, from a newer rimpair: this one reads up to version %d", version, profileVersion)
	}
	var p Profile
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&p); err != nil {
		return nil, fmt.Errorf("damaged camera profile: %w", err)
	}
	if err := p.validate(); err != nil {
		return nil, fmt.Errorf("damaged camera profile: %w", err)
	}
	return &p, nil
}

func (p *Profile) validate() error {
	names := IntrinsicNames()
	n := len(p.Parameters)
	if n < NumIntrinsics-1 || n > NumIntrinsics || !slices.Equal(p.Parameters, names[:n]) {
		return fmt.Errorf("its parameters are not %v, with or without k3 at the end", names)
	}
	if len(p.Values) != n || len(p.Covariance) != n {
		return fmt.Errorf("%d parameters, %d values, %d rows of covariance", n, len(p.Values), len(p.Covariance))
	}
	d := &p.Device
	if d.Width <= 0 || d.Height <= 0 {
		return errors.New("no picture size")
	}
	if !(p.LensMotion >= 1) {
		return errors.New("its lens motion is below 1")
	}
	c := p.Camera()
	if !(c.F > 0) || c.Cx < 0 || c.Cy < 0 || c.Cx > float64(d.Width) || c.Cy > float64(d.Height) {
		return errors.New("its lens looks past the picture")
	}
	for i, row := range p.Covariance {
		if len(row) != n {
			return fmt.Errorf("row %d of the covariance has %d numbers, not %d", i+1, len(row), n)
		}
	}
	for i, row := range p.Covariance {
		for j, v := range row {
			if v != p.Covariance[j][i] {
				return errors.New("its covariance is not symmetric")
			}
		}
	}
	// Scaled to correlations, so that px² beside 1e-8 does not look singular.
	correlation := mat.NewSymDense(n, nil)
	for i, row := range p.Covariance {
		for j := i; j < n; j++ {
			correlation.SetSym(i, j, row[j]/(p.StandardUncertainty(i)*p.StandardUncertainty(j)))
		}
	}
	if !new(mat.Cholesky).Factorize(correlation) {
		return errors.New("its covariance is not positive definite")
	}
	return nil
}
