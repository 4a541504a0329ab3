package web

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/web/browsertest"
)

// browserJoin: a phone's camera reads the address off the page, and the terminal's
// form of the code; the crew sees the passphrase that the station made, a viewer
// does not.
func browserJoin(t *testing.T, browser *browsertest.Browser) {
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatal(err)
		}
		t.Skip("no zbarimg on this machine (Debian: apt install zbar-tools)")
	}
	const address = "https://192.168.7.23:9700/"
	opt := newInvented().options()
	opt.Access = Access{CrewHash: cheapHash(t, "livi-vozi-kora-guli"), ViewerHash: cheapHash(t, "only to look")}
	opt.Address, opt.Passphrase = func() string { return address }, "livi-vozi-kora-guli"
	_, base := serve(t, opt)
	text, err := CodeText(address)
	if err != nil {
		t.Fatal(err)
	}
	for _, as := range []struct {
		pass string
		crew bool
	}{{opt.Passphrase, true}, {"only to look", false}} {
		b := browser.Tab(t, base)
		b.Size(390, 844, 2, true)
		b.Open("/join")
		b.Eval(`document.querySelector('input[type=password]').value = '`+as.pass+`'`, nil)
		b.Click(".signin button")
		b.Until("the way in", `location.pathname === '/join'`, 20*time.Second)
		b.Shot("join-390")
		if got := strings.Contains(b.Text("main"), opt.Passphrase); got != as.crew || !strings.Contains(b.Text("main"), address) {
			t.Errorf("crew %v: passphrase shown: %v, %s", as.crew, got, b.Text("main"))
		}
		if !as.crew {
			continue
		}
		read := func(what string) {
			t.Helper()
			name := filepath.Join(t.TempDir(), "code.png")
			if err := os.WriteFile(name, b.PNG(), 0o600); err != nil {
				t.Fatal(err)
			}
			out, err := exec.Command(zbar, "-q", "--raw", name).Output()
			if err != nil || strings.TrimSpace(string(out)) != address {
				t.Errorf("%s reads %q, %v", what, out, err)
			}
		}
		b.Eval(`document.querySelector('.code').scrollIntoView()`, nil)
		read("the page's code")
		b.Eval(`(() => { const pre = document.createElement('pre'); pre.id = 'terminal'; pre.textContent = `+string(encode(text))+`;
			document.body.replaceChildren(pre); })()`, nil)
		// As a terminal with square cells of two would draw it; inverted, because zbar reads dark on light.
		b.Eval(`(() => { const lines = document.getElementById('terminal').textContent.trimEnd().split('\n'); const c = document.createElement('canvas'), s = 6;
			c.width = lines[0].length * s; c.height = lines.length * 2 * s; const x = c.getContext('2d'); x.fillStyle = '#000'; x.fillRect(0, 0, c.width, c.height); x.fillStyle = '#fff';
			lines.forEach((l, j) => [...l].forEach((ch, i) => { if ('█▀'.includes(ch)) x.fillRect(i * s, 2 * j * s, s, s); if ('█▄'.includes(ch)) x.fillRect(i * s, (2 * j + 1) * s, s, s); }));
			document.body.replaceChildren(c); })()`, nil)
		read("the terminal's code")
	}
}

