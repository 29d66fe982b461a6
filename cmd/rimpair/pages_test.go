package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report"
	"rimpair/report/serve"
	pages "rimpair/report/serve/page"
)

// TestPages is what people do with the pages, in one browser.
func TestPages(t *testing.T) {
	c := openChromium(t)
	for _, one := range []struct {
		name string
		test func(*testing.T, *chromium)
	}{
		{"pairing", pagesPair},
		{"measure", pagesMeasure},
		{"half turn", pagesHalfTurn},
		{"keyboard", pagesByKeyboard},
		{"lost line", pagesWithLostLine},
		{"review", pagesReview},
		{"german", pagesInGerman},
	} {
		t.Run(one.name, func(t *testing.T) { one.test(t, c) })
	}
}

// Nothing is shown without pairing; a wrong code is refused, the right one opens.
func pagesPair(t *testing.T, c *chromium) {
	base, s := servePages(t, func(o *serve.Options) { o.LAN = true })
	code := s.NewCode()
	b := c.open(t, base, phone())
	b.goTo("#/jobs")
	b.waitText("Pair this device")
	assert.Equal(t, "401 401 401", evaluate[string](b, `Promise.all(['hello', 'jobs', 'sheets.pdf'].map((each) => fetch('/api/' + each))).then((all) => all.map((each) => each.status).join(' '))`))
	b.run(chromedp.SendKeys("#code", "00000000"+kb.Enter))
	b.waitText("That is not the code")
	b.audit("pair")
	b.run(chromedp.SetValue("#code", code), chromedp.SendKeys("#code", kb.Enter))
	b.waitText("No job fits")
}

const ownersJob = "Trike-7"

// The owner's whole path with a phone, from the sheets to a kept stage, what to turn, and
// the stages after it; then the same job at the counter, and in German.
func pagesMeasure(t *testing.T, c *chromium) {
	base, _ := servePages(t, nil)
	ownerPrepares(c.open(t, base, phone()))
	ownerPhotographs(c.open(t, base, phone()))
	ownerAdjusts(c.open(t, base, phone()))
	ownerGoesOn(c.open(t, base, phone()))
	counterCompares(c.open(t, base, desk()))
	germanReads(c.open(t, base, phone()))
}

// ownerPrepares goes from the start to the photos.
func ownerPrepares(b *browser) {
	b.goTo("")
	b.waitText("Print and lay the two sheets")
	b.audit("01-sheets")
	b.run(chromedp.Click(".forward a"))
	b.waitText("Check the printed rulers")
	b.run(chromedp.SetValue("#ruler-x", "9,9"), chromedp.Click("form button"))
	b.waitText("Enter a length from 80 to 120 mm")
	b.audit("02-ruler")
	b.run(chromedp.SetValue("#ruler-x", "100,0"), chromedp.Click("form button"))
	b.waitText("Wheels, bars and load")
	b.run(chromedp.SetValue("#reference", ownersJob), chromedp.SetValue("#name", "<b>red</b>"), chromedp.SetValue("#rim", "305"))
	b.audit("03-vehicle")
	b.run(chromedp.Click("form button.main"))
	b.waitText("Check before measuring")
	b.run(chromedp.Click("#wheel_axles-ok"))
	b.waitText("Kept")
	b.run(chromedp.Click("#spokes-failed"), chromedp.SendKeys("#note-spokes", "two are loose"+kb.Tab))
	b.audit("04-checks")
	b.run(chromedp.Click(".forward a"))
	b.waitText("DO NOT RIDE")
	b.audit("05-alarm")
	assert.Equal(b.t, "<b>red</b>", evaluate[string](b, `document.querySelector('.about').textContent.split(' · ')[1]`), "what a person enters is text, not markup")
}

// ownerPhotographs takes the photos: each is judged, and each narrows the interval.
func ownerPhotographs(b *browser) {
	b.goTo("#/job/" + ownersJob + "/checks")
	b.waitText("Check before measuring")
	b.run(chromedp.Click("#spokes-ok"))
	b.waitText("Kept")
	b.run(chromedp.Click(".forward a"))
	b.waitText("Valves at the top")
	half := math.Inf(1)
	for _, view := range []string{"front", "rear", "above"} {
		b.choose("files-top-"+view, samplePhotos(view)...)
		b.waitFor(fmt.Sprintf(`document.querySelector('section[aria-labelledby="top-%s"] .verdict.good, section[aria-labelledby="top-%[1]s"] .verdict.usable')`, view))
		b.waitText("Taken from " + map[string]string{"front": "the front", "rear": "the rear", "above": "above"}[view])
		half = b.waitNarrower(half)
	}
	b.waitText("Forecast: ±")
	b.waitFor(`document.querySelectorAll('.earlier').length === 2`)
	b.waitFor(`[...document.querySelectorAll('.photo img')].every((each) => each.src.includes('measured'))`)
	b.waitFor(`[...document.querySelectorAll('.photo img')].every((each) => each.scrollIntoView() ?? each.naturalWidth > 0)`)
	b.audit("06-photos")
}

