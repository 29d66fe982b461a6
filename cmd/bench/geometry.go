package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// geometryTable adjusts noisy points instead of pictures. It needs the inside of
// package measure, so it is one of its tests, here with more draws.
func (b *bench) geometryTable() error {
	b.title("Geometry alone: %d draws of noisy points", b.draws)
	command := exec.Command("go", "test", "./measure", "-count=1", "-v", "-run", "^TestCramerRao$")
	command.Env = append(os.Environ(), fmt.Sprintf("RIMPAIR_DRAWS=%d", b.draws))
	output, err := command.CombinedOutput()
	for line := range strings.Lines(string(output)) {
		// The test's own words stand behind its file's name.
		if _, words, ok := strings.Cut(line, "crlb_test.go:"); ok {
			_, words, _ = strings.Cut(words, ": ")
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
