package main

import (
	"fmt"
	"math"
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
	scene := halfTurnScene()
	moved := scene
	moved.Sheets = slices.Clone(scene.Sheets)
	moved.Sheets[1].X += 40
	good, bad := drawn(t, scene), drawn(t, moved)

	base, _ := servePages(t, nil)
	b := c.open(t, base, phone())
	b.goTo("#/jobs")
	b.waitText("No job fits")
	id := b.newJob(fmt.Sprintf(`{"reference": "half a turn", "vehicle": {"rim_mm": %g}}`, scene.Vehicle.Left.BeadSeatMm))
	assumed := topPhotographed(b, id, good)
	bottomDisagrees(c.open(t, base, phone()), id, bad, assumed)
	bottomAgrees(c.open(t, base, phone()), id, good, assumed)
}

// topPhotographed gives the interval that the first photos have by themselves.
func topPhotographed(b *browser, id string, photos map[string]string) float64 {
	b.t.Helper()
	b.goTo("#/job/" + id + "/photos")
	b.waitText("Valves at the top")
	b.choose("files-top-front", photos["top-front"])
	b.choose("files-top-rear", photos["top-rear"])
	b.waitFor(fmt.Sprintf(measuredPictures, 2))
	return b.waitNarrower(math.Inf(1))
}

// measuredPictures asks whether so many photos have been measured.
const measuredPictures = `document.querySelectorAll('.photo img[src*="measured"]').length === %d`

// bottomDisagrees gives photos that do not go with the first, and takes them out again. The
// page then has the position that settles more, which is no worse than the first by itself.
func bottomDisagrees(b *browser, id string, photos map[string]string, assumed float64) {
	b.t.Helper()
	bottomPhotographed(b, id, photos)
	b.waitFor(`/valves at the (top|bottom) alone/.test(document.body.innerText.toLowerCase())`)
	assert.LessOrEqual(b.t, b.waitNarrower(math.Inf(1)), assumed)
	b.audit("30-apart")
	for _, view := range []string{"front", "rear"} {
		takeOut := fmt.Sprintf(`section[aria-labelledby="bottom-%s"] [id^="drop-"]`, view)
		b.run(chromedp.Click(takeOut))
		b.waitFor("!document.querySelector('" + takeOut + "')")
	}
}

// bottomAgrees gives those that do, down to a kept stage.
func bottomAgrees(b *browser, id string, photos map[string]string, assumed float64) {
	b.t.Helper()
	bottomPhotographed(b, id, photos)
	b.waitFor(fmt.Sprintf(measuredPictures, 4))
	assert.Less(b.t, b.waitNarrower(assumed), assumed/1.5)
	b.audit("31-half-turn")
	b.goTo("#/job/" + id + "/result")
	b.waitText("run-out of the left rim")
	b.audit("32-run-out")
	b.run(chromedp.Click(`section[aria-labelledby="keep"] button`))
	b.waitText("What to turn is not known yet")
}

func bottomPhotographed(b *browser, id string, photos map[string]string) {
	b.t.Helper()
	b.goTo("#/job/" + id + "/photos")
	b.waitText("Valves at the top")
	b.run(chromedp.Click("#half summary"))
	b.choose("files-bottom-front", photos["bottom-front"])
	b.choose("files-bottom-rear", photos["bottom-rear"])
}

// halfTurnScene has a photo from the front and one from the rear, and both again with the
// wheels half a turn on.
func halfTurnScene() samples.Scene {
	return samples.NewScene(22, samples.Options{
		LongSide: 2000, Setting: samples.Bench, Views: []samples.View{samples.Front, samples.RearView}, HalfTurn: true, Guards: samples.NoGuards,
	})
}

// drawn writes a scene's photos and gives their paths by name.
func drawn(t *testing.T, scene samples.Scene) map[string]string {
	t.Helper()
	dir, paths := t.TempDir(), map[string]string{}
	require.NoError(t, scene.Write(dir))
	for _, shot := range scene.Shots {
		paths[shot.Name] = filepath.Join(dir, shot.Name+".jpg")
	}
	return paths
}
