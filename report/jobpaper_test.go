package report

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report/job"
)

// sampleJob has an entry of every kind. Its last result is sampleResult.
func sampleJob() *job.Inspected {
	at := time.Date(2026, 3, 4, 12, 30, 0, 0, time.UTC)
	file := func(name string) job.File { return job.File{File: name, Name: filepath.Base(name)} }
	j := &job.Job{Schema: job.Schema, Created: at, Customer: "A. <Rider> & Söhne", Reference: "2026-41"}
	j.Vehicle = job.Vehicle{Name: "blue one", RimMm: 305, TrackMm: &measure.Known{Value: 719.5, PlusMinus: 2}}
	j.Vehicle.Steering = measure.Steering{Kind: measure.OneRod, RodThread: measure.RodThread{Thread: "M6"}, MmPerTurn: &measure.Estimate{Value: 4, StandardUncertainty: 0.1}}
	add := func(e job.Entry) { e.At = at; j.Entries = append(j.Entries, e) }
	for _, c := range job.Checks()[1:] {
		add(job.Entry{Check: &job.Check{ID: c.ID, Result: job.OK}})
	}
	labelled := func(name string, codes ...string) job.File {
		f := file(name)
		for i, code := range codes {
			f.Labels = append(f.Labels, job.Label{At: [2]float64{float64(i) * 0.5, 0.25}, Message: measure.Message{Code: code, Params: measure.Params{"number": 2}}})
		}
		return f
	}
	measured := func(stage job.Stage, r measure.Result) {
		add(job.Entry{Measurement: &job.Measurement{Stage: stage, TotalToeMm: r.TotalToeMm, RimTotalToeMm: r.RimTotalToeMm, Valves: "top"},
			Photos: []job.File{file("front.jpg"), file("rear.jpg")}, Pictures: []job.File{labelled("front-marked.jpg", "right_wheel", "sheet", "left_wheel"), file("rear-marked.jpg"), labelled("top-view.jpg", "left_angles", "front_gap", "right_angles", "rear_gap", "of_a_newer_program")}})
	}
	first := sampleResult()
	first.TotalToeMm, first.RimTotalToeMm = quantity(-6.213, 0.4312), quantity(-6.213, 0.201)
	measured(job.AsFound, first)
	add(job.Entry{Adjustment: &job.Adjustment{Turned: []job.Turned{{Rod: "tie_rod", LongerByTurns: 2.5}},
		Advice: json.RawMessage(`{"summary": "Turn the tie rod, then measure again.", "instructions": ["Make it longer."]}`)}})
	measured(job.Adjusted, sampleResult())
	measured(job.FirstLockNut, sampleResult())
	add(job.Entry{Note: "the rider came by"})
	add(job.Entry{Check: &job.Check{ID: "spokes", Result: job.Failed}, Note: "two are loose", Photos: []job.File{file("spokes.jpg")}, Pictures: []job.File{file("spokes.jpg")}})
	last := slices.IndexFunc(j.Entries, func(e job.Entry) bool { return e.Measurement != nil && e.Measurement.Stage == job.FirstLockNut })
	return &job.Inspected{Job: j, Results: map[int]measure.Result{last: sampleResult()}, Damage: []job.Damage{{File: "results/x.json", What: "is missing", Code: "missing"}, {File: "job.json", What: "has an unreadable entry 3 (is empty)"}, {File: "job.json", What: "is broken"}}}
}

func greyJPEG(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 400, 300)), nil))
	return b.Bytes()
}

func samplePaper(t testing.TB, code string) *JobPaper {
	t.Helper()
	l, err := NewLanguage(code)
	require.NoError(t, err)
	return NewJobPaper(JobSource{Job: sampleJob(), Version: "0.0.0", Now: time.Date(2026, 3, 5, 0, 0, 0, 0, time.UTC), Language: l,
		Picture: func(job.File) ([]byte, error) { return greyJPEG(t), nil }})
}

func htmlOf(t testing.TB, p *JobPaper) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, p.HTML(&b))
	return b.String()
}

