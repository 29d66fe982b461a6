package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rimpair/measure"
	"rimpair/report/serve"
)

// This file reads what states of a vehicle the photos show: NAME=PHOTO,PHOTO or
// NAME=FOLDER, and measures several positions of the wheels.

// namedPhotos are the photos of one state as given.
type namedPhotos struct {
	name  string
	paths []string
}

func parseStates(args []string) ([]namedPhotos, error) {
	var states []namedPhotos
	for _, arg := range args {
		name, list, ok := strings.Cut(arg, "=")
		if !ok || name == "" || list == "" {
			return nil, fmt.Errorf("write a name, = and its photos or their folder, such as before=a.jpg,b.jpg, not %q", arg)
		}
		if slices.ContainsFunc(states, func(s namedPhotos) bool { return s.name == name }) {
			return nil, fmt.Errorf("%q is named twice; give all its photos at once", name)
		}
		paths, err := photosOf(list)
		if err != nil {
			return nil, err
		}
		states = append(states, namedPhotos{name, paths})
	}
	return states, nil
}

// photosOf are the photos in a folder, or those of a list.
func photosOf(list string) ([]string, error) {
	if info, err := os.Stat(list); err != nil || !info.IsDir() {
		return strings.Split(list, ","), nil
	}
	files, err := os.ReadDir(list)
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, file := range files {
		if isPhoto(file.Name()) {
			paths = append(paths, filepath.Join(list, file.Name()))
		}
	}
	if len(paths) == 0 {
		return nil, fmt.Errorf("there is no photo in the folder %s", list)
	}
	return paths, nil
}

// allPaths are the photos of all states, one after the other.
func allPaths(named []namedPhotos) []string {
	var paths []string
	for _, s := range named {
		paths = append(paths, s.paths...)
	}
	return paths
}

// loadStates reads the photos of all states.
func loadStates(named []namedPhotos, settings *measure.Settings, camera string) ([]measure.State, []measure.Input, error) {
	inputs, err := load(allPaths(named), settings, camera)
	if err != nil {
		return nil, nil, err
	}
	var states []measure.State
	first := 0
	for _, s := range named {
		end := first + len(s.paths)
		states = append(states, measure.State{Name: s.name, Inputs: inputs[first:end]})
		first = end
	}
	return states, inputs, nil
}

// measureServed measures photos of one position of the wheels, or of several.
func measureServed(positions []serve.Position, settings measure.Settings, camera string) (*measure.Measurement, []measure.Input, error) {
	if len(positions) == 1 {
		return measurePhotos(positions[0].Paths, settings, camera)
	}
	var named []namedPhotos
	for _, p := range positions {
		named = append(named, namedPhotos{p.Valves, p.Paths})
	}
	return measurePositions(named, settings, camera)
}

// measurePositions measures photos of several positions of the wheels.
func measurePositions(named []namedPhotos, settings measure.Settings, camera string) (*measure.Measurement, []measure.Input, error) {
	turns, err := turnsOf(named)
	if err != nil {
		return nil, nil, err
	}
	states, inputs, err := loadStates(named, &settings, camera)
	if err != nil {
		return nil, nil, err
	}
	for i := range states {
		states[i].TurnRad = turns[i]
	}
	m, err := measure.MeasurePositions(states, settings)
	return m, inputs, err
}

// turnsOf is how far the wheels are turned in each position, from the valves at the top.
func turnsOf(named []namedPhotos) ([]float64, error) {
	if len(named) < 2 {
		return nil, fmt.Errorf("--at needs two positions or more: give it once for each; for one position name the photos alone")
	}
	turns := make([]float64, len(named))
	for i, s := range named {
		hour, err := hourOf(s.name)
		if err != nil {
			return nil, err
		}
		turns[i] = 2 * math.Pi * hour / 12
		for k := range i {
			if turns[k] == turns[i] {
				return nil, fmt.Errorf("%s and %s are the same position; give all its photos at once", named[k].name, s.name)
			}
		}
	}
	return turns, nil
}

// hourOf reads a position: top, bottom, or what hour of the clock the valve points to.
func hourOf(position string) (float64, error) {
	hour, ok := map[string]float64{"top": 0, "12": 0, "3": 3, "bottom": 6, "6": 6, "9": 9}[position]
	if !ok {
		return 0, fmt.Errorf("--at knows the positions top and bottom, or 12, 3, 6 and 9 by the clock, not %q", position)
	}
	return hour, nil
}
