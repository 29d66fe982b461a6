package job

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A failed check spoils what is measured until it is cleared, and nothing before it.
func TestSpoiling(t *testing.T) {
	check := func(id string, r Result) Entry { return Entry{Check: &Check{ID: id, Result: r}} }
	measured := Entry{Measurement: &Measurement{Stage: AsFound}}
	j := Job{Entries: []Entry{measured, check("spokes", Failed), measured, check("spokes", OK), measured}}
	assert.Empty(t, j.Spoiling(0))
	spokes, _ := CheckByID("spokes")
	assert.Equal(t, []CheckItem{spokes}, j.Spoiling(2))
	assert.Empty(t, j.Spoiling(4))
	assert.Empty(t, j.SpoilingLast())
	j.Entries = append(j.Entries, check("spokes", Failed))
	assert.Equal(t, []CheckItem{spokes}, j.SpoilingLast(), "found since")
	j.Entries = append(j.Entries, check("spokes", OK))
	assert.Equal(t, []CheckItem{spokes}, j.SpoilingLast(), "found and put right since")
	j.Entries = j.Entries[:4]
	assert.Equal(t, []CheckItem{spokes}, j.SpoilingLast(), "cleared since")
	assert.Empty(t, new(Job).SpoilingLast())
}
