package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/sim"
	"padlark/web/browsertest"
)

// seen is two flights that people watch: Teal's parachute opens, Rust's does not.
var seen = fall{
	station: "north-field", link: "field-wifi", layout: "lark-bin", round: 28, liftoff: 8.5, apogee: 150,
	more: fmt.Sprintf(boardOnPad, "field-wifi", 8.0, 40.0, "release_lag_s = 0.4", "Teal", 7),
}

// A flight is followed in a browser on the real station, over a real socket and
// in real time, from waiting to landed; the alarm is seen, heard and
// acknowledged, and what the pages say afterwards is what the archive says.
func TestStationInBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	if os.Getenv("PADLARK_CI") != "1" && os.Getenv("PADLARK_BROWSER") != "1" {
		t.Skip("takes a minute of real time: set PADLARK_BROWSER=1")
	}
	t.Parallel() // it follows a demo in real time
	data, port, listen := t.TempDir(), freePort(t), freeTCPPort(t)
	d := startRun(t, "pages at http://", seen.config(t, data, port, fmt.Sprintf(`
[[rocket]]
name = "Teal"
id = 7
cell = "lipo-1s"
release = "servo"
release_delay_s = 0.5
[web]
listen = %q
`, listen)))
	base := "http://" + listen
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to

	b, late := browser.Tab(t, base), browser.Tab(t, base)
	late.Size(1920, 1080, 1, false)
	late.Open("/")
	b.Size(390, 844, 2, true)
	b.Open("/")
	b.Eval(watchPhases, nil)
	b.Click("#sound")
	b.Until("the audio graph to run", `sound.dataset.state === 'running'`, 10*time.Second)

	s, err := sim.New(seen.scenario(t), 3, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	flown := make(chan error, 1)
	sent := &sending{Writer: unheard{conn}}
	go func() { flown <- fly(ctx, s, 1, map[string]io.Writer{"field-wifi": sent}) }()
	followLive(t, b, late)
	if err := <-flown; err != nil {
		t.Fatal(err)
	}
	awaitFrames(t, data, sent.n) // the page and the command shall work from the same
	// What was worked out after the flight takes the place of what was called live.
	b.Until("results on the cards", `[...document.querySelectorAll('.card.landed')].every((c) => c.textContent.includes('worked out'))`, 20*time.Second)
	highest := map[string]string{}
	b.Eval(`Object.fromEntries([...document.querySelectorAll('.card.landed')].map((c) => [c.dataset.rocket, c.querySelector('.big').textContent]))`, &highest)
	var results []flight.Result
	if err := json.Unmarshal(get(t, base+"/api/v1/flights"), &results); err != nil || len(results) != 2 {
		t.Fatalf("%d results, %v", len(results), err)
	}
	for _, r := range results {
		wantNumber(t, "highest of "+r.Rocket+" on the board", highest[r.Rocket], r.ApogeeM)
	}
	b.Quiet()
	lookRound(t, browser, base, data)
	d.stop(t)
	wantAcked(t, data)
}

// sending counts what is sent: one datagram is one frame.
type sending struct {
	io.Writer
	n int // to be read when the flight is over
}

func (s *sending) Write(b []byte) (int, error) {
	s.n++
	return s.Writer.Write(b)
}

// watchPhases remembers what each card showed, frame by frame, and whether an
// alarm called for eyes: a busy machine may come to ask when it is over.
const watchPhases = `window.seen = {}; window.called = ''; (function look() {
	called ||= document.querySelector('.alarm.p1 .say')?.textContent ?? '';
	for (const c of document.querySelectorAll('.card')) {
		const w = c.dataset.phase || (c.classList.contains('landed') ? 'landed' : c.dataset.go);
		const list = (seen[c.dataset.rocket] ??= []);
		if (w && list.at(-1) !== w) list.push(w);
	}
	requestAnimationFrame(look); })()`

