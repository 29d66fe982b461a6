package job

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// These tests run this test program a second time, as another process.
const otherProcess = "RIMPAIR_JOB_TEST"

func TestMain(m *testing.M) {
	if what := os.Getenv(otherProcess); what != "" {
		other(what, os.Args[len(os.Args)-1])
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// other is what the other process does with a job.
func other(what, dir string) {
	switch what {
	case "hold": // the lock, until told to end
		must(locked(dir, lockWait, func(disk) error {
			fmt.Println("held")
			_, _ = bufio.NewReader(os.Stdin).ReadString('\n')
			return nil
		}))
	case "notes":
		for i := range notes {
			must(Update(dir, func(d *Draft) error {
				d.Append(Entry{At: noon, Note: fmt.Sprintf("%d of %d", i, os.Getpid())})
				return nil
			}))
		}
	case "write": // until killed
		front := filepath.Join(dir, "..", "front.jpg")
		for {
			must(Update(dir, step(front)))
			fmt.Println("written")
		}
	}
}

const notes = 15

func must(err error) {
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
}

// start runs the other process. The test must wait for it.
func start(t *testing.T, what, dir string) (*exec.Cmd, *bufio.Reader, func()) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self, dir)
	c.Env = append(os.Environ(), otherProcess+"="+what)
	in, err := c.StdinPipe()
	require.NoError(t, err)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	return c, bufio.NewReader(out), func() { in.Close() }
}

func TestOneProcessWritesAtATime(t *testing.T) {
	dir := newJob(t)
	c, out, end := start(t, "hold", dir)
	said, err := out.ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "held\n", said)

	never := func(disk) error { t.Fatal("two processes write at once"); return nil }
	assert.ErrorContains(t, locked(dir, 50*time.Millisecond, never), "another process is writing")
	mustRead(t, dir) // reading needs no lock
	end()
	require.NoError(t, c.Wait())
	require.NoError(t, locked(dir, lockWait, func(disk) error { return nil }))
}

// What two processes add at the same time is all there.
func TestTwoProcessesLoseNothing(t *testing.T) {
	dir := newJob(t)
	a, _, endA := start(t, "notes", dir)
	b, _, endB := start(t, "notes", dir)
	defer endA()
	defer endB()
	require.NoError(t, a.Wait())
	require.NoError(t, b.Wait())
	var texts []string
	for _, e := range mustRead(t, dir).Entries {
		texts = append(texts, e.Note)
	}
	assert.Len(t, texts, 2*notes)
	for i := range notes {
		for _, pid := range []int{a.Process.Pid, b.Process.Pid} {
			assert.Contains(t, texts, fmt.Sprintf("%d of %d", i, pid))
		}
	}
}

// A process that is killed at any moment leaves a good state and no lock.
func TestKilledProcess(t *testing.T) {
	dir := filled(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "..", "front.jpg"), []byte(strings.Repeat("x", 100_000)), 0o600))
	for i := range 12 {
		before := len(mustRead(t, dir).Entries)
		c, out, end := start(t, "write", dir)
		_, err := out.ReadString('\n')
		require.NoError(t, err)
		time.Sleep(time.Duration(i) * 700 * time.Microsecond) // somewhere in the next writing
		require.NoError(t, c.Process.Kill())
		_ = c.Wait() // it was killed
		end()
		assert.Greater(t, len(mustRead(t, dir).Entries), before)
	}
	require.NoError(t, Update(dir, step(photo(t, "front.jpg", "last"))))
	mustRead(t, dir)
}
