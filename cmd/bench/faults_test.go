package main

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func testReaders(t testing.TB) []reader {
	all, err := readers("../..", t.TempDir())
	require.NoError(t, err)
	return all
}

// Some spoilt files for every reader; make bench tries ten thousand.
func TestSpoiltFiles(t *testing.T) {
	for _, r := range testReaders(t) {
		n := 300
		if r.name == "HEIC" {
			n = 20 // each takes hundredths of a second
		}
		for _, good := range r.good {
			require.NoError(t, r.trial(good), "%s: what is not spoilt is read", r.name)
		}
		_, faults, first, _ := r.spoil(1, n)
		assert.Empty(t, faults, "%s: %.300q", r.name, first)
	}
}

// The trial itself is checked: what must not be is found.
func TestTrialFindsFaults(t *testing.T) {
	crash := reader{try: func([]byte) error { panic("crash") }}
	assert.Equal(t, fault("crash"), crash.trial(nil))
	plain := errors.New("no photo")
	refuse := reader{try: func([]byte) error { return plain }}
	assert.Equal(t, plain, refuse.trial(nil))
}

// fuzz lets go test -fuzz spoil a reader's files by what they make the code do.
func fuzz(f *testing.F, name string) {
	for _, r := range testReaders(f) {
		if r.name != name {
			continue
		}
		for _, good := range r.good {
			f.Add(good)
		}
		f.Fuzz(func(t *testing.T, file []byte) {
			if err, bad := r.trial(file).(fault); bad {
				t.Fatal(err)
			}
		})
	}
}

func FuzzJPEG(f *testing.F)     { fuzz(f, "JPEG") }
func FuzzEXIF(f *testing.F)     { fuzz(f, "EXIF") }
func FuzzPNG(f *testing.F)      { fuzz(f, "PNG") }
func FuzzWebP(f *testing.F)     { fuzz(f, "WebP") }
func FuzzHEIC(f *testing.F)     { fuzz(f, "HEIC") }
func FuzzRecord(f *testing.F)   { fuzz(f, "job.json") }
func FuzzArchive(f *testing.F)  { fuzz(f, "job in a zip") }
func FuzzProfile(f *testing.F)  { fuzz(f, "camera profile") }
func FuzzSteering(f *testing.F) { fuzz(f, "steering") }
func FuzzRequest(f *testing.F)  { fuzz(f, "requests' JSON") }
