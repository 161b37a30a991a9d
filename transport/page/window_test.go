package page_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// needed finds a program that a test runs. Where there is none, the test is passed
// over; .ci/run installs it and has its absence fail.
func needed(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skipf("%s is not installed", program)
	}
	require.NoError(t, err)
	return path
}

// size is what a window is shown on.
type size struct {
	name          string
	width, height int64
	touch         bool
}

var (
	phone = size{"phone", 360, 740, true}
	desk  = size{"desk", 1280, 760, false}
	bench = size{"bench", 1920, 1080, false}
)

// browser is one real Chromium.
type browser struct {
	ctx context.Context
}

func startBrowser(t *testing.T) *browser {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(needed(t, "chromium")), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("no-proxy-server", true))
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, leave := chromedp.NewContext(ctx)
	t.Cleanup(func() { leave(); stop() })
	require.NoError(t, chromedp.Do(ctx))
	return &browser{ctx}
}

// window is one page in a browser, with what it complained of and fetched.
type window struct {
	ctx  context.Context
	size size

	mu       sync.Mutex
	problems []string
	urls     []string
	bytes    float64
}

// open shows an address in a new window of its own profile: windows share nothing but
// the service.
func (b *browser) open(t *testing.T, url string, s size) *window {
	t.Helper()
	return b.openAt(t, url, url, s)
}

// openAt does so at an address below url.
func (b *browser) openAt(t *testing.T, url, at string, s size) *window {
	t.Helper()
	w := &window{size: s}
	ctx, cancel := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext(), chromedp.WithListener(w.hear))
	w.ctx = ctx
	t.Cleanup(func() {
		cancel()
		w.mu.Lock()
		defer w.mu.Unlock()
		assert.Empty(t, w.problems, "what the browser complained of")
		for _, u := range w.urls {
			assert.True(t, strings.HasPrefix(u, url) || strings.HasPrefix(u, "ws"+strings.TrimPrefix(url, "http")), "asked of elsewhere: %s", u)
		}
	})
	require.NoError(t, chromedp.Do(ctx)) // the window lives as long as the context of its first action
	w.run(t, order(network.Enable, network.EnableParams{}), order(log.Enable, cdp.Empty{}), order(runtime.Enable, cdp.Empty{}),
		order(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: s.width, Height: s.height, DeviceScaleFactor: 1, Mobile: s.touch}),
		order(emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: s.touch}), chromedp.Navigate(at))
	return w
}

// order is a command to the window, whose answer does not matter.
func order[P, R any](command cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, command, params)
		return err
	})
}

// hear keeps what goes wrong and what is fetched. A connection that fails is what some
// tests are about.
func (w *window) hear(event any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch e := event.(type) {
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError && !strings.Contains(e.Entry.Text, "net::ERR_") {
			w.problems = append(w.problems, e.Entry.Text+" "+e.Entry.URL)
		}
	case *runtime.EventExceptionThrown:
		w.problems = append(w.problems, fmt.Sprintf("%s %+v", e.ExceptionDetails.Text, e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			w.problems = append(w.problems, fmt.Sprintf("%s %s", e.Type, e.Args[0].Value))
		}
	case *network.EventRequestWillBeSent:
		w.urls = append(w.urls, e.Request.URL)
	case *network.EventWebSocketCreated:
		w.urls = append(w.urls, e.URL)
	case *network.EventLoadingFinished:
		w.bytes += e.EncodedDataLength
	case *network.EventWebSocketFrameReceived:
		w.bytes += float64(len(e.Response.PayloadData))
	}
}

// within bounds what a window is asked to do.
func (w *window) within() (context.Context, context.CancelFunc) {
	return context.WithTimeout(w.ctx, time.Minute)
}

func (w *window) run(t *testing.T, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := w.within()
	defer cancel()
	require.NoError(t, chromedp.Do(ctx, actions...))
}

// js gives the value of an expression; a promise is waited for.
func js[T any](t *testing.T, w *window, expression string) T {
	t.Helper()
	v, err := evaluate[T](w, expression)
	require.NoError(t, err, "%.200s", expression)
	return v
}

func evaluate[T any](w *window, expression string) (T, error) {
	ctx, cancel := w.within()
	defer cancel()
	return chromedp.Run(ctx, chromedp.Evaluate[T](expression, func(p *runtime.EvaluateParams) { p.AwaitPromise = new(true) }))
}

// leaving is what the browser says to a question about a page that it is just leaving for another.
const leaving = "Inspected target navigated or closed"

// until waits for a condition of the page, or of the one that it leads on to.
func (w *window) until(t *testing.T, condition string) {
	t.Helper()
	deadline := time.Now().Add(30 * time.Second)
	for {
		holds, err := evaluate[bool](w, "Boolean("+condition+")")
		if err == nil && holds {
			return
		}
		if err != nil && !strings.Contains(err.Error(), leaving) {
			require.NoError(t, err, "%.200s", condition)
		}
		if time.Now().After(deadline) {
			text := js[string](t, w, "document.body.innerText")
			w.shoot(t, "failed")
			require.Fail(t, "the page did not come to", "%s\n%s", condition, text)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// there is a control that can be used: it is shown, and not disabled.
const there = `(s => [...document.querySelectorAll(s)].find(e => e.checkVisibility() && !e.disabled))`

// aim brings a control into view and gives its middle, null while something else is
// in front of it.
const aim = `(e => { if (!e) return null; e.scrollIntoView({block: "center", behavior: "instant"}); const r = e.getBoundingClientRect();
	const at = {X: r.x + r.width / 2, Y: r.y + r.height / 2}; return e.contains(document.elementFromPoint(at.X, at.Y)) ? at : null; })`

// press clicks where the first control is that fits, can be used and is in reach.
func (w *window) press(t *testing.T, selector string) {
	t.Helper()
	find := aim + "(" + there + "(" + quoted(selector) + "))"
	w.until(t, find)
	at := js[*struct{ X, Y float64 }](t, w, find)
	require.NotNil(t, at, "%s went out of reach", selector)
	w.run(t, chromedp.MouseClickXY(at.X, at.Y))
}

// named presses the control with that text.
func (w *window) named(t *testing.T, text string) {
	t.Helper()
	mark := "data-test"
	find := `[...document.querySelectorAll("main :is(button, a, summary, label)")].find(e => e.checkVisibility() && !e.disabled && e.textContent.trim().startsWith(` + quoted(text) + `))`
	w.until(t, find)
	js[bool](t, w, `(e => { document.querySelectorAll("[`+mark+`]").forEach(x => x.removeAttribute("`+mark+`")); e.setAttribute("`+mark+`", ""); return true; })(`+find+`)`)
	w.press(t, "["+mark+"]")
}

// text is what a place shows.
func (w *window) text(t *testing.T, selector string) string {
	t.Helper()
	return js[string](t, w, `document.querySelector(`+quoted(selector)+`)?.innerText ?? ""`)
}

func quoted(text string) string {
	out, _ := json.Marshal(text) // a string always can be
	return string(out)
}

// shoot keeps what the window shows as a picture, where go test -artifacts wants it.
func (w *window) shoot(t *testing.T, state string) {
	t.Helper()
	ctx, cancel := w.within()
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(t.ArtifactDir(), w.size.name+"-"+state+".png"), png, 0o644))
}

// dark asks for dark or light as the machine's settings would.
func (w *window) dark(t *testing.T, on bool) {
	t.Helper()
	value := "light"
	if on {
		value = "dark"
	}
	w.run(t, order(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: value}}}))
}
