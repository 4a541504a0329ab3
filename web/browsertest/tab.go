package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
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
	"github.com/chromedp/chromedp/kb"
)

// actionLimit is how long one action in a page may take.
const actionLimit = 60 * time.Second

// Tab is one page of a browser that remembers what went wrong in it. Every
// method fails the test when the browser does not do what was asked.
type Tab struct {
	t    testing.TB
	ctx  context.Context
	base string
	host string

	mu       sync.Mutex
	problems []string // console errors, exceptions, requests to another host
	total    int64    // bytes received on the wire
}

func (b *Tab) listen(ev any) {
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
		text := e.ExceptionDetails.Text
		if o := e.ExceptionDetails.Exception; o != nil {
			text += " " + o.Description
		}
		bad("exception: %s", text)
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			bad("log: %s %s", e.Entry.Text, e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		// data: and about: have no host and leave nowhere.
		if u, err := url.Parse(e.Request.URL); err == nil && u.Host != b.host && u.Host != "" {
			bad("request to another host: %s", e.Request.URL)
		}
	case *network.EventDataReceived:
		b.total += e.EncodedDataLength
	case *network.EventResponseReceived:
		b.total += int64(e.Response.EncodedDataLength) // the headers
	}
}

// call runs one action for its value, within limit.
func call[T any](b *Tab, limit time.Duration, what string, a chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, limit)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		b.t.Fatalf("browser: %s: %v (problems so far: %v)", what, err, b.Problems())
	}
	return v
}

func (b *Tab) do(a chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	call(b, actionLimit, "act", a)
}

// Problems lists what went wrong in the page so far.
func (b *Tab) Problems() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string{}, b.problems...)
}

// Quiet fails the test if anything went wrong in the page, except problems
// that contain one of the words: those that the test itself asked for.
func (b *Tab) Quiet(except ...string) {
	b.t.Helper()
	for _, p := range b.Problems() {
		asked := false
		for _, word := range except {
			asked = asked || strings.Contains(p, word)
		}
		if !asked {
			b.t.Errorf("in the page: %s", p)
		}
	}
}

// Bytes is how much the page has received on the wire, headers included.
func (b *Tab) Bytes() int64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.total
}

// Open loads a page of the station.
func (b *Tab) Open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base + path))
}

// Click presses the first element that a selector finds, as a finger would.
func (b *Tab) Click(selector string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(selector)))
}

// keys are the keys that Press knows by name; anything else is typed as it is.
var keys = map[string]string{
	"Tab": kb.Tab, "Enter": kb.Enter, "Space": " ", "Home": kb.Home, "End": kb.End,
	"Left": kb.ArrowLeft, "Right": kb.ArrowRight, "Up": kb.ArrowUp, "Down": kb.ArrowDown,
}

// Press sends a key by its name, or types a text, to what has the focus.
func (b *Tab) Press(key string) {
	b.t.Helper()
	if k, ok := keys[key]; ok {
		key = k
	}
	b.do(chromedp.KeyEvent(key))
}

// Size sets the window as a phone or a screen has it, in CSS pixels.
func (b *Tab) Size(w, h int64, scale float64, phone bool) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: w, Height: h, DeviceScaleFactor: scale, Mobile: phone})
		return chromedp.Void{}, err
	})
}

// Zone puts the browser into a time zone, named as in the IANA data base.
func (b *Tab) Zone(name string) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: name})
		return chromedp.Void{}, err
	})
}

// Language makes the browser ask for pages in a language.
func (b *Tab) Language(accept string) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetUserAgentOverride, emulation.SetUserAgentOverrideParams{UserAgent: "padlark's test", AcceptLanguage: accept})
		return chromedp.Void{}, err
	})
}

// Eval runs an expression (a promise is awaited) and stores its value as JSON
// would, unless into is nil.
func (b *Tab) Eval(expression string, into any) {
	b.t.Helper()
	raw := call(b, actionLimit, fmt.Sprintf("%.300s", expression),
		chromedp.Evaluate[[]byte](expression, chromedp.EvalAwaitPromise, chromedp.EvalAsValue))
	if into == nil {
		return
	}
	if err := json.Unmarshal(raw, into); err != nil {
		b.t.Fatalf("browser: value %s of %.200s: %v", raw, expression, err)
	}
}

// Text is what a person reads in the first element that a selector finds.
func (b *Tab) Text(selector string) string {
	b.t.Helper()
	var s string
	b.Eval(fmt.Sprintf(`document.querySelector(%q)?.innerText ?? ""`, selector), &s)
	return s
}

// Until waits for an expression to be true: the page is asked at each of its
// own frames, so nothing is missed and nothing is slept.
func (b *Tab) Until(what, expression string, limit time.Duration) {
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
		b.Shot("failed")
		b.t.Fatalf("waited %v for: %s (%v)\nproblems: %v\npage: %.2000s", limit, what, err, b.Problems(), b.Text("body"))
	}
}
