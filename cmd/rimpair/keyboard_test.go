package main

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The owner's path at a desk, by keyboard alone: from the start to the advice, with one
// photo.
func pagesByKeyboard(t *testing.T, c *chromium) {
	base, _ := servePages(t, nil)
	b := c.open(t, base, desk())
	b.goTo("")
	b.waitText("Print and lay the two sheets")
	b.press(kb.Tab)
	assert.Equal(t, "skip", evaluate[string](b, `document.activeElement.className`), "the first stop")
	b.press(kb.Enter)
	assert.Equal(t, "heading", evaluate[string](b, `document.activeElement.id`))
	b.tabTo(".forward a")
	b.press(kb.Enter)
	b.waitText("Check the printed rulers")
	b.tabTo("#ruler-x")
	b.press(kb.Enter)
	b.waitText("Wheels, bars and load")
	b.tabTo("#reference")
	b.press(ownersJob)
	b.tabTo("#rim")
	b.press("305")
	b.tabTo("#rider")
	b.press(" ")
	b.tabTo("form button")
	b.press(kb.Enter)
	b.waitText("Check before measuring")
	b.tabTo("#wheel_axles-ok")
	b.press(" ")
	b.waitText("Kept")
	b.tabTo(".forward a")
	b.press(kb.Enter)
	b.waitText("Valves at the top")
	b.tabTo("#files-top-front")
	b.pressAndChoose(" ", samplePhotos("front")[0])
	b.waitNarrower(math.Inf(1))
	b.tabTo(".forward a")
	b.press(kb.Enter)
	b.waitText("Keep this measurement")
	b.tabTo(`section[aria-labelledby="keep"] button`)
	b.press(kb.Enter)
	b.waitText("What to turn is not known yet")
	for _, field := range [][2]string{{"#thread", "M6"}, {"#kind", "one"}, {"#rods", "be"}, {"#arm", "70"}, {"#ends", "one"}, {"#left-thread", "le"}} {
		b.tabTo(field[0])
		b.press(field[1])
	}
	b.tabTo("#steering button")
	b.press(kb.Enter)
	b.waitText("Turn the tie rod")
}

func (b *browser) press(keys string) { b.t.Helper(); b.run(chromedp.KeyEvent(keys)) }

// tabTo goes from stop to stop until a selector's is reached; every stop has to be seen.
func (b *browser) tabTo(selector string) {
	b.t.Helper()
	for range 100 {
		b.press(kb.Tab)
		at := evaluate[struct {
			Reached, Seen bool
			What          string
		}](b, `(() => {
			const stop = document.activeElement;
			const { outlineStyle, outlineWidth } = getComputedStyle(stop.matches('.unseen') ? stop.nextElementSibling : stop);
			return { Reached: stop.matches('`+selector+`'), Seen: stop === document.body || outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2, What: stop.outerHTML.slice(0, 200) };
		})()`)
		assert.True(b.t, at.Seen, "no focus is seen: %s", at.What)
		if at.Reached {
			return
		}
	}
	b.t.Fatal("no way to " + selector)
}

// pressAndChoose presses a key that opens the chooser of files, and chooses.
func (b *browser) pressAndChoose(key, file string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, page.SetInterceptFileChooserDialog, page.SetInterceptFileChooserDialogParams{Enabled: true})
	require.NoError(b.t, err)
	opened, err := chromedp.Run(b.ctx, chromedp.WaitEvent(page.FileChooserOpened, func(page.EventFileChooserOpened) bool { return true }, chromedp.KeyEvent(key)))
	require.NoError(b.t, err)
	path, err := filepath.Abs(file)
	require.NoError(b.t, err)
	_, err = chromedp.Call(b.ctx, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: []string{path}, BackendNodeID: opened.BackendNodeID})
	require.NoError(b.t, err)
}
