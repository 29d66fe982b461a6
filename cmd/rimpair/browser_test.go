package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report/review"
	"rimpair/report/serve"
	pages "rimpair/report/serve/page"
)

// This file drives the pages in a real browser, against the real server. Where
// RIMPAIR_REFERENCES is set, browser and audit must be there; else what is missing is
// left out. RIMPAIR_SCREENSHOTS names a folder for pictures to look at.

// tabTime is the most that a tab may take, whatever happens in it.
const tabTime = time.Minute

// size is a window's.
type size struct {
	name          string
	width, height int64
}

func phone() size { return size{"phone", 360, 740} }
func desk() size  { return size{"desk", 1280, 900} }

// chromium is one headless browser for all tests of the pages.
type chromium struct {
	ctx context.Context
	axe string         // the audit's script; "" where it is not there
	raw *regexp.Regexp // finds keys of texts in place of texts
}

func openChromium(t *testing.T) *chromium {
	t.Helper()
	references, must := os.LookupEnv("RIMPAIR_REFERENCES")
	if !must {
		references = filepath.Join("..", "..", ".references")
	}
	path, err := exec.LookPath("chromium")
	if err != nil && !must {
		t.Skip("no chromium")
	}
	require.NoError(t, err)
	axe, err := os.ReadFile(filepath.Join(references, "axe", "axe.min.js"))
	if must {
		require.NoError(t, err)
	} else if err != nil {
		t.Log("no axe-core: the accessibility audit is left out")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("lang", "en"))
	ctx, end := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(end)
	ctx, end = chromedp.NewContext(ctx)
	t.Cleanup(end)
	started := time.AfterFunc(tabTime, end)
	require.NoError(t, chromedp.Do(ctx))
	started.Stop()
	return &chromium{ctx, string(axe), rawKeys(t)}
}

// rawKeys finds what looks like a key of the catalogues.
func rawKeys(t *testing.T) *regexp.Regexp {
	t.Helper()
	var kinds []string
	for key := range catalogue(t, "de") {
		if kind, _, ok := strings.Cut(key, "."); ok {
			kinds = append(kinds, regexp.QuoteMeta(kind))
		}
	}
	return regexp.MustCompile(`\b(` + strings.Join(kinds, "|") + `)\.[a-z]`)
}

// catalogue is the texts of a language.
func catalogue(t *testing.T, code string) (texts map[string]string) {
	t.Helper()
	content, err := fs.ReadFile(pages.FS, "assets/"+code+".json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(content, &texts))
	return texts
}

// browser is a tab with cookies and stored photos of its own.
type browser struct {
	*chromium
	t    *testing.T
	ctx  context.Context
	base string
	size size
}

// open opens a tab on a server's pages. What fails in their scripts, or is against
// their content policy, fails the test.
func (c *chromium) open(t *testing.T, base string, of size) *browser {
	t.Helper()
	ctx, end := chromedp.NewContext(c.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(end)
	ctx, end = context.WithTimeout(ctx, tabTime)
	t.Cleanup(end)
	b := &browser{chromium: c, t: t, ctx: ctx, base: base, size: of}
	b.resize(of)
	b.paint("light")
	require.NoError(t, chromedp.Listen(ctx, func(event any) {
		switch e := event.(type) {
		case *runtime.EventExceptionThrown:
			t.Error(e.ExceptionDetails.Text, e.ExceptionDetails.Exception)
		case *cdplog.EventEntryAdded:
			if e.Entry.Source == cdplog.EntrySourceSecurity {
				t.Error(e.Entry.Text)
			}
		}
	}))
	return b
}

func (b *browser) resize(to size) { b.t.Helper(); b.run(chromedp.EmulateViewport(to.width, to.height)) }

func (b *browser) run(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, steps...))
}

// goTo opens a view by its part of the address after "#".
func (b *browser) goTo(view string) { b.t.Helper(); b.run(chromedp.Navigate(b.base + "/" + view)) }

