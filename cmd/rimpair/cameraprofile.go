package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/vision"
)

// noCamera in place of a profile's file asks to measure without any.
const noCamera = "none"

// camerasFor finds the profile of each photo's camera: in the file, or without one in
// the profiles folder. A file must fit all photos; in the folder none need fit.
func camerasFor(inputs []measure.Input, file string) (map[vision.CameraID]*calib.Profile, error) {
	if file == noCamera {
		return nil, nil
	}
	find := pickProfile
	if file != "" {
		given, err := calib.LoadProfile(file)
		if err != nil {
			return nil, err
		}
		find = func(p *vision.Photo) (*calib.Profile, error) { return fitProfile(given, file, p) }
	}
	cameras := map[vision.CameraID]*calib.Profile{}
	for _, in := range inputs {
		id := in.Photo.Camera
		if _, known := cameras[id]; known {
			continue
		}
		var err error
		if cameras[id], err = find(in.Photo); err != nil {
			return nil, err
		}
	}
	return cameras, nil
}

func fitProfile(given *calib.Profile, file string, p *vision.Photo) (*calib.Profile, error) {
	profile, err := given.For(calib.Device(p.Camera))
	if err != nil {
		return nil, &vision.Refusal{
			Code: "camera_mismatch", Photo: p.Path,
			Reason: fmt.Sprintf("The camera profile %s does not hold for this photo: %v.", filepath.Base(file), err),
			Remedy: "Take the photos as the profile's were taken (same phone, lens and zoom, not cropped), or calibrate anew (rimpair camera), or leave --camera out.",
		}
	}
	return profile, nil
}

// pickProfile is the one that fits of the profiles folder, nil when none does. A file
// there that cannot be read does not keep the others from measuring.
func pickProfile(p *vision.Photo) (*calib.Profile, error) {
	folder, err := calib.ProfileFolder()
	if err != nil {
		return nil, nil // a system without such folders has no profiles
	}
	profile, _, err := calib.PickProfile(folder, calib.Device(p.Camera))
	if err != nil {
		fmt.Fprintf(os.Stderr, "rimpair: left out of the camera profiles: %v\n", err)
	}
	return profile, nil
}

// saveProfile writes the profile, without a file's name where measure finds it.
func saveProfile(p *calib.Profile, file string) (string, error) {
	if file != "" {
		return file, p.Save(file)
	}
	file, err := profileFile(&p.Device)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return "", err
	}
	return file, p.Save(file)
}

// profileFile is where the profile of a device, lens and zoom lies, its name of
// letters that every file system takes.
func profileFile(d *calib.Device) (string, error) {
	if d.Model == "" {
		return "", errors.New("the photos do not say what phone they are from, so that its profile could not be found again: write it to a file with -o, and give that to measure --camera")
	}
	folder, err := calib.ProfileFolder()
	if err != nil {
		return "", err
	}
	text := fmt.Sprintf("%s %s %s %g %dx%d", d.Make, d.Model, d.Lens, d.Focal35Mm, d.Width, d.Height)
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	const longest = 100
	name := []rune(strings.Join(words, "-"))
	return filepath.Join(folder, string(name[:min(len(name), longest)])+".json"), nil
}

// offerCameras asks, for each camera that is now known better, whether to keep it.
func offerCameras(cameras []measure.RefinedCamera, in io.Reader, out io.Writer) error {
	answers := bufio.NewScanner(in)
	for i := range cameras {
		c := &cameras[i]
		if !c.Better() {
			fmt.Fprintf(out, "These photos tell no more of the camera %s than is known already.\n", c.Profile.Device.Model)
			continue
		}
		file, err := profileFile(&c.Profile.Device)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "These photos tell the camera %s better: focal length to ± %.2g px (before ± %.2g px),\nprincipal point to ± %.2g px (before ± %.2g px), as standard uncertainties.\nKeep it as %s? [y/n] ",
			c.Profile.Device.Model, c.Profile.StandardUncertainty(0), c.Before[0],
			max(c.Profile.StandardUncertainty(1), c.Profile.StandardUncertainty(2)), max(c.Before[1], c.Before[2]), file)
		yes := answers.Scan() && strings.HasPrefix(strings.ToLower(strings.TrimSpace(answers.Text())), "y")
		fmt.Fprintln(out)
		if !yes {
			continue
		}
		c.Profile.Created = time.Now().Format(time.DateOnly)
		if _, err := saveProfile(&c.Profile, ""); err != nil {
			return err
		}
	}
	return answers.Err()
}