// waitNarrower waits until the toe on the page has an interval whose half is less than
// before, and returns that: in inches, which have a digit more.
func (b *browser) waitNarrower(before float64) (half float64) {
	b.t.Helper()
	const shown = `Number(/± ([\d.]+) in/.exec(document.querySelector('.reading .figure')?.innerText)?.[1])`
	b.waitFor(fmt.Sprintf("%s < %g", shown, min(before, 1e9)))
	return evaluate[float64](b, shown)
}

// ownerAdjusts keeps what was found, reads the advice and records the turn.
func ownerAdjusts(b *browser) {
	b.goTo("#/job/" + ownersJob + "/result")
	b.waitText("Keep this measurement")
	b.audit("07-result")
	b.run(chromedp.Click(`section[aria-labelledby="keep"] button`))
	b.waitText("turn the rods as advised")
	b.audit("08-kept")
	b.waitText("What to turn is not known yet")
	b.run(chromedp.SetValue("#thread", "M6"), chromedp.SetValue("#kind", "one_rod"), chromedp.SetValue("#rods", "behind"),
		chromedp.SetValue("#arm", "70"), chromedp.SetValue("#ends", "right_and_left"), chromedp.SetValue("#left-thread", "left"), chromedp.Click("#steering button"))
	b.waitFor(`/SHORTER|LONGER/.test(document.querySelector('.advice')?.innerText) && document.querySelectorAll('.cautions li').length > 2`)
	b.audit("09-advice")
	b.run(chromedp.Click(`section[aria-labelledby="turned"] button`))
	b.waitText("Measure what the turn has done")
	b.audit("10-turned")
}

// ownerGoesOn measures again, finds the toe where it is wanted now, and is sent to the
// first lock nut.
func ownerGoesOn(b *browser) {
	b.goTo("#/job/" + ownersJob + "/result")
	b.waitText("Measure again")
	b.run(chromedp.Click(`section[aria-labelledby="next"] a`))
	b.waitText("Photos: adjusted, lock nuts loose")
	b.choose("files-top-front", samplePhotos("front")...)
	b.waitNarrower(math.Inf(1))
	b.run(chromedp.Click(".forward a"))
	b.waitText("Result: adjusted, lock nuts loose")
	b.waitText("Keep this measurement")
	b.run(chromedp.Click(`section[aria-labelledby="keep"] button`))
	b.waitFor(`!document.querySelector('section[aria-labelledby="keep"]')`)
	b.run(chromedp.Click("#steering summary"), chromedp.SetValue("#aim", "4"), chromedp.SetValue("#low", "1"), chromedp.SetValue("#high", "7"), chromedp.Click("#steering button"))
	b.waitText("Tighten the first lock nut")
	b.audit("11-next")
	b.run(chromedp.Click(`section[aria-labelledby="next"] a`))
	b.waitText("Photos: first lock nut tight")
}

// counterCompares finds the job, lays before over after, and takes its papers.
func counterCompares(b *browser) {
	b.goTo("#/jobs")
	b.waitText(ownersJob)
	b.run(chromedp.SendKeys("#search", "nobody"))
	b.waitText("No job fits")
	evaluate[string](b, `document.querySelector("#search").value = ""`)
	b.run(chromedp.SendKeys("#search", "RED"))
	b.waitText(ownersJob)
	b.audit("12-jobs")
	b.run(chromedp.Click("h2 a"))
	b.waitText("Before and after")
	b.waitFor(`[...document.querySelectorAll('.pair img, .over img')].filter((each) => each.naturalWidth > 300).length === 4`)
	for key, cut := range map[string]string{kb.Home: "0%", kb.End: "100%"} {
		b.run(chromedp.Focus("#slider"), chromedp.KeyEvent(key))
		assert.Equal(b.t, cut, evaluate[string](b, `document.querySelector('.over').style.getPropertyValue('--cut')`))
	}
	b.run(chromedp.KeyEvent(kb.Home), chromedp.KeyEvent(strings.Repeat(kb.PageUp, 5)))
	b.audit("13-record")
	for name, kind := range map[string]string{"report.html": "text/html; charset=utf-8", "report.pdf": "application/pdf", "export.zip": "application/zip"} {
		assert.Equal(b.t, "200 "+kind, evaluate[string](b, `fetch('/api/jobs/`+ownersJob+`/`+name+`').then((each) => each.status + ' ' + each.headers.get('Content-Type'))`))
	}
}

