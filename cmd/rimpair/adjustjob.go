package main

import (
	"fmt"
	"os"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// found is the state to be adjusted, with what is known of the steering already and
// what must be said first.
type found struct {
	result   measure.Result
	steering measure.Steering
	alarms   []string
	spoiling []job.CheckItem // make the result mean nothing
}

// readFound reads a measurement's file or a job's folder.
func readFound(path string) (found, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return foundInJob(path)
	}
	result, err := readResult(path)
	return found{result: result}, err
}

// foundInJob is the last measurement of a job, as long as it still holds and is whole.
func foundInJob(dir string) (found, error) {
	s, err := job.Inspect(dir)
	if err != nil {
		return found{}, err
	}
	steering, holds := s.Described()
	switch {
	case s.LastMeasurement() == nil:
		return found{}, fmt.Errorf("%s has no measurement yet: add photos with rimpair job add", dir)
	case !holds:
		return found{}, fmt.Errorf("in %s something was turned since the last measurement: measure again first", dir)
	}
	result, ok := s.LastResult()
	if !ok {
		return found{}, fmt.Errorf("the last result of %s is damaged (rimpair job show says how): measure again first", dir)
	}
	return found{result, steering, report.JobAlarms(s.Job, report.English()), s.SpoilingLast()}, nil
}
