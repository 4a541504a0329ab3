package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/semaphore"

	"padlark/flight"
	"padlark/flight/sim"
	"padlark/web"
	"padlark/web/browsertest"
)

// warnedFall is what is watched under attack.
var warnedFall = fall{station: "warned", link: "pad", layout: "lark-text", round: 24, liftoff: 4, apogee: 80}

// warnedConfig is how others reach its station. The crew's passphrase is in use,
// so that everything an outsider can reach without it is tried.
const warnedConfig = `
[web]
listen = %q
passphrase = %q
[bus]
listen = %q
token_file = %q
[[link]]
name = "evil-udp"
udp = %q
layout = "lark-text"
[[link]]
name = "evil-wide"
udp = %q
layout = "wide"
[[link]]
name = "bridge"
tcp_listen = %q
layout = "lark-text"
[[layout]]
name = "wide"
framing = "datagram"
form = "binary"
fields = [ { name = "rocket", type = "u8" }, { name = "pressure_pa", type = "f64" }, { name = "temperature_c", type = "f64" }, { name = "altitude_m", type = "f64" }, { name = "cell_v", type = "f64" } ]
`

// besieged is one station with its rocket, and whoever attacks it.
type besieged struct {
	t       *testing.T
	browser *browsertest.Browser
	tab     *browsertest.Tab
	pass    string
	crew    *http.Client
	station *process

	web, bus, pad, evil, wide, bridge, token, said string
}

// warning is when each way told of the falling rocket, counted from the flight's
// beginning.
type warning struct{ page, api, bus, spoken time.Duration }

// A configured rocket falls without its parachute, once in silence and once under
// each attack. Each time the warning stands on the page, in the API and on the
// bus, and a real program has said it, at most a second later than in silence.
func TestWarned(t *testing.T) {
	browser := browsertest.Start(t)
	if os.Getenv("PADLARK_CI") != "1" && os.Getenv("PADLARK_BROWSER") != "1" {
		t.Skip("takes minutes of real time: set PADLARK_BROWSER=1")
	}
	const pass = "the pad is clear"
	hash, err := web.HashPassphrase(pass)
	if err != nil {
		t.Fatal(err)
	}
	// Each has a station of its own; they run beside each other as far as each has
	// the machine that it needs, and two are made ready while others run.
	machine, ready := semaphore.NewWeighted(whole), semaphore.NewWeighted(2)
	acquire := func(t *testing.T, s *semaphore.Weighted, n int64) (release func()) {
		if err := s.Acquire(t.Context(), n); err != nil {
			t.Fatal(err)
		}
		return sync.OnceFunc(func() { s.Release(n) })
	}
	under := func(t *testing.T, a attack) warning {
		next := acquire(t, ready, 1)
		defer next()
		b := besiege(t, browser, pass, hash)
		b.lookAtBoard()
		defer acquire(t, machine, a.share())()
		next()
		got := b.fall(a)
		t.Logf("page %.2f s, API %.2f s, bus %.2f s, spoken %.2f s", got.page.Seconds(), got.api.Seconds(), got.bus.Seconds(), got.spoken.Seconds())
		return got
	}
	var silence warning
	if !t.Run("silence", func(t *testing.T) { silence = under(t, attack{}) }) {
		return // there is nothing to compare with
	}
	var wait sync.WaitGroup
	for _, a := range attacks() {
		wait.Go(func() {
			t.Run(a.name, func(t *testing.T) { silence.compare(t, under(t, a)) })
		})
	}
	wait.Wait()
}

// compare says where a warning came more than a second later than in silence.
func (silence warning) compare(t *testing.T, got warning) {
	t.Helper()
	for _, w := range []struct {
		name      string
		got, want time.Duration
	}{{"page", got.page, silence.page}, {"API", got.api, silence.api}, {"bus", got.bus, silence.bus}, {"callout", got.spoken, silence.spoken}} {
		if w.got-w.want > time.Second {
			t.Errorf("the %s warns after %v, in silence after %v", w.name, w.got, w.want)
		}
	}
}

