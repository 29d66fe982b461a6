package report

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestExplain(t *testing.T) {
	var w strings.Builder
	r := sampleResult()
	r.Budget[0].Code, r.Budget[0].EnglishSource = "", strings.Repeat("a long source ", 9)
	require.NoError(t, Explain(&w, r))
	text := w.String()
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), textWidth, line)
	}
	for _, b := range r.Budget[1:] {
		assert.Contains(t, text, shorten(English().source(b).Text, 32))
	}
	assert.Regexp(t, `tyre outline in the photos +A +0.52 px +0.16 +0.083 +7 % +47\n`, text)
	assert.Regexp(t, `together +0.320 +100 % +∞\n`, text)
	assert.Contains(t, text, "k = 1.96 for 95 % (Student's t), expanded uncertainty 0.63 mm: 4.04 mm toe-in,")

	// A result written before sensitivities were kept.
	r.Budget[0].Unit, r.Expanded = "", nil
	w.Reset()
	require.NoError(t, Explain(&w, r))
	assert.Regexp(t, `B +– +– +0.298 +86 % +∞\n`, w.String())
}

func TestSignificant(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.0004: "4.0e-04", 0.00213: "0.0021", 0.16: "0.16", 1.04: "1.0", 30.2: "30", 120.4: "120"} {
		assert.Equal(t, want, significant(v))
	}
}