// elements lists a page's elements of a kind.
func elements(t testing.TB, text, kind string) []*html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(text))
	require.NoError(t, err)
	var list []*html.Node
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && n.Data == kind {
			list = append(list, n)
		}
	}
	return list
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// Every figure in the page's tables is one of the JSON, rounded: to the figures shown,
// and up by less than one in the last place where it is half of an interval.
func TestFiguresOnThePageAreThoseOfTheJSON(t *testing.T) {
	for _, code := range LanguageCodes() {
		l, err := NewLanguage(code)
		require.NoError(t, err)
		j := sampleJob()
		inJSON := map[float64]bool{}
		take := func(q measure.Quantity) {
			inJSON[q.Value], inJSON[max(q.High95-q.Value, q.Value-q.Low95)] = true, true
		}
		for _, e := range j.Entries {
			if m := e.Measurement; m != nil {
				take(m.TotalToeMm)
				take(m.RimTotalToeMm)
			}
		}
		r := sampleResult()
		for _, q := range []measure.Quantity{r.TrackMm, r.GapFrontMm, r.GapRearMm, r.HubHeightMm} {
			take(q)
		}
		for _, w := range r.Wheels {
			take(w.ToeDeg)
			take(w.CamberDeg)
		}
		for _, q := range []measure.Quantity{r.Rear.ThrustDeg, r.Rear.ThrustMm, r.Rear.LeanDeg, r.Rear.OffsetMm, r.Rear.SteeringOffDeg, r.Rear.WheelbaseMm} {
			take(q)
		}
		for _, p := range r.Photos {
			take(p.FocalPx)
			inJSON[float64(p.Corners)], inJSON[p.CornerRmsPx] = true, true
		}
		for _, b := range r.Budget {
			inJSON[b.ContributionMm], inJSON[b.Share] = true, true
		}
		found := elements(t, htmlOf(t, samplePaper(t, code)), "data")
		assert.Greater(t, len(found), 40)
		seen := map[float64]bool{}
		for _, n := range found {
			exact, err := strconv.ParseFloat(attribute(n, "value"), 64)
			require.NoError(t, err)
			assert.True(t, inJSON[exact], "%g is in the JSON", exact)
			seen[exact] = true
			shown := regexp.MustCompile(`^-?[0-9]+([.,][0-9]+)?`).FindString(textOf(n))
			if code == "de" {
				assert.NotContains(t, shown, ".")
			} else {
				assert.NotContains(t, shown, ",")
			}
			plain := strings.Replace(shown, l.say("decimal"), ".", 1)
			value, err := strconv.ParseFloat(plain, 64)
			require.NoError(t, err, textOf(n))
			unit := 1.0
			if _, fraction, ok := strings.Cut(plain, "."); ok {
				for range fraction {
					unit /= 10
				}
			}
			if strings.HasSuffix(textOf(n), "%") {
				value /= 100
				unit /= 100
			}
			assert.InDelta(t, exact, value, unit*1.001, textOf(n))
		}
		assert.Len(t, seen, len(inJSON), "all of them are shown")
	}
}

// What must not be overlooked comes first, in words.
func TestPageBeginsWithTheAlarms(t *testing.T) {
	text := htmlOf(t, samplePaper(t, "en"))
	alarm := strings.Index(text, "DO NOT RIDE, and a measured toe means nothing")
	damage := strings.Index(text, "results/x.json is missing")
	result := strings.Index(text, "Before: 6.21 mm toe-out ± 0.85 mm")
	require.Positive(t, alarm)
	assert.Less(t, alarm, damage)
	assert.Less(t, damage, result)
	assert.Contains(t, text, "After: 4.04 mm toe-in ± 0.63 mm")
	assert.Contains(t, text, "A. &lt;Rider&gt; &amp; Söhne")
	assert.Contains(t, text, "Advised: Turn the tie rod, then measure again. Make it longer.")
	assert.Contains(t, text, "tie rod longer, turns: 2.5")
	assert.Contains(t, text, "two are loose; 1 photo")
	assert.Contains(t, text, "-0.245 ± 0.034 in → 0.159 ± 0.025 in", "−6.213 / 25.4, 1.96 · 0.4312 / 25.4")
	german := htmlOf(t, samplePaper(t, "de"))
	assert.Contains(t, german, "Vorher: 6,21 mm Nachspur ± 0,85 mm")
	assert.Contains(t, german, "NICHT FAHREN")
	assert.Contains(t, german, "results/x.json fehlt.")
	assert.Contains(t, german, "job.json hat einen unlesbaren Eintrag 3 (ist leer)")
	assert.Contains(t, german, `<span lang="en">job.json is broken</span>`)
	assert.Contains(t, german, "04.03.2026")
	assert.Contains(t, german, "vorgefunden, Ventile oben")
}