// germanReads chooses German, which stays chosen, and looks at everything in it.
func germanReads(b *browser) {
	b.goTo("#/jobs")
	b.waitText("Search reference")
	b.run(chromedp.SetValue("#language", "de"))
	b.waitText("Aufträge")
	for view, text := range map[string]string{
		"new/sheets": "Die zwei Blätter drucken und auslegen", "new/ruler": "Lineal", "job/" + ownersJob + "/vehicle": "Felge", "job/" + ownersJob + "/checks": "Speichen",
		"job/" + ownersJob + "/photos": "Ventile", "job/" + ownersJob + "/result": "Kontermutter", "job/" + ownersJob: "Vorher und nachher", "review": "Fotos",
	} {
		b.goTo("#/" + view)
		b.waitText(text)
		assert.Equal(b.t, "de", evaluate[string](b, `document.documentElement.lang`))
		b.look("german-"+strings.ReplaceAll(view, "/", "-"), b.size)
	}
}

// spoken finds the keys that a module names whole.
var spoken = regexp.MustCompile(`say\('([^'{$]+)'`)

// Every text is there in both languages, and every one that a module names. Only
// German has words for what the server says in English itself.
func TestPagesCatalogues(t *testing.T) {
	en, de := catalogue(t, "en"), catalogue(t, "de")
	for key, text := range en {
		assert.NotEmpty(t, text, key)
		assert.NotEmpty(t, de[key], key)
	}
	saidByServer := regexp.MustCompile(`^error\.`)
	for key := range de {
		assert.True(t, en[key] != "" || saidByServer.MatchString(key), key)
	}
	modules, err := fs.Glob(pages.FS, "assets/*.js")
	require.NoError(t, err)
	for _, name := range modules {
		content, err := fs.ReadFile(pages.FS, name)
		require.NoError(t, err)
		for _, key := range spoken.FindAllSubmatch(content, -1) {
			assert.NotEmpty(t, en[string(key[1])], "%s: %s", name, key[1])
		}
	}
}

// Stages, checks, rods and toe are called on the pages as in the reports.
func TestPagesAndReportsSpeakAlike(t *testing.T) {
	alike := regexp.MustCompile(`^(stage|check|rod|toe)\.`)
	for _, code := range report.LanguageCodes() {
		content, err := os.ReadFile("../../report/languages/" + code + ".json")
		require.NoError(t, err)
		var inReports map[string]string
		require.NoError(t, json.Unmarshal(content, &inReports))
		n := 0
		for key, text := range catalogue(t, code) {
			if said, ok := inReports[key]; ok && alike.MatchString(key) {
				n++
				assert.Equal(t, said, text, "%s in %s", key, code)
			}
		}
		assert.Greater(t, n, 20)
	}
}

// Every code of an answer that is no success has German words; what exposure and angle of a
// photo are called, words in both languages.
func TestPagesWordEveryCode(t *testing.T) {
	en, de := catalogue(t, "en"), catalogue(t, "de")
	given := func(pattern string, globs ...string) []string {
		var codes []string
		for _, glob := range globs {
			files, err := fs.Glob(os.DirFS("../.."), glob)
			require.NoError(t, err)
			for _, name := range files {
				content, err := os.ReadFile("../../" + name)
				require.NoError(t, err)
				for _, match := range regexp.MustCompile(pattern).FindAllStringSubmatch(string(content), -1) {
					codes = append(codes, match[1])
				}
			}
		}
		slices.Sort(codes)
		return slices.Compact(codes)
	}
	problems := append(given(`problem\{[^\n]*Code: "(\w+)"`, "report/serve/*.go"), given(`conflict\("(\w+)"`, "report/serve/*.go")...)
	require.Greater(t, len(problems), 12)
	for _, code := range problems {
		if code != "bad_request" { // says what is wrong with the very entry
			assert.NotEmpty(t, de["error."+code], code)
			assert.NotEmpty(t, de["error."+code+".remedy"], code)
		}
	}
	for _, exposure := range append(given(`Exposure = "(\w+)"`, "report/review/judge.go"), "good") {
		assert.NotEmpty(t, en["exposure."+exposure], exposure)
	}
	for _, angle := range []string{"front", "corner", "right", "rear", "left", "above"} {
		assert.NotEmpty(t, en["angle."+angle], angle)
	}
}

// All that a browser may load, photos apart, so the first visit too.
func TestPagesWeight(t *testing.T) {
	var bytes int64
	require.NoError(t, fs.WalkDir(pages.FS, ".", func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		bytes += info.Size()
		return err
	}))
	assert.LessOrEqual(t, bytes, int64(150_000))
}

// The service worker keeps every module, so that the pages open without a connection.
func TestPagesAreKept(t *testing.T) {
	worker, err := fs.ReadFile(pages.FS, "sw.js")
	require.NoError(t, err)
	modules, err := fs.Glob(pages.FS, "assets/*.js")
	require.NoError(t, err)
	require.NotEmpty(t, modules)
	for _, name := range modules {
		assert.Contains(t, string(worker), "'"+strings.TrimSuffix(filepath.Base(name), ".js")+"'", name)
	}
}
