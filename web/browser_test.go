package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
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
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
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

// tab is one page of a headless browser that remembers what went wrong in it.
type tab struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu       sync.Mutex
	problems []string // console errors, exceptions, requests to another host
	total    int64    // bytes received on the wire
}

// openBrowser starts a headless browser with an empty profile.
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

// openTab opens a page of its own, with storage and cookies of its own, that may
// talk to nobody but base.
func openTab(t *testing.T, browser context.Context, base string) *tab {
	t.Helper()
	home, err := url.Parse(base)
	if err != nil {
		t.Fatal(err)
	}
	b := &tab{t: t, base: base}
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext(), chromedp.WithListener(func(ev any) { b.listen(ev, home.Host) }))
	t.Cleanup(cancel)
	b.ctx = ctx
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("open a page: %v", err)
	}
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{})
		return chromedp.Void{}, err
	})
	return b
}

func (b *tab) listen(ev any, host string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	bad := func(format string, args ...any) { b.problems = append(b.problems, fmt.Sprintf(format, args...)) }
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
		if e.Entry.Level == log.EntryLevelError {
			bad("log: %s %s", e.Entry.Text, e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		if u, err := url.Parse(e.Request.URL); err == nil && u.Host != host && (u.Scheme == "http" || u.Scheme == "https" || u.Scheme == "ws" || u.Scheme == "wss") {
			bad("request to another host: %s", e.Request.URL)
		}
	case *network.EventDataReceived:
		b.total += e.EncodedDataLength
	case *network.EventResponseReceived:
		b.total += int64(e.Response.EncodedDataLength) // the headers
	}
}

// do runs actions; each gets 30 s.
func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	for _, a := range actions {
		ctx, cancel := context.WithTimeout(b.ctx, 30*time.Second)
		err := chromedp.Do(ctx, a)
		cancel()
		if err != nil {
			b.t.Fatalf("browser: %v (problems so far: %v)", err, b.problemList())
		}
	}
}

func (b *tab) problemList() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string{}, b.problems...)
}

// open loads a page.
func (b *tab) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base + path))
}

// click presses the first element that a selector finds, as a finger would.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(selector)))
}

// press sends a key: Tab or Enter.
func (b *tab) press(key string) {
	b.t.Helper()
	b.do(chromedp.KeyEvent(map[string]string{"Tab": kb.Tab, "Enter": kb.Enter}[key]))
}

// work is the time that the page's main thread has computed so far, in s, by
// kind. Waiting for the processor does not count.
func (b *tab) work() map[string]float64 {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 10*time.Second)
	defer cancel()
	out, err := chromedp.Run(ctx, func(ctx context.Context, t *chromedp.Target) (map[string]float64, error) {
		domain := performance.EnableTimeDomainThreadTicks
		if _, err := cdp.Call(ctx, t, performance.Enable, performance.EnableParams{TimeDomain: domain}); err != nil {
			return nil, err
		}
		r, err := cdp.Call(ctx, t, performance.GetMetrics, cdp.Empty{})
		if err != nil {
			return nil, err
		}
		kinds := map[string]float64{}
		for _, m := range r.Metrics {
			if strings.HasSuffix(m.Name, "Duration") {
				kinds[m.Name] = m.Value
			}
		}
		return kinds, nil
	})
	if err != nil {
		b.t.Fatalf("browser: measure its work: %v", err)
	}
	return out
}

// bytes is how much the page has received.
func (b *tab) bytes() int64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.total
}

// size sets the window as a phone or a screen has it.
func (b *tab) size(w, h int64, scale float64, phone bool) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: w, Height: h, DeviceScaleFactor: scale, Mobile: phone})
		return chromedp.Void{}, err
	})
}

// eval runs an expression (a promise is awaited) and stores its value, unless
// into is nil.
func (b *tab) eval(expression string, into any) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	raw, err := chromedp.Run(ctx, chromedp.Evaluate[[]byte](expression, chromedp.EvalAwaitPromise, chromedp.EvalAsValue))
	if err != nil {
		b.t.Fatalf("browser: %v (problems so far: %v)\nin %.300s", err, b.problemList(), expression)
	}
	if into == nil {
		return
	}
	if err := json.Unmarshal(raw, into); err != nil {
		b.t.Fatalf("browser: value %s of %.200s: %v", raw, expression, err)
	}
}

// text is the text of the first element that a selector finds.
func (b *tab) text(selector string) string {
	b.t.Helper()
	var s string
	b.eval(fmt.Sprintf(`document.querySelector(%q)?.innerText ?? ""`, selector), &s)
	return s
}

// until waits for an expression to be true: the page is asked at each of its
// own frames, so nothing is missed and nothing is slept.
func (b *tab) until(what, expression string, limit time.Duration) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, limit+10*time.Second)
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
		b.shot("failed")
		b.t.Fatalf("waited %v for: %s (%v)\nproblems: %v\npage: %.2000s", limit, what, err, b.problemList(), b.text("body"))
	}
}

// shot keeps a picture of the page when PADLARK_SCREENSHOTS names a folder.
func (b *tab) shot(name string) {
	b.t.Helper()
	dir := os.Getenv("PADLARK_SCREENSHOTS")
	if dir == "" {
		return
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		b.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(b.ctx, 30*time.Second)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// quiet fails the test if anything went wrong in the page.
func (b *tab) quiet() {
	b.t.Helper()
	for _, p := range b.problemList() {
		b.t.Errorf("in the page: %s", p)
	}
}

// serve starts a server over the invented station.
func serve(t *testing.T, opt Options) (*Server, string) {
	t.Helper()
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	stop, err := s.Watch(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		close(s.stopping)
		srv.Close()
		stop()
	})
	return s, srv.URL
}