// The page asks nothing of a network and runs nothing; a reader that is read aloud
// finds its way.
func TestPageIsSelfContainedAndSpeaks(t *testing.T) {
	for _, code := range LanguageCodes() {
		text := htmlOf(t, samplePaper(t, code))
		assert.NotRegexp(t, `(src|href)="(https?:)?//`, text)
		assert.NotContains(t, text, "<script")
		assert.NotContains(t, text, "@import")
		assert.NotContains(t, text, "ZgotmplZ", "nothing was held back as unsafe")
		require.Equal(t, code, attribute(elements(t, text, "html")[0], "lang"))
		require.Len(t, elements(t, text, "h1"), 1)
		require.NotEmpty(t, elements(t, text, "h2"))
		ids := map[string]bool{}
		for n := range elementsAll(t, text) {
			if id := attribute(n, "id"); id != "" {
				assert.False(t, ids[id], "%s twice", id)
				ids[id] = true
			}
		}
		for n := range elementsAll(t, text) {
			for _, id := range strings.Fields(attribute(n, "aria-labelledby")) {
				assert.True(t, ids[id], id)
			}
		}
		for _, img := range elements(t, text, "img") {
			assert.NotEmpty(t, attribute(img, "alt"))
			assert.True(t, strings.HasPrefix(attribute(img, "src"), "data:image/jpeg;base64,"))
		}
		for _, table := range elements(t, text, "table") {
			kinds := map[string]int{}
			for n := range table.Descendants() {
				kinds[n.Data]++
			}
			assert.Equal(t, 1, kinds["caption"])
			assert.Positive(t, kinds["th"])
		}
		for _, th := range elements(t, text, "th") {
			assert.Contains(t, []string{"col", "row"}, attribute(th, "scope"))
		}
		charts := 0
		for _, svg := range elements(t, text, "svg") {
			assert.Equal(t, "img", attribute(svg, "role"))
			if attribute(svg, "class") == "chart" {
				charts++
			} else {
				assert.NotEmpty(t, attribute(svg, "aria-label"))
			}
		}
		assert.Equal(t, 1, charts)
		for _, image := range elements(t, text, "image") {
			assert.True(t, strings.HasPrefix(attribute(image, "href"), "data:image/jpeg;base64,"))
		}
	}
}

func elementsAll(t testing.TB, text string) func(func(*html.Node) bool) {
	doc, err := html.Parse(strings.NewReader(text))
	require.NoError(t, err)
	return func(yield func(*html.Node) bool) {
		for n := range doc.Descendants() {
			if n.Type == html.ElementNode && !yield(n) {
				return
			}
		}
	}
}

