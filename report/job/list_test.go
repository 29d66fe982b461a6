package job

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestList(t *testing.T) {
	store := t.TempDir()
	for name, hours := range map[string]int{"old": 0, "new": 2, "middle": 1} {
		require.NoError(t, Create(filepath.Join(store, name), Job{Created: noon.Add(time.Duration(hours) * time.Hour)}))
	}
	require.NoError(t, os.Mkdir(filepath.Join(store, "no job"), 0o755))
	require.NoError(t, os.Mkdir(filepath.Join(store, ".incoming-1"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(store, "notes.txt"), nil, 0o600))
	require.NoError(t, os.Mkdir(filepath.Join(store, "broken"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(store, "broken", recordName), []byte(`{"schema": "rimpair/job/99"}`), 0o600))

	jobs, err := List(store)
	require.NoError(t, err)
	var names []string
	for _, l := range jobs {
		names = append(names, l.Dir)
	}
	assert.Equal(t, []string{"broken", "new", "middle", "old"}, names)
	assert.ErrorContains(t, jobs[0].Err, "newer rimpair")
	assert.Equal(t, noon.Add(2*time.Hour), jobs[1].Latest)
	_, err = List(filepath.Join(store, "nowhere"))
	assert.Error(t, err)
}

// A summary says the same whether the record was skimmed or read in full.
func TestSummary(t *testing.T) {
	dir := filled(t)
	j := mustRead(t, dir)
	skimmed, ok := skim(record(t, dir))
	require.True(t, ok)
	assert.Equal(t, j.summary(), skimmed.summary())
	assert.Equal(t, Summary{Latest: noon, Reference: "A-17", Failed: 1, Stage: AsFound, TotalToeMm: quantity(5, 0.5)}, j.summary())
	for _, broken := range []string{`{`, `{"schema": "rimpair/job/99"}`, `{"schema": "` + Schema + `", "entries": [{"at": "x"}]}`} {
		_, ok := skim([]byte(broken))
		assert.False(t, ok, broken)
	}
}