// followLive watches the board from the first frames to the landing.
func followLive(t *testing.T, b, late *browsertest.Tab) {
	t.Helper()
	b.Until("Teal ready", `seen.Teal?.includes('go')`, 20*time.Second)
	b.Shot("station-pad-390")
	late.Shot("station-pad-1920")
	b.Until("Teal in the air", `seen.Teal.some((p) => ['boost', 'coast', 'descent'].includes(p))`, 20*time.Second)
	firstLook(t, late)
	b.Until("an alarm that calls for eyes", `called`, 20*time.Second)
	b.Until("its tone", `sound.dataset.last === '1'`, 3*time.Second)
	b.Shot("station-alarm-390")
	late.Shot("station-alarm-1920")
	var say string
	b.Eval(`called`, &say)
	if !strings.Contains(strings.ToLower(say), "rust") {
		t.Errorf("the alarm says %q, want a word about Rust", say)
	}
	b.Click(".alarm .ack")
	b.Until("nothing that calls for eyes", `document.querySelectorAll('.alarm.p1').length === 0`, 10*time.Second)
	b.Until("both down", `document.querySelectorAll('.card.landed').length === 2`, 30*time.Second)
	b.Shots("station-down")
	var seen map[string][]string
	b.Eval(`seen`, &seen)
	for _, name := range []string{"Teal", "Rust"} {
		order := []string{"notyet", "go", "boost", "coast", "descent", "landed"}
		got := slices.DeleteFunc(slices.Clone(seen[name]), func(p string) bool { return !slices.Contains(order, p) })
		want := order
		if !slices.Contains(got, "boost") { // may be over between two frames of a slow machine
			want = slices.DeleteFunc(slices.Clone(order), func(p string) bool { return p == "boost" })
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s was seen as %v, want %v", name, seen[name], want)
		}
	}
}

// firstLook opens the board in the middle of a flight: what it draws first is
// the present, not a page that knows nothing yet.
func firstLook(t *testing.T, b *browsertest.Tab) {
	t.Helper()
	b.Open("/")
	b.Until("the rocket in the air", `document.querySelector('.card.flying[data-rocket=Teal], .card.flying[data-rocket=Rust]')`, 5*time.Second)
	var unheard bool
	b.Eval(`!!document.querySelector('.card[data-go=unheard]')`, &unheard)
	if unheard {
		t.Error("a card says not heard in the middle of a flight")
	}
	b.Quiet()
}

// wantAcked checks that the click reached the archive.
func wantAcked(t *testing.T, data string) {
	t.Helper()
	if n := count(t, data, "SELECT COUNT(*) FROM alarms WHERE acked = 1 AND rocket = 'Rust'"); n == 0 {
		t.Error("the archive knows of no acknowledged alarm")
	}
}

// lookRound opens every other page on the archive of the flight.
func lookRound(t *testing.T, browser *browsertest.Browser, base, data string) {
	t.Helper()
	flights := fromJSON[[]flight.Result](t, must(t, "flights", "--data", data, "--json"))
	if len(flights) != 2 {
		t.Fatalf("%d flights in the archive, want 2", len(flights))
	}
	b := browser.Tab(t, base)
	b.Size(1920, 1080, 1, false)
	wantFlightTable(t, b, flights)
	var ids []string
	for _, f := range flights {
		id := fmt.Sprintf("%s~%s~%d", f.Session, f.Rocket, f.Flight)
		ids = append(ids, url.QueryEscape(id))
		b.Size(1920, 1080, 1, false)
		b.Open("/flights/" + url.PathEscape(id))
		b.Until("the plots", `window.flightReady`, 20*time.Second)
		wantNumber(t, "headline of "+f.Rocket, b.Text(".headline .big"), f.ApogeeM)
		b.Shots("station-flight-" + f.Rocket)
		b.Open("/flights/" + url.PathEscape(id) + "/report")
		b.Shots("station-report-" + f.Rocket)
	}
	b.Open("/sessions")
	if got := b.Text("main"); !strings.Contains(got, "running now") || !strings.Contains(got, "Rust, Teal") {
		t.Errorf("the sessions' page does not show the running session: %q", got)
	}
	b.Open("/links")
	b.Until("the link", `document.querySelector('main').innerText.includes('field-wifi')`, 10*time.Second)
	b.Size(1920, 1080, 1, false)
	b.Open("/compare?flight=" + strings.Join(ids, "&flight="))
	b.Until("the comparison", `document.querySelectorAll('#spread tr').length >= 1`, 20*time.Second)
	b.Open("/clock")
	b.Until("the difference of the clocks", `document.getElementById('difference').textContent === 'less than 0.5 s'`, 10*time.Second) // they are one clock
	seekReplay(t, b, flights)
	b.Quiet()
}