// The chart's marks stand where the figures are: of a linear scale that the axis'
// labels give.
func TestChartIsToScale(t *testing.T) {
	l, err := NewLanguage("en")
	require.NoError(t, err)
	j := sampleJob().Job
	c := newChart(j, l)
	scale := func() (at func(mm float64) float64) {
		var xs, vs []float64
		for _, s := range c.Shapes {
			if v, err := strconv.ParseFloat(s.Text, 64); s.Kind == "text" && err == nil {
				xs, vs = append(xs, s.X), append(vs, v)
			}
		}
		require.GreaterOrEqual(t, len(xs), 4)
		n := len(xs) - 1
		return func(mm float64) float64 { return xs[0] + (mm-vs[0])*(xs[n]-xs[0])/(vs[n]-vs[0]) }
	}()
	marks := map[string][]float64{}
	var bars [][2]float64
	for _, s := range c.Shapes {
		marks[s.Kind] = append(marks[s.Kind], s.X)
		if s.Kind == "line" && s.Y == s.Y2 && s.Width > 0.5 {
			bars = append(bars, [2]float64{s.X, s.X2})
		}
		assert.True(t, s.X >= 0 && s.X <= c.WidthMm && s.Y >= 0 && s.Y <= c.HeightMm, "%v", s)
	}
	assert.InDelta(t, scale(-6.213), marks["ring"][0], 1e-9)
	assert.InDelta(t, scale(4.0413), marks["dot"][0], 1e-9)
	assert.InDelta(t, scale(4.0413), marks["diamond"][0], 1e-9)
	assert.InDelta(t, scale(0), marks["band"][0], 1e-9)
	require.Len(t, bars, 3)
	assert.InDelta(t, scale(-6.213-1.96*0.4312), bars[0][0], 1e-9)
	assert.InDelta(t, scale(-6.213+1.96*0.4312), bars[0][1], 1e-9)
	assert.NotContains(t, c.Key, "means nothing")
	assert.Nil(t, newChart(&job.Job{}, l))

	// Measured while a check was not in order: a cross at the same places, on a dashed bar.
	j.Entries = slices.Insert(j.Entries, len(job.Checks())-1, job.Entry{Check: &job.Check{ID: "spokes", Result: job.Failed}})
	c = newChart(j, l)
	var crosses, dashed []float64
	for _, s := range c.Shapes {
		switch {
		case s.Kind == "line" && s.Width > 0.8:
			crosses = append(crosses, (s.X+s.X2)/2)
		case s.Kind == "line" && s.Dashed && s.Width > 0.5:
			dashed = append(dashed, s.X)
		default:
			assert.NotContains(t, []string{"ring", "dot", "diamond"}, s.Kind)
		}
	}
	assert.InDeltaSlice(t, []float64{scale(-6.213), scale(-6.213), scale(4.0413), scale(4.0413), scale(4.0413), scale(4.0413)}, crosses, 1e-9)
	assert.Len(t, dashed, 3)
	assert.Contains(t, c.Key, "Cross and dashed bar: means nothing")
}

// All catalogues have the same texts with the same places to fill in, and none is
// missing in a whole report.
func TestCataloguesAreComplete(t *testing.T) {
	english, err := NewLanguage("en")
	require.NoError(t, err)
	sorted := func(text string) []string { list := hole.FindAllString(text, -1); slices.Sort(list); return list }
	for _, code := range LanguageCodes() {
		l, err := NewLanguage(code)
		require.NoError(t, err)
		for key, text := range english.texts {
			other, ok := l.find(key)
			assert.True(t, ok, "%s has no %s", code, key)
			assert.Equal(t, sorted(text), sorted(other), "%s %s", code, key)
			assert.NotEmpty(t, strings.TrimSpace(other), "%s %s", code, key)
		}
		assert.Len(t, l.texts, len(english.texts), code)
		for _, c := range job.Checks() {
			assert.Contains(t, l.texts, "check."+c.ID)
		}
		for _, s := range job.Stages() {
			assert.Contains(t, l.texts, "stage."+string(s))
		}
		for _, r := range job.Rods() {
			assert.Contains(t, l.texts, "rod."+r)
		}
		assert.NotRegexp(t, `>\s*(head|col|about|wheel|stage|check|result|verdict|next|alarm|photo|chart|caution|read|version|done|entry)\.[a-z_.0-9]+`, htmlOf(t, samplePaper(t, code)))
		assert.NotRegexp(t, `>[^<]*\{[a-z:0-9]+\}[^<]*</(p|td|th|li|h2|figcaption)>`, htmlOf(t, samplePaper(t, code)), "every place is filled in")
	}
	_, err = NewLanguage("../en")
	assert.Error(t, err)
}

func TestReportOfAnEmptyJob(t *testing.T) {
	l, err := NewLanguage("en")
	require.NoError(t, err)
	p := NewJobPaper(JobSource{Job: &job.Inspected{Job: &job.Job{Schema: job.Schema}}, Language: l})
	assert.Contains(t, htmlOf(t, p), "Nothing has been measured yet.")
	require.NoError(t, p.PDF(&bytes.Buffer{}, calib.Papers()[0]))
}

