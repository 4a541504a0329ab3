package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
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
)

// browserPath finds a browser or skips; in CI a missing one is a failure.
func browserPath(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "headless-shell"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	const why = "no Chromium on this machine (Debian: apt install chromium)"
	if os.Getenv("PADLARK_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
	return ""
}

// page is one page of a headless browser that remembers what went wrong in it.
type page struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu       sync.Mutex
	problems []string // console errors, exceptions, requests to another host
	host     string
}

// openBrowser starts a browser with an empty profile.
func openBrowser(t *testing.T) context.Context {
	t.Helper()
	alloc, cancelAlloc := chromedp.NewExecAllocator(t.Context(),
		chromedp.ExecPath(browserPath(t)), chromedp.UserDataDir(t.TempDir()),
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("no-proxy-server", true),
	)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); cancelAlloc() })
	// The first run starts the browser, which lives as long as that context.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("start the browser: %v", err)
	}
	return ctx
}

// openPage opens a page that may talk to nobody but base.
func openPage(t *testing.T, browser context.Context, base string) *page {
	t.Helper()
	home, err := url.Parse(base)
	if err != nil {
		t.Fatal(err)
	}
	p := &page{t: t, base: strings.TrimSuffix(base, "/"), host: home.Host}
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext(), chromedp.WithListener(p.listen))
	t.Cleanup(cancel)
	p.ctx = ctx
	// The first run makes the page, which lives as long as that context.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("open a page: %v", err)
	}
	p.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{})
		return chromedp.Void{}, err
	})
	return p
}

func (p *page) listen(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	bad := func(format string, args ...any) { p.problems = append(p.problems, fmt.Sprintf(format, args...)) }
	switch e := ev.(type) {
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			var words []string
			for _, a := range e.Args {
				words = append(words, string(a.Value)+a.Description)
			}
			bad("console %s: %s", e.Type, strings.Join(words, " "))
		}
	case *runtime.EventExceptionThrown:
		bad("exception: %s", e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			bad("log: %s %s", e.Entry.Text, e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		if u, err := url.Parse(e.Request.URL); err == nil && u.Host != p.host && u.Host != "" {
			bad("request to another host: %s", e.Request.URL)
		}
	}
}

func (p *page) list() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string{}, p.problems...)
}

// quiet fails the test if anything went wrong in the page.
func (p *page) quiet() {
	p.t.Helper()
	for _, w := range p.list() {
		p.t.Errorf("in the page: %s", w)
	}
}

// do runs actions; each gets 30 s.
func (p *page) do(actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	for _, a := range actions {
		ctx, cancel := context.WithTimeout(p.ctx, 30*time.Second)
		err := chromedp.Do(ctx, a)
		cancel()
		if err != nil {
			p.t.Fatalf("browser: %v (problems so far: %v)", err, p.list())
		}
	}
}

func (p *page) open(path string) {
	p.t.Helper()
	p.do(chromedp.Navigate(p.base + path))
}

// click presses the first element that a selector finds.
func (p *page) click(selector string) {
	p.t.Helper()
	p.do(chromedp.Click(chromedp.CSS(selector)))
}

// size sets the window as a phone or a screen has it.
func (p *page) size(w, h int64, scale float64, phone bool) {
	p.t.Helper()
	p.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: w, Height: h, DeviceScaleFactor: scale, Mobile: phone})
		return chromedp.Void{}, err
	})
}

// eval runs an expression (a promise is awaited) and stores its value, unless
// into is nil.
func (p *page) eval(expression string, into any) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, 60*time.Second)
	defer cancel()
	raw, err := chromedp.Run(ctx, chromedp.Evaluate[[]byte](expression, chromedp.EvalAwaitPromise, chromedp.EvalAsValue))
	if err != nil {
		p.t.Fatalf("browser: %v (problems so far: %v)\nin %.300s", err, p.list(), expression)
	}
	if into == nil {
		return
	}
	if err := json.Unmarshal(raw, into); err != nil {
		p.t.Fatalf("browser: value %s of %.200s: %v", raw, expression, err)
	}
}

// text is the text of the first element that a selector finds.
func (p *page) text(selector string) string {
	p.t.Helper()
	var s string
	p.eval(fmt.Sprintf(`document.querySelector(%q)?.innerText ?? ""`, selector), &s)
	return s
}

// until waits for an expression to be true: the page is asked at each of its
// own frames, so nothing is missed and nothing is slept.
func (p *page) until(what, expression string, limit time.Duration) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, limit+10*time.Second)
	defer cancel()
	end := time.Now().Add(limit)
	for {
		js := fmt.Sprintf(`new Promise((done) => {
			const end = performance.now() + %d;
			const look = () => { let v = false; try { v = !!(%s); } catch {}
				if (v || performance.now() > end) done(v); else requestAnimationFrame(look); };
			look(); })`, time.Until(end).Milliseconds(), expression)
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](js, chromedp.EvalAwaitPromise))
		if ok {
			return
		}
		if err != nil && ctx.Err() == nil && time.Now().Before(end) {
			continue // the page went on to another one: ask that one
		}
		p.shot("station-failed")
		p.t.Fatalf("waited %v for: %s (%v)\nproblems: %v\npage: %.2000s", limit, what, err, p.list(), p.text("body"))
	}
}

// shot keeps a picture of the page when PADLARK_SCREENSHOTS names a folder.
func (p *page) shot(name string) {
	p.t.Helper()
	dir := os.Getenv("PADLARK_SCREENSHOTS")
	if dir == "" {
		return
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		p.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(p.ctx, 30*time.Second)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// shots keeps the page at a phone's and at a screen's size, and waits for what
// is drawn to have followed: a drawing has as many points as the screen.
func (p *page) shots(name string) {
	p.t.Helper()
	const crisp = `[...document.querySelectorAll('canvas')].every((c) => c.clientWidth === 0 || Math.abs(c.width - c.clientWidth * devicePixelRatio) <= 2)`
	p.size(1920, 1080, 1, false)
	p.until("drawings as large as the screen wants", crisp, 10*time.Second)
	p.shot("station-" + name + "-1920")
	p.size(390, 844, 2, true)
	p.until("drawings as large as the phone wants", crisp, 10*time.Second)
	p.shot("station-" + name + "-390")
}
