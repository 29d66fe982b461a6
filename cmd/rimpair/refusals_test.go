package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every code that a refusal can have stands in the table in README.md, and no other; and
// some test expects it.
func TestRefusalsAreListed(t *testing.T) {
	const root = "../.."
	given := regexp.MustCompile(`Refusal\{\s*Code:\s*"([a-z_]+)"`)
	codes, tests := map[string]string{}, ""
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if path == filepath.Join(root, "report", "serve") {
			return fs.SkipDir // the pages' answers have codes of their own
		}
		if err != nil || d.IsDir() || filepath.Ext(path) != ".go" {
			return err
		}
		text, err := os.ReadFile(path)
		if strings.HasSuffix(path, "_test.go") {
			tests += string(text)
			return err
		}
		for _, match := range given.FindAllStringSubmatch(string(text), -1) {
			codes[match[1]] = path
		}
		return err
	}))

	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(readme), "\n## Refusals\n")
	require.True(t, ok)
	section, _, _ = strings.Cut(section, "\n## ")
	listed := map[string]bool{}
	for line := range strings.Lines(section) {
		if cells := strings.Split(line, "|"); len(cells) > 2 {
			for _, match := range regexp.MustCompile("`([a-z_]+)`").FindAllStringSubmatch(cells[1], -1) {
				listed[match[1]] = true
			}
		}
	}
	for code, path := range codes {
		assert.True(t, listed[code], "%s of %s is not in README.md", code, path)
		expected := strings.Contains(tests, `"`+code+`"`) || strings.Contains(tests, "["+code+"]")
		assert.True(t, expected, "no test expects %s of %s", code, path)
	}
	for code := range listed {
		assert.Contains(t, codes, code, "README.md lists a code that nothing gives")
	}
}