// The PDF's text, read back by poppler, has the page's figures; every page is the
// paper's size.
func TestPDFHasThePagesFigures(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no pdftotext")
	}
	for _, code := range LanguageCodes() {
		for _, paper := range calib.Papers() {
			p := samplePaper(t, code)
			file := filepath.Join(t.TempDir(), "report.pdf")
			var b bytes.Buffer
			require.NoError(t, p.PDF(&b, paper))
			require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
			raw, err := exec.Command("pdftotext", "-layout", file, "-").Output()
			require.NoError(t, err)
			// The font draws one sign for hyphen and minus.
			text := strings.NewReplacer("\u2011", "-", "\u2010", "-", "\u2212", "-", "\u00ad", "-").Replace(string(raw))
			squeezed := strings.Join(strings.Fields(text), "")
			for _, block := range p.Blocks {
				assert.Contains(t, squeezed, strings.Join(strings.Fields(block.Heading), ""))
				if block.Table == nil {
					continue
				}
				for _, row := range block.Table.Rows {
					for _, c := range row {
						for _, word := range strings.Fields(c.Text) {
							assert.Contains(t, squeezed, word)
						}
					}
				}
			}
			outline, err := exec.Command("pdftohtml", "-xml", "-i", "-stdout", file).Output()
			require.NoError(t, err)
			_, bookmarks, _ := strings.Cut(string(outline), "<outline>")
			for _, block := range p.Blocks {
				assert.Contains(t, bookmarks, ">"+block.Heading+"</item>")
			}
			assert.Contains(t, b.String(), "/Lang ("+code+")")
			info, err := exec.Command("pdfinfo", file).Output()
			require.NoError(t, err)
			points := fmt.Sprintf("%.4g", paper.WidthMm/25.4*72)
			assert.Contains(t, string(info), points[:3])
		}
	}
}

// In a real browser nothing is wider than a screen of 320 px, which 1280 px are at
// 400 % zoom (WCAG 2.2, 1.4.10), apart from tables and the chart, which scroll in
// themselves; printed, its figures are there.
func TestPageInABrowser(t *testing.T) {
	browser, err := exec.LookPath("chromium")
	require.NoError(t, err, "tools/install test installs it")
	dir := t.TempDir()
	file := filepath.Join(dir, "report.html")
	text := htmlOf(t, samplePaper(t, "de"))
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	run := func(args ...string) []byte {
		common := []string{"--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir=" + filepath.Join(dir, "profile")}
		out, err := exec.CommandContext(ctx, browser, slices.Concat(common, args)...).Output()
		require.NoError(t, err)
		return out
	}
	// The page allows no script, so a copy measures itself in a frame of that width.
	probe := `<!DOCTYPE html><body><iframe id="f" style="width:320px;height:640px;border:0"></iframe><script>
	const f = document.getElementById("f"); f.srcdoc = PAGE; f.onload = () => { const d = f.contentDocument.documentElement;
	const wide = [...d.querySelectorAll("main *")].filter(e => !e.closest(".wide") && e.getBoundingClientRect().right > 321).map(e => e.tagName);
	document.title = "width " + d.scrollWidth + " " + wide.join(",") + "."; document.body.dataset.done = document.title; };</script>`
	quoted, err := json.Marshal(regexp.MustCompile(`<meta http-equiv[^>]*>`).ReplaceAllString(text, ""))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "probe.html"), []byte(strings.Replace(probe, "PAGE", string(quoted), 1)), 0o600))
	dom := string(run("--dump-dom", "--virtual-time-budget=5000", "file://"+filepath.Join(dir, "probe.html")))
	found := regexp.MustCompile(`data-done="width ([0-9]+) ([^"]*)\."`).FindStringSubmatch(dom)
	require.NotNil(t, found, "the page was laid out")
	width, err := strconv.Atoi(found[1])
	require.NoError(t, err)
	assert.LessOrEqual(t, width, 320)
	assert.Empty(t, found[2], "elements that are too wide")

	pdf := filepath.Join(dir, "printed.pdf")
	run("--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file)
	raw, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
	require.NoError(t, err)
	for _, want := range []string{"NICHT FAHREN", "6,21 mm Nachspur ± 0,85 mm", "4,04 mm Vorspur ± 0,63 mm"} {
		assert.Contains(t, string(raw), want)
	}
}
