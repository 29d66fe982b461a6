package report

import (
	"bytes"
	"encoding/hex"
	"fmt"

	"rimpair/measure"
	"rimpair/report/job"
	"rimpair/vision"
)

// JobAddition is an entry of a job with the files it brings.
type JobAddition struct {
	Entry    job.Entry
	Photos   []string // paths
	sums     []string // of the photos as they were read
	result   []byte
	pictures []JobPicture
}

// Measured makes the photos the record of a measured stage.
func (a *JobAddition) Measured(m *measure.Measurement, inputs []measure.Input, stage job.Stage, valves string) error {
	a.Entry.Measurement = &job.Measurement{
		Stage: stage, Valves: valves, TotalToeMm: m.Result.TotalToeMm, RimTotalToeMm: m.Result.RimTotalToeMm,
	}
	var orientations []int
	for _, in := range inputs {
		orientations = append(orientations, a.saw(in.Photo))
	}
	var err error
	if a.pictures, err = JobPictures(*m, a.Photos, orientations); err != nil {
		return err
	}
	var result bytes.Buffer
	err = JSON(&result, m.Result)
	a.result = result.Bytes()
	return err
}

// Unmeasured keeps the photos as they are.
func (a *JobAddition) Unmeasured() error {
	var orientations []int
	for _, path := range a.Photos {
		p, err := vision.LoadGrey(path, vision.DefaultLimits())
		if err != nil {
			return err
		}
		orientations = append(orientations, a.saw(p))
	}
	var err error
	a.pictures, err = PlainPictures(a.Photos, orientations)
	return err
}

// saw takes down a photo as it was read, and returns its orientation.
func (a *JobAddition) saw(p *vision.Photo) int {
	a.sums = append(a.sums, hex.EncodeToString(p.SHA256[:]))
	return p.Orientation
}

// To adds it to a draft.
func (a *JobAddition) To(d *job.Draft) error {
	e := a.Entry
	for i, path := range a.Photos {
		f, err := d.AddPhoto(&e, path)
		if err != nil {
			return err
		}
		if a.sums != nil && a.sums[i] != f.SHA256 {
			return fmt.Errorf("%s was changed while it was read", path)
		}
		e.Photos = append(e.Photos, f)
	}
	if e.Measurement != nil {
		m := *e.Measurement
		var err error
		if m.Result, err = d.AddResult(&e, a.result); err != nil {
			return err
		}
		e.Measurement = &m
	}
	for _, p := range a.pictures {
		f, err := d.AddPicture(&e, p.Name, p.JPEG)
		if err != nil {
			return err
		}
		f.Labels = p.Labels
		e.Pictures = append(e.Pictures, f)
	}
	d.Append(e)
	return nil
}