// wantFlightTable compares the list of flights with the command's numbers.
func wantFlightTable(t *testing.T, b *browsertest.Tab, flights []flight.Result) {
	t.Helper()
	b.Open("/flights")
	var rows []map[string]string
	b.Eval(`[...document.querySelectorAll('table.list tbody tr')].map((r) => Object.fromEntries([['Rocket', r.querySelector('th').innerText],
		...[...r.querySelectorAll('td')].map((d) => [d.dataset.label, d.innerText])]))`, &rows)
	if len(rows) != len(flights) {
		t.Fatalf("the page lists %d flights, the archive %d", len(rows), len(flights))
	}
	for _, f := range flights {
		i := slices.IndexFunc(rows, func(r map[string]string) bool { return strings.HasPrefix(r["Rocket"], f.Rocket) })
		if i < 0 {
			t.Errorf("the page does not list %s: %v", f.Rocket, rows)
			continue
		}
		for label, v := range map[string]*float64{"Apogee": f.ApogeeM, "To apogee": f.TimeToApogeeS, "Fastest": f.MaxSpeedMps, "Sink rate": f.DescentMps} {
			wantNumber(t, f.Rocket+": "+label, rows[i][label], v)
		}
		if got := strings.TrimSpace(rows[i]["Verdict"]); got != f.Verdict {
			t.Errorf("%s: the page says %q, the archive %q", f.Rocket, got, f.Verdict)
		}
	}
}

var firstNumber = regexp.MustCompile(`[-−]?\d+(\.\d+)?`)

// wantNumber compares a text with a value to the decimals that the text shows.
func wantNumber(t *testing.T, what, text string, want *float64) {
	t.Helper()
	if want == nil {
		if !strings.Contains(text, "not known") {
			t.Errorf("%s: the page says %q, the archive knows nothing", what, text)
		}
		return
	}
	n := strings.Replace(firstNumber.FindString(text), "−", "-", 1)
	got, err := strconv.ParseFloat(n, 64)
	if err != nil {
		t.Errorf("%s: no number in %q, the archive says %g", what, text, *want)
		return
	}
	_, frac, _ := strings.Cut(n, ".")
	if d := math.Abs(got - *want); d > 0.5001*math.Pow(10, -float64(len(frac))) {
		t.Errorf("%s: the page says %q, the archive %g", what, text, *want)
	}
}

// seekReplay goes to Rust's way down in the replay of the session.
func seekReplay(t *testing.T, b *browsertest.Tab, flights []flight.Result) {
	t.Helper()
	f := flights[slices.IndexFunc(flights, func(f flight.Result) bool { return f.Rocket == "Rust" })]
	var one struct{ Epoch time.Time }
	var raw json.RawMessage
	b.Eval(`fetch('/api/v1/sessions/'+`+strconv.Quote(url.PathEscape(f.Session))+`).then((r) => r.json())`, &raw)
	if err := json.Unmarshal(raw, &one); err != nil || one.Epoch.IsZero() || f.LaunchedAt == nil || f.TimeToApogeeS == nil {
		t.Fatalf("session %s, liftoff %v: %v", raw, f.LaunchedAt, err)
	}
	at := f.LaunchedAt.Sub(one.Epoch).Seconds() + *f.TimeToApogeeS + 2.5
	b.Open("/sessions/" + url.PathEscape(f.Session))
	b.Until("the replay", `board.picture.states.size > 0 || document.getElementById('play').textContent === 'Pause'`, 10*time.Second)
	b.Click("#play") // pause
	b.Eval(fmt.Sprintf(`(() => { const s = document.getElementById('seek'); s.value = '%.1f'; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change')); })()`, at), nil)
	b.Until("Rust falling", `document.querySelector('.flying[data-rocket=Rust][data-phase=descent]')`, 15*time.Second)
	b.Until("the alarm of then", `[...document.querySelectorAll('.alarm')].some((a) => a.innerText.toLowerCase().includes('rust'))`, 5*time.Second)
	if got := b.Text(".replay-sign"); !strings.Contains(got, "REPLAY") {
		t.Errorf("the sign says %q", got)
	}
	b.Shots("station-replay")
}
