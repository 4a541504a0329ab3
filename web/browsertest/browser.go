package browsertest

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// Browser is one running browser with an empty profile.
type Browser struct{ ctx context.Context }

// path finds a browser or skips; in CI a missing one is a failure.
func path(t testing.TB) string {
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

// Start starts a browser that lives until the test ends.
func Start(t testing.TB) *Browser {
	t.Helper()
	return start(t)
}

// StartWithMicrophone starts one whose microphone hears a WAV file, again and again,
// and whose person lets every page listen.
func StartWithMicrophone(t testing.TB, wav string) *Browser {
	t.Helper()
	return start(t, chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true),
		chromedp.Flag("use-file-for-fake-audio-capture", wav))
}

func start(t testing.TB, more ...chromedp.ExecAllocatorOption) *Browser {
	t.Helper()
	alloc, cancelAlloc := chromedp.NewExecAllocator(t.Context(), append(more,
		chromedp.ExecPath(path(t)), chromedp.UserDataDir(t.TempDir()),
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("no-proxy-server", true),
	)...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() { cancel(); cancelAlloc() })
	// The first run starts the browser, which lives as long as that context.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("start the browser: %v", err)
	}
	return &Browser{ctx}
}

// Tab opens a page of its own, with storage and cookies of its own, that may
// talk to nobody but base (scheme, host and port of the pages).
func (br *Browser) Tab(t testing.TB, base string) *Tab {
	t.Helper()
	home, err := url.Parse(base)
	if err != nil {
		t.Fatal(err)
	}
	b := &Tab{t: t, base: strings.TrimSuffix(base, "/"), host: home.Host}
	ctx, cancel := chromedp.NewContext(br.ctx, chromedp.WithNewBrowserContext(), chromedp.WithListener(b.listen))
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
