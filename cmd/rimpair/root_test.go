package main

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"rimpair/vision"
)

func TestWrongUseGetsOneLine(t *testing.T) {
	tests := []struct {
		args []string
		line string
	}{
		{[]string{"shet"}, `unknown command "shet" for "rimpair"`},
		{[]string{"--shet"}, "unknown flag: --shet"},
		{[]string{"sheet", "--sheets", "x"}, `invalid argument "x" for "--sheets" flag: strconv.Atoi: parsing "x": invalid syntax`},
	}
	for _, test := range tests {
		code, stdout, stderr := cli(test.args...)
		assert.Equal(t, exitFailed, code)
		assert.Empty(t, stdout)
		assert.Equal(t, "rimpair: "+test.line+"\n", stderr)
	}
}

func TestVersionAndHelp(t *testing.T) {
	code, stdout, stderr := cli("--version")
	assert.Equal(t, exitDone, code)
	assert.Regexp(t, `^rimpair version \d+\.\d+\.\d+\n$`, stdout)
	assert.Empty(t, stderr)

	code, stdout, _ = cli()
	assert.Equal(t, exitDone, code)
	assert.Contains(t, stdout, "sheet ")
}

func TestExitCodes(t *testing.T) {
	refusal := &vision.Refusal{Code: "no_sheet", Photo: "rear.jpg", Reason: "No sheet.", Remedy: "Lay one."}
	tests := []struct {
		name           string
		err            error
		asJSON         bool
		code           int
		stdout, stderr string
	}{
		{"done", nil, false, exitDone, "", ""},
		{"failed", errors.New("disk full"), false, exitFailed, "", "rimpair: disk full\n"},
		{"failed, JSON asked for", errors.New("disk full"), true, exitFailed, "", "rimpair: disk full\n"},
		{"refused", fmt.Errorf("measuring: %w", refusal), false, exitRefused, "",
			"rimpair: no number: rear.jpg: No sheet. Lay one. [no_sheet]\n"},
		{"refused, JSON asked for", refusal, true, exitRefused, `{
  "refused": {
    "code": "no_sheet",
    "photo": "rear.jpg",
    "reason": "No sheet.",
    "remedy": "Lay one."
  }
}
`, ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			assert.Equal(t, test.code, exitCode(test.err, test.asJSON, &stdout, &stderr))
			assert.Equal(t, test.stdout, stdout.String())
			assert.Equal(t, test.stderr, stderr.String())
		})
	}
}
