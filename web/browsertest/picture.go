package browsertest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"
)

// Pictures says whether pictures are kept.
func Pictures() bool { return os.Getenv("PADLARK_SCREENSHOTS") != "" }

// Shot keeps a picture of the page as it is now.
func (b *Tab) Shot(name string) {
	b.t.Helper()
	if !Pictures() {
		return
	}
	dir := os.Getenv("PADLARK_SCREENSHOTS")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), b.PNG(), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// PNG is a picture of the page as it is now.
func (b *Tab) PNG() []byte {
	b.t.Helper()
	quick := true // to compress a picture well takes longer than all the rest
	return call(b, actionLimit, "take a picture", func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
		res, err := cdp.Call(ctx, t, page.CaptureScreenshot, page.CaptureScreenshotParams{OptimizeForSpeed: &quick})
		return res.Data, err
	})
}

// crisp says that every drawing has as many points as the screen wants: the
// page has followed a change of its size.
const crisp = `[...document.querySelectorAll('canvas')].every((c) => c.clientWidth === 0 || Math.abs(c.width - c.clientWidth * devicePixelRatio) <= 2)`

// Shots keeps the page at a screen's and a phone's size, and leaves it at the
// phone's.
func (b *Tab) Shots(name string) {
	b.t.Helper()
	if !Pictures() {
		return
	}
	b.Size(1920, 1080, 1, false)
	b.Until("drawings as large as the screen wants", crisp, 10*time.Second)
	b.Shot(name + "-1920")
	b.Size(390, 844, 2, true)
	b.Until("drawings as large as the phone wants", crisp, 10*time.Second)
	b.Shot(name + "-390")
}

// PDF prints the page on paper of a size in inches.
func (b *Tab) PDF(width, height float64) []byte {
	b.t.Helper()
	own := false // the paper's size counts, not the page's wish
	return call(b, actionLimit, "print", func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
		res, err := cdp.Call(ctx, t, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: width, PaperHeight: height, PreferCSSPageSize: &own})
		return res.Data, err
	})
}

// Work is the time that the page's main thread has computed so far, in s, by
// kind ("TaskDuration" is all of it). Waiting for the processor does not count.
func (b *Tab) Work() map[string]float64 {
	b.t.Helper()
	return call(b, actionLimit, "measure its work", func(ctx context.Context, t *chromedp.Target) (map[string]float64, error) {
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
}