// besiege starts a station.
func besiege(t *testing.T, browser *browsertest.Browser, pass, hash string) *besieged {
	t.Helper()
	dir := t.TempDir()
	b := &besieged{t: t, browser: browser, pass: pass, web: freeTCPPort(t), bus: freeTCPPort(t), bridge: freeTCPPort(t), pad: freePort(t), evil: freePort(t), wide: freePort(t),
		token: "only-for-this-test", said: filepath.Join(dir, "said")}
	tokenFile := filepath.Join(dir, "token")
	if err := os.WriteFile(tokenFile, []byte(b.token+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.station = startRun(t, "pages at http://", warnedFall.config(t, filepath.Join(dir, "data"), b.pad,
		writesDown(b.said)+fmt.Sprintf(warnedConfig, b.web, hash, b.bus, tokenFile, b.evil, b.wide, b.bridge)))
	// Nothing may be written any more when the folder is removed.
	t.Cleanup(func() { _ = b.station.cmd.Process.Kill(); <-b.station.ended })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	b.crew = &http.Client{Jar: jar, Timeout: 3 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	slow := &http.Client{Jar: jar} // the hash of a passphrase takes its time
	res, err := slow.PostForm("http://"+b.web+"/signin", url.Values{"passphrase": {pass}, "next": {"/healthz"}})
	if err != nil {
		t.Fatal(err)
	}
	_ = res.Body.Close()
	if res.StatusCode != http.StatusOK {
		t.Fatalf("sign in: status %d", res.StatusCode)
	}
	return b
}

// lookAtBoard opens the board and notes when the warning stands on it.
func (b *besieged) lookAtBoard() {
	b.t.Helper()
	tab := b.browser.Tab(b.t, "http://"+b.web)
	tab.Open("/signin")
	tab.Eval(fmt.Sprintf(`(() => { document.querySelector('[name=passphrase]').value = %q; document.querySelector('main form').submit(); })()`, b.pass), nil)
	tab.Until("the board", `window.board?.stream.offset !== null && document.getElementById('zone-pad')`, 15*time.Second)
	tab.Eval(`window.warnedAt = 0; (function look() {
		if ([...document.querySelectorAll('.alarm.p1')].some((x) => x.dataset.kinds.includes('ballistic') && /rust/i.test(x.innerText))) { warnedAt = Date.now(); return; }
		requestAnimationFrame(look); })()`, nil)
	b.tab = tab
}

// fall lets the rocket fall under an attack and waits for the warning on every way.
func (b *besieged) fall(a attack) warning {
	b.t.Helper()
	ctx, cancel := context.WithCancel(b.t.Context())
	var wait sync.WaitGroup
	defer func() { cancel(); wait.Wait() }()
	onBus := b.listen()

	s, err := sim.New(warnedFall.scenario(b.t), 5, time.Now())
	if err != nil {
		b.t.Fatal(err)
	}
	conn, err := net.Dial("udp", b.pad)
	if err != nil {
		b.t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	var pad io.Writer = unheard{conn}
	if a.between != nil {
		pad = a.between(b, pad)
	}
	if a.beside != nil {
		wait.Go(func() { a.beside(ctx, b) })
	}
	start := time.Now()
	flown := make(chan error, 1)
	wait.Go(func() { flown <- fly(ctx, s, 1, map[string]io.Writer{"pad": pad}) })

	var w warning
	const limit = 25 * time.Second
	w.api = b.askAPI(start, limit)
	b.tab.Until("the warning on the page", `warnedAt > 0`, max(time.Second, limit-time.Since(start)))
	var ms float64
	b.tab.Eval(`warnedAt`, &ms)
	w.page = time.UnixMilli(int64(ms)).Sub(start)
	select {
	case at := <-onBus:
		w.bus = at.Sub(start)
	case <-time.After(max(time.Second, limit-time.Since(start))):
		b.t.Error("the bus never told of it")
	}
	w.spoken = b.heard(start, limit)
	return w
}

// listen gives the moment at which the bus tells of the falling rocket.
func (b *besieged) listen() <-chan time.Time {
	b.t.Helper()
	nc, err := nats.Connect("nats://"+b.bus, nats.Token(b.token))
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(nc.Close)
	at := make(chan time.Time, 1)
	_, err = nc.Subscribe("padlark.warned.alarm.>", func(m *nats.Msg) {
		var a flight.Alarm
		if json.Unmarshal(m.Data, &a) == nil && ballisticOfRust(a) {
			select {
			case at <- time.Now():
			default:
			}
		}
	})
	if err == nil {
		err = nc.Flush()
	}
	if err != nil {
		b.t.Fatal(err)
	}
	return at
}

func ballisticOfRust(a flight.Alarm) bool {
	return a.Active && a.Kind == "ballistic" && (a.Rocket == "Rust" || strings.HasPrefix(a.Rocket, "Rust ("))
}

// askAPI asks for the alarms again and again, on a new connection each time.
func (b *besieged) askAPI(start time.Time, limit time.Duration) time.Duration {
	b.t.Helper()
	failed := 0
	for time.Since(start) < limit {
		res, err := b.crew.Get("http://" + b.web + "/api/v1/alarms")
		if err != nil {
			failed++
			continue
		}
		var all []flight.Alarm
		err = json.NewDecoder(res.Body).Decode(&all)
		_ = res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			b.t.Fatalf("the API answers %d: %v", res.StatusCode, err)
		}
		for _, a := range all {
			if ballisticOfRust(a) {
				if failed > 0 {
					b.t.Logf("%d requests failed", failed)
				}
				return time.Since(start)
			}
		}
		time.Sleep(30 * time.Millisecond) // the API is asked, it does not tell
	}
	b.t.Errorf("the API never told of it; %d requests failed", failed)
	return limit
}

// heard waits until the program has said it, and gives when it did.
func (b *besieged) heard(start time.Time, limit time.Duration) time.Duration {
	b.t.Helper()
	for {
		text, _ := os.ReadFile(b.said) // it is not there before the first call
		for line := range strings.Lines(string(text)) {
			at, words, _ := strings.Cut(strings.TrimSpace(line), " ")
			low := strings.ToLower(words)
			if ns, err := strconv.ParseInt(at, 10, 64); err == nil && strings.Contains(low, "rust") && strings.Contains(low, "ballistic") {
				return time.Unix(0, ns).Sub(start)
			}
		}
		if time.Since(start) > limit {
			b.t.Errorf("nobody said it; said was:\n%s", text)
			return limit
		}
		time.Sleep(10 * time.Millisecond) // a file does not tell when it grows
	}
}
