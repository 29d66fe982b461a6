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
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report/review"
	"rimpair/report/serve"
	pages "rimpair/report/serve/page"
)

// The pages in a real browser, against the real server. RIMPAIR_SCREENSHOTS names a
// folder for pictures to look at.

// browser is a tab of a headless Chromium.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string
}

func openBrowser(t *testing.T, base string, width, height int64) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("lang", "en"))
	ctx, end := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(end)
	ctx, end = chromedp.NewContext(ctx)
	t.Cleanup(end)
	ctx, end = context.WithTimeout(ctx, 40*time.Second)
	t.Cleanup(end)
	b := &browser{t: t, ctx: ctx, base: base}
	b.run(chromedp.EmulateViewport(width, height))
	return b
}

func (b *browser) run(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, steps...))
}

// goTo opens a view by its part of the address after "#".
func (b *browser) goTo(view string) { b.t.Helper(); b.run(chromedp.Navigate(b.base + "/" + view)) }

// waitFor waits until an expression holds in the page.
func (b *browser) waitFor(expression string) {
	b.t.Helper()
	if _, err := chromedp.Run(b.ctx, chromedp.Poll[bool]("Boolean("+expression+")", chromedp.WithPollingTimeout(20*time.Second))); err != nil {
		text := evaluate[string](b, `document.body.innerText`)
		b.shot("failed")
		require.NoError(b.t, err, "%s\n%s", expression, text)
	}
}

func (b *browser) waitText(text string) {
	b.t.Helper()
	b.waitFor(fmt.Sprintf(`document.body.innerText.toLowerCase().includes(%q)`, strings.ToLower(text)))
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

// audit lets axe-core look at the page as it is now, in both colour schemes, and asks
// that nothing has to be scrolled sideways.
func (b *browser) audit(name string) {
	b.t.Helper()
	b.shot(name)
	assert.False(b.t, evaluate[bool](b, `document.documentElement.scrollWidth > innerWidth`), "%s: wider than the screen", name)
	axe := axeCore(b.t)
	if axe == "" {
		return
	}
	for _, scheme := range []string{"light", "dark"} {
		b.emulate(&emulation.MediaFeature{Name: "prefers-color-scheme", Value: scheme}, &emulation.MediaFeature{Name: "prefers-reduced-motion", Value: "reduce"})
		evaluate[bool](b, axe+"; true")
		violations := evaluate[string](b, `axe.run(document, {resultTypes: ['violations']}).then((r) => JSON.stringify(r.violations.map((v) => [v.id, v.help, v.nodes.map((n) => n.html + ' ' + n.failureSummary).slice(0, 3)])))`)
		assert.Equal(b.t, "[]", violations, "%s, %s", name, scheme)
	}
	b.emulate()
}

func (b *browser) emulate(features ...*emulation.MediaFeature) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
	require.NoError(b.t, err)
}

// evaluate is what an expression gives in the page, or what it promises.
func evaluate[T any](b *browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(b.t, err)
	return v
}

// axeCore is the audit's script (npm's axe-core) in .references/axe; "" where it is
// not there.
func axeCore(t *testing.T) string {
	t.Helper()
	dir, ok := os.LookupEnv("RIMPAIR_REFERENCES")
	if !ok {
		dir = filepath.Join("..", "..", ".references")
	}
	script, err := os.ReadFile(filepath.Join(dir, "axe", "axe.min.js"))
	if err != nil {
		t.Log("no axe-core: the accessibility audit is left out")
	}
	return string(script)
}

// servePages runs a server on the loopback interface and gives its address.
func servePages(t *testing.T, lan bool) (base string, s *serve.Server) {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	s, err := serve.New(serve.Options{
		Store: t.TempDir(), LAN: lan, Names: []string{"127.0.0.1"}, Language: "en", Version: "test", RunoutMm: 1, Pages: pages.FS,
		Measure: measureServed, Judge: review.Judge, Paired: func(string) {},
	})
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

// Nothing is shown without pairing; a wrong code is refused, the right one opens.
func TestPagesPairing(t *testing.T) {
	base, s := servePages(t, true)
	code := s.NewCode()
	b := openBrowser(t, base, 360, 740)
	b.goTo("#/jobs")
	b.waitText("Pair this device")
	b.run(chromedp.SendKeys("#code", "00000000"+kb.Enter))
	b.waitText("This code is not right")
	b.audit("pair")
	b.run(chromedp.SetValue("#code", code), chromedp.SendKeys("#code", kb.Enter))
	b.waitText("No job fits")
}

// spoken finds the keys that a module names whole.
var spoken = regexp.MustCompile(`say\('([^'{$]+)'`)

// Every text is there in both languages, and every one that a module names. Only
// German has words for what the server says in English itself.
func TestPagesCatalogues(t *testing.T) {
	catalogues := map[string]map[string]string{}
	for _, code := range []string{"en", "de"} {
		content, err := pages.FS.ReadFile("assets/" + code + ".json")
		require.NoError(t, err)
		var texts map[string]string
		require.NoError(t, json.Unmarshal(content, &texts))
		catalogues[code] = texts
	}
	for key, text := range catalogues["en"] {
		assert.NotEmpty(t, text, key)
		assert.NotEmpty(t, catalogues["de"][key], key)
	}
	saidByServer := regexp.MustCompile(`^(finding|source|advice)\.`)
	for key := range catalogues["de"] {
		assert.True(t, catalogues["en"][key] != "" || saidByServer.MatchString(key), key)
	}
	modules, err := fs.Glob(pages.FS, "assets/*.js")
	require.NoError(t, err)
	for _, name := range modules {
		content, err := pages.FS.ReadFile(name)
		require.NoError(t, err)
		for _, key := range spoken.FindAllSubmatch(content, -1) {
			assert.NotEmpty(t, catalogues["en"][string(key[1])], "%s: %s", name, key[1])
		}
	}
}