// TestServedByTLS: with a certificate the pages, the live stream and the sign-in
// cookie go by TLS, and a browser may keep the worker.
func TestServedByTLS(t *testing.T) {
	// The certificate of net/http's own test server.
	pair := httptest.NewUnstartedServer(nil)
	pair.StartTLS()
	defer pair.Close()
	opt := newInvented().options()
	opt.TLS = &tls.Config{Certificates: pair.TLS.Certificates, NextProtos: []string{"http/1.1"}, MinVersion: tls.VersionTLS12}
	opt.Access = Access{CrewHash: cheapHash(t, "kite over field")}
	base := strings.Replace(running(t, opt), "http:", "https:", 1)
	client := pair.Client()
	client.Transport.(*http.Transport).TLSClientConfig.ServerName = "example.com" // whose certificate it is
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	res, err := client.Post(base+"/signin", "application/x-www-form-urlencoded", strings.NewReader("passphrase=kite+over+field&next=/"))
	if err != nil {
		t.Fatal(err)
	}
	_ = res.Body.Close()
	if len(res.Cookies()) != 1 || !res.Cookies()[0].Secure {
		t.Fatalf("status %d, cookies %v", res.StatusCode, res.Cookies())
	}
	req, err := http.NewRequestWithContext(t.Context(), "GET", base+"/api/v1/live?changes=1", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.AddCookie(res.Cookies()[0])
	live, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer live.Body.Close()
	first := make([]byte, 12)
	if _, err := live.Body.Read(first); err != nil || !strings.HasPrefix(string(first), "event: hello") {
		t.Errorf("the live stream begins with %q, %v", first, err)
	}
	worker, err := client.Get(base + "/worker.js")
	if err != nil {
		t.Fatal(err)
	}
	_ = worker.Body.Close()
	if worker.StatusCode != 200 || !strings.HasPrefix(worker.Header.Get("Content-Type"), "text/javascript") {
		t.Errorf("the worker: %d %s", worker.StatusCode, worker.Header.Get("Content-Type"))
	}
}

// TestManifest: what a phone needs to put the board on its home screen: a name, a
// start within the scope, icons of 192 and 512 px (web.dev, "Add a web app
// manifest"; from memory), each of them there.
func TestManifest(t *testing.T) {
	_, base := serve(t, newInvented().options())
	status, _, body := ask(t, "GET", base+"/manifest.webmanifest", "")
	var m struct {
		Name     string
		ShortN   string `json:"short_name"`
		StartURL string `json:"start_url"`
		Display  string
		Icons    []struct{ Src, Sizes, Type string }
	}
	if err := json.Unmarshal(body, &m); err != nil || status != 200 {
		t.Fatal(status, err)
	}
	if m.Name == "" || m.ShortN == "" || m.StartURL != "/" || m.Display != "standalone" || len(m.Icons) != 2 {
		t.Errorf("the manifest is %+v", m)
	}
	for _, icon := range m.Icons {
		status, head, body := ask(t, "GET", base+icon.Src, "")
		if status != 200 || head.Get("Content-Type") != icon.Type || http.DetectContentType(body) != "image/png" {
			t.Errorf("%s: %d %s", icon.Src, status, head.Get("Content-Type"))
		}
	}
}

// running serves on a port of its own until the test ends.
func running(t *testing.T, opt Options) string {
	t.Helper()
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	addr, err := s.Addr(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return "http://" + addr.String()
}

// browserTap: a phone asks at once for the tap that lets it sound; with it the
// screen stays on by a video that runs, and an alarm shakes the phone.
func browserTap(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/")
	b.Until("the board", `board.stream.offset !== null`, 10*time.Second)
	// As by plain HTTP, where there is no lock; and what the phone is told is kept.
	b.Eval(`(() => { Object.defineProperty(navigator, 'wakeLock', { value: undefined }); window.shaken = []; navigator.vibrate = (p) => window.shaken.push(p); })()`, nil)
	b.Until("the wish for a tap", `document.getElementById('tap').checkVisibility() && document.getElementById('tap').getBoundingClientRect().top < innerHeight / 2`, 5*time.Second)
	b.Shot("tap-390")
	b.Click("#tap")
	b.Until("sound, and the wish granted", `document.getElementById('sound').dataset.state === 'running' && !document.getElementById('tap').checkVisibility()`, 10*time.Second)
	b.Until("a video that runs", `document.querySelector('video.awake')?.currentTime > 0.2 && !document.querySelector('video.awake').paused && !document.querySelector('video.awake').muted`, 10*time.Second)
	v.publish(Message{Alarm: alarmForTest()})
	b.Until("the phone to shake", `window.shaken.length > 0`, 10*time.Second)
	b.Click("#sound")
	b.Until("the video to rest", `document.querySelector('video.awake').paused`, 10*time.Second)
	b.Quiet()
}
