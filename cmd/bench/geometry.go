package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// geometryTable adjusts noisy points instead of pictures. It needs the inside of
// package measure, so these are some of its tests, here with more draws: the error against
// the Cramér-Rao bound, and each line of the budget against a Monte Carlo.
func (b *bench) geometryTable() error {
	b.title("Geometry alone: %d draws of noisy points", b.draws)
	command := exec.Command("go", "test", "./measure", "-count=1", "-v", "-run", "^(TestCramerRao|TestBudgetCoverage|TestPositionsCoverage|TestStatesCoverage)$", "-timeout", "1h")
	command.Env = append(os.Environ(), fmt.Sprintf("RIMPAIR_DRAWS=%d", b.draws))
	output, err := command.CombinedOutput()
	for line := range strings.Lines(string(output)) {
		// The tests' own words stand behind their files' names.
		if place, words, ok := strings.Cut(line, ": "); ok && strings.Contains(place, "_test.go:") && strings.TrimSpace(words) != "" {
			b.printf("%s", words)
		} else if strings.HasPrefix(line, "FAIL") || strings.HasPrefix(line, "--- FAIL") {
			b.printf("%s", line)
		}
	}
	if len(output) == 0 {
		return err
	}
	return nil
}
