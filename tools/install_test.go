// Package tools tests the scripts of this folder. Nothing is installed here: the
// scripts meet stand-ins for the commands they call.
package tools

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// machine is a PATH with nothing but the ordinary tools that every Debian has and
// stand-ins for the rest.
type machine struct {
	t   *testing.T
	bin string
}

func newMachine(t *testing.T) machine {
	m := machine{t, t.TempDir()}
	for _, name := range []string{"bash", "cat", "chmod", "dirname", "env", "grep", "head", "mktemp", "rm", "sed", "sort", "tail", "true"} {
		path, err := exec.LookPath(name)
		require.NoError(t, err)
		require.NoError(t, os.Symlink(path, filepath.Join(m.bin, name)))
	}
	return m
}

// has adds a stand-in: a shell script. $BIN in it is the machine's only folder of
// commands; log says that it was called.
func (m machine) has(name, script string) machine {
	text := "#!/bin/bash\nlog() { echo \"$@\" >>$BIN/log; }\n" + script + "\n"
	require.NoError(m.t, os.WriteFile(filepath.Join(m.bin, name), []byte(text), 0o755))
	return m
}

const (
	newGo = `[ "$1 $2" = "env GOVERSION" ] && echo go1.99.0; exit 0`
	// apt-get installs OpenCV's headers, a compiler and all else at once.
	workingApt = `log apt-get "$@"; [ "$1" = update ] || { for c in g++ pkg-config pdftoppm chromium npm; do echo '#!/bin/bash' >$BIN/$c; chmod +x $BIN/$c; done; }`
	failingApt = `echo "W: a warning"; echo "E: Failed to fetch the index"; exit 100`
	root       = "echo 0"
	person     = "echo 1000"
)

// complete has all that is needed.
func complete(t *testing.T) machine {
	m := newMachine(t)
	return m.has("go", newGo).has("g++", "").has("pkg-config", "").has("pdftoppm", "").has("chromium", "").has("npm", "").has("id", root).has("apt-get", workingApt)
}

func (m machine) lacks(names ...string) machine {
	for _, name := range names {
		require.NoError(m.t, os.Remove(filepath.Join(m.bin, name)))
	}
	return m
}

// without has no headers of a library, by pkg-config's name of it.
func (m machine) without(library string) machine {
	return m.has("pkg-config", `case "$*" in *`+library+`*) exit 1 ;; esac`)
}

// install runs the script and returns its exit code, what it printed, and the calls.
func (m machine) install(args ...string) (code int, printed, calls string) {
	certificates := filepath.Join(m.bin, "certificates")
	require.NoError(m.t, os.WriteFile(certificates, nil, 0o644))
	command := exec.Command("/bin/bash", append([]string{"./install"}, args...)...)
	command.Env = []string{"PATH=" + m.bin, "BIN=" + m.bin, "SSL_CERT_FILE=" + certificates}
	var output bytes.Buffer
	command.Stdout, command.Stderr = &output, &output
	if err := command.Run(); err != nil {
		require.IsType(m.t, &exec.ExitError{}, err)
	}
	log, err := os.ReadFile(filepath.Join(m.bin, "log"))
	if !os.IsNotExist(err) {
		require.NoError(m.t, err)
	}
	return command.ProcessState.ExitCode(), output.String(), string(log)
}

func TestInstallDoesNothingWhereAllIsThere(t *testing.T) {
	code, printed, calls := complete(t).install("test")
	assert.Equal(t, 0, code)
	assert.Empty(t, printed)
	assert.Empty(t, calls)
}

func TestInstallFetchesOnlyWhatIsMissing(t *testing.T) {
	tests := []struct {
		name      string
		lacks     []string
		args      []string
		installed string
	}{
		{"compiler", []string{"g++"}, nil, "g++"},
		{"all", []string{"g++", "pkg-config", "pdftoppm", "chromium", "npm"}, []string{"test"}, "g++ pkg-config libopencv-dev libjpeg-dev poppler-utils chromium npm"},
		{"what only tests need", []string{"pdftoppm", "chromium", "npm"}, []string{"test"}, "poppler-utils chromium npm"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			code, _, calls := complete(t).lacks(test.lacks...).install(test.args...)
			assert.Equal(t, 0, code)
			assert.Equal(t, "apt-get update\napt-get install --yes --no-install-recommends "+test.installed+"\n", calls)
		})
	}
	t.Run("nothing for the build", func(t *testing.T) {
		code, _, calls := complete(t).lacks("pdftoppm", "chromium", "npm").install()
		assert.Equal(t, 0, code)
		assert.Empty(t, calls)
	})
}

func TestInstallUsesSudoWithoutPassword(t *testing.T) {
	m := complete(t).lacks("g++").has("id", person).has("sudo", `[ "$1" = -n ] && shift && exec "$@"`)
	code, _, calls := m.install()
	assert.Equal(t, 0, code)
	assert.Contains(t, calls, "install --yes --no-install-recommends g++")
}

func TestInstallSaysInOneLineWhatIsMissing(t *testing.T) {
	noOpenCV := func(t *testing.T) machine { return complete(t).without("opencv4") }
	tests := []struct {
		name    string
		machine machine
		line    string
	}{
		{"no root", noOpenCV(t).has("id", person),
			"rimpair needs the Debian package libopencv-dev: run 'apt-get install libopencv-dev' as root\n"},
		{"sudo wants a password", noOpenCV(t).lacks("g++").has("id", person).has("sudo", "exit 1"),
			"rimpair needs the Debian packages g++ libopencv-dev: run 'apt-get install g++ libopencv-dev' as root\n"},
		{"no headers of the JPEG library", complete(t).without("libjpeg").has("id", person),
			"rimpair needs the Debian package libjpeg-dev: run 'apt-get install libjpeg-dev' as root\n"},
		{"no apt-get", noOpenCV(t).lacks("apt-get"),
			"rimpair needs the Debian package libopencv-dev, or the like on this system without apt-get: install that first\n"},
		{"no go", complete(t).lacks("go"),
			"rimpair needs Go 1.26.8 or newer, and there is no go command: install Go first (go.dev)\n"},
		{"old go", complete(t).has("go", "echo go1.19.8"),
			"rimpair needs Go 1.26.8 or newer, and here is go1.19.8: install a newer Go first (go.dev)\n"},
		{"go that cannot fetch a newer one", complete(t).has("go", "echo 'go: go.mod requires go >= 1.99' >&2; exit 1"),
			"rimpair needs Go 1.26.8 or newer, and here is an older one that cannot fetch it: install a newer Go first (go.dev)\n"},
		{"no modules", complete(t).has("go", newGo[:len(newGo)-len("exit 0")]+`[ $1 = env ] || { echo "a: first"; echo "b: no such host"; exit 1; } >&2`),
			"rimpair needs its Go modules, and go cannot fetch them: b: no such host\n"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			code, printed, _ := test.machine.install()
			assert.Equal(t, 1, code)
			assert.Equal(t, test.line, printed)
		})
	}
}

func TestInstallWithoutNetwork(t *testing.T) {
	code, printed, _ := complete(t).without("opencv4").has("apt-get", failingApt).install()
	assert.Equal(t, 1, code)
	assert.Equal(t, "rimpair needs the Debian package libopencv-dev: installing (this takes a minute)\n"+
		"rimpair needs the Debian package libopencv-dev, and apt-get fails (E: Failed to fetch the index): "+
		"run 'apt-get install libopencv-dev' as root, with a network\n", printed)
}
