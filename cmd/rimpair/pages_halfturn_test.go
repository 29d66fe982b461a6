package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/samples"
)

// The wheels half a turn on: photos that do not go with the first say so and leave the
// toe of the others; those that do take the run-out out of it.
func pagesHalfTurn(t *testing.T, c *chromium) {
	scene := samples.NewScene(22, samples.Options{
		LongSide: 2000, Setting: samples.Bench, Views: []samples.View{samples.Front, samples.RearView}, HalfTurn: true, Guards: samples.NoGuards,
	})
	moved := scene
	moved.Sheets = slices.Clone(scene.Sheets)
	moved.Sheets[1].X += 40
	good, bad := drawn(t, scene), drawn(t, moved)

	base, _ := servePages(t, nil)
	b := c.open(t, base, phone())
	b.goTo("#/jobs")
	b.waitText("No job fits")
	id := b.newJob(fmt.Sprintf(`{"reference": "half a turn", "vehicle": {"rim_mm": %g}}`, scene.Vehicle.Left.BeadSeatMm))
	b.goTo("#/job/" + id + "/photos")
	b.waitText("Valves at the top")
	b.choose("files-top-front", good["top-front"])
	b.choose("files-top-rear", good["top-rear"])
	const both = `document.querySelectorAll('.photo img[src*="measured"]').length === %d`
	b.waitFor(fmt.Sprintf(both, 2))
	assumed := b.waitNarrower(math.Inf(1))

	b.run(chromedp.Click("#half summary"))
	b.choose("files-bottom-front", bad["bottom-front"])
	b.choose("files-bottom-rear", bad["bottom-rear"])
	b.waitText("valves at the top alone")
	b.audit("30-apart")
	for _, view := range []string{"front", "rear"} {
		takeOut := fmt.Sprintf(`section[aria-labelledby="bottom-%s"] [id^="drop-"]`, view)
		b.run(chromedp.Click(takeOut))
		b.waitFor("!document.querySelector('" + takeOut + "')")
	}
	b.choose("files-bottom-front", good["bottom-front"])
	b.choose("files-bottom-rear", good["bottom-rear"])
	b.waitFor(fmt.Sprintf(both, 4))
	assert.Less(t, b.waitNarrower(assumed), assumed/1.5)
	b.audit("31-half-turn")
	b.goTo("#/job/" + id + "/result")
	b.waitText("run-out of the left rim")
	b.audit("32-run-out")
	b.run(chromedp.Click(`section[aria-labelledby="keep"] button`))
	b.waitText("What to turn is not known yet")
}

// drawn writes a scene's photos and gives their paths by name.
func drawn(t *testing.T, scene samples.Scene) map[string]string {
	t.Helper()
	dir, paths := t.TempDir(), map[string]string{}
	for i, shot := range scene.Shots {
		content, err := scene.Photo(i)
		require.NoError(t, err)
		paths[shot.Name] = filepath.Join(dir, shot.Name+".jpg")
		require.NoError(t, os.WriteFile(paths[shot.Name], content, 0o600))
	}
	return paths
}