// waitFor waits until an expression holds in the page.
func (b *browser) waitFor(expression string) {
	b.t.Helper()
	_, err := chromedp.Run(b.ctx, chromedp.Poll[bool]("Boolean("+expression+")", chromedp.WithPollingTimeout(tabTime*3/4)))
	if err != nil && b.ctx.Err() == nil {
		b.shot("failed")
		require.NoError(b.t, err, "%s\n%s", expression, evaluate[string](b, `document.body.innerText`))
	}
	require.NoError(b.t, err, expression)
}

func (b *browser) waitText(text string) {
	b.t.Helper()
	b.waitFor(fmt.Sprintf(`document.body.innerText.toLowerCase().includes(%q)`, strings.ToLower(text)))
}

// evaluate is what an expression gives in the page, or what it promises.
func evaluate[T any](b *browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(b.t, err, expression)
	return v
}

// shot keeps a picture of the whole page where the environment asks for it.
func (b *browser) shot(name string) {
	dir := os.Getenv("RIMPAIR_SCREENSHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, strings.ReplaceAll(b.t.Name(), "/", "-")+"-"+name+".png"), picture, 0o644))
}

// look asks that every text is one, and that nothing has to be scrolled sideways.
func (b *browser) look(name string, at size) {
	b.t.Helper()
	b.resize(at)
	b.shot(name + "-" + at.name)
	assert.NotRegexp(b.t, b.raw, evaluate[string](b, `document.body.innerText`), name)
	assert.False(b.t, evaluate[bool](b, `document.documentElement.scrollWidth > innerWidth`), "%s: wider than the %s", name, at.name)
}

// audit looks at the page as it is now at both sizes, and lets axe-core do so, at its
// colours in the dark as well.
func (b *browser) audit(name string) {
	b.t.Helper()
	for _, at := range []size{phone(), desk()} {
		b.look(name, at)
		b.violations(name+", "+at.name, `{}`)
	}
	b.resize(b.size)
	b.paint("dark")
	b.violations(name+" in the dark", `{runOnly: ['color-contrast']}`)
	b.paint("light")
}

func (b *browser) violations(name, options string) {
	b.t.Helper()
	if b.axe == "" {
		return
	}
	found := evaluate[string](b, `window.axe || (() => {`+b.axe+`})(); axe.run(document, {resultTypes: ['violations'], ...`+options+`}).then((r) => r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.html + ' ' + n.failureSummary).slice(0, 3).join('\n')).join('\n'))`)
	assert.Empty(b.t, found, name)
}

// paint chooses light or dark. Nothing glides: a click would miss what still moves.
func (b *browser) paint(scheme string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
	}})
	require.NoError(b.t, err)
}

// newJob begins a job and gives its id.
func (b *browser) newJob(body string) string {
	b.t.Helper()
	return evaluate[string](b, `fetch('/api/jobs', {method: 'POST', headers: {'X-Rimpair': '1', 'Content-Type': 'application/json'}, body: '`+body+`'}).then((each) => each.json()).then((job) => job.id)`)
}

// choose gives files to a file input, as its chooser would.
func (b *browser) choose(id string, files ...string) {
	b.t.Helper()
	var paths []string
	for _, f := range files {
		path, err := filepath.Abs(f)
		require.NoError(b.t, err)
		paths = append(paths, path)
	}
	b.run(chromedp.SetUploadFiles("#"+id, paths))
}

// servePages runs a server on the loopback interface and gives its address.
func servePages(t *testing.T, change func(*serve.Options)) (base string, s *serve.Server) {
	t.Helper()
	o := serve.Options{
		Store: t.TempDir(), Names: []string{"127.0.0.1"}, Language: "en", Version: "test", RunoutMm: defaultRunoutMm, Pages: pages.FS,
		Measure: measureServed, Judge: review.Judge, Paired: func(string) {},
	}
	if change != nil {
		change(&o)
	}
	s, err := serve.New(o)
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, end := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, listener) }()
	t.Cleanup(func() {
		end()
		require.NoError(t, <-done)
		require.NoError(t, s.Close())
	})
	return "http://" + listener.Addr().String(), s
}
