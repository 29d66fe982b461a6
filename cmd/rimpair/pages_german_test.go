package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// A page in German says whole what is wrong with a photo and why there is no number: the
// figures of measuring are in it. The job's folder has letters that addresses have not.
func pagesInGerman(t *testing.T, c *chromium) {
	base, _ := servePages(t, nil)
	b := c.open(t, base, phone())
	b.goTo("#/jobs")
	b.waitText("No job fits")
	evaluate[bool](b, `localStorage.setItem('language', 'de'); true`)
	b.newJob(`{"reference": "Größe 7.5", "vehicle": {"rim_mm": 406}}`)
	b.run(chromedp.Reload())
	b.waitText("Größe 7.5")
	b.run(chromedp.Click(".card a"))
	b.waitText("Noch nichts gemessen")
	b.run(chromedp.Click(`a[href$="/photos"]`))
	b.waitText("Ventile oben")
	words := filepath.Join(t.TempDir(), "words.jpg")
	require.NoError(t, os.WriteFile(words, []byte("no photo"), 0o600))
	b.choose("files-top-other", words)
	b.waitText("Die Datei ist kein Bild als JPEG, PNG, WebP oder HEIC.")
	photos := samplePhotos("front", "rear")
	b.choose("files-top-front", photos[0])
	b.choose("files-top-rear", photos[1])
	b.waitText("Die Räder passen nicht zu einem Felgenschulterdurchmesser von 406 mm; mit 305 mm stimmen die Fotos überein.")
	b.audit("33-german")
	b.run(chromedp.Click(`a[href$="/result"].main`))
	b.waitText("Die Räder passen nicht zu einem Felgenschulterdurchmesser von 406 mm")
	b.audit("34-german-result")
}
