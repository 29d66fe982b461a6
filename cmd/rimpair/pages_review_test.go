package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report/serve"
)

// Someone who helps from afar: photos and a file that is none go in; the toe, what is
// wrong and a reply come out, in the language that is asked for.
func pagesReview(t *testing.T, c *chromium) {
	base, _ := servePages(t, func(o *serve.Options) { o.Review = reviewServed })
	words := filepath.Join(t.TempDir(), "words.jpg")
	require.NoError(t, os.WriteFile(words, []byte("no photo"), 0o644))
	b := c.open(t, base, desk())
	b.goTo("#/review")
	b.waitText("Review photos from afar")
	b.audit("20-review")
	b.choose("files", append(samplePhotos("front", "above"), words)...)
	b.waitText("Arrived: 3 of 3")
	b.run(chromedp.Click("button.main"))
	b.waitText("Groups: 1")
	b.waitText("mm toe-in ±")
	reply := evaluate[string](b, `document.querySelector('textarea').value`)
	assert.Contains(t, reply, "Thank you for the photos.")
	assert.Contains(t, reply, "words.jpg: The file is no photo.")
	b.run(chromedp.Click("#photos-0 summary"))
	b.waitFor(`[...document.querySelectorAll('.photo img')].some((each) => each.naturalWidth > 0)`)
	b.audit("21-reviewed")

	german := c.open(t, base, phone())
	german.goTo(evaluate[string](b, `location.hash`))
	evaluate[bool](german, `localStorage.setItem('language', 'de'); true`)
	german.run(chromedp.Reload())
	german.waitText("Gruppen: 1")
	assert.Contains(t, evaluate[string](german, `document.querySelector('textarea').value`), "Danke für die Fotos.")
	german.audit("22-reviewed-german")
}
