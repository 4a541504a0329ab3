package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/storage"
	"padlark/web/browsertest"
)

// TestBrowser uses the pages as people do, in a headless browser. Those that
// wait for a flight or take a while run where PADLARK_CI=1 or PADLARK_BROWSER=1,
// or where pictures are wanted.
// Most of them wait, so they run beside each other; what is measured runs alone.
func TestBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	all := os.Getenv("PADLARK_CI") == "1" || os.Getenv("PADLARK_BROWSER") == "1" || browsertest.Pictures()
	type part struct {
		name string
		long bool
		test func(*testing.T, *browsertest.Browser)
	}
	run := func(t *testing.T, beside bool, parts ...part) {
		for _, c := range parts {
			t.Run(c.name, func(t *testing.T) {
				if c.long && !all {
					t.Skip("takes a while: set PADLARK_BROWSER=1")
				}
				if beside {
					t.Parallel()
				}
				c.test(t, browser)
			})
		}
	}
	t.Run("use", func(t *testing.T) {
		run(t, true,
			part{"flight", true, browserFlight}, part{"alarm", true, browserAlarm}, part{"replay", true, browserReplay},
			part{"keyboard", true, browserKeyboard}, part{"viewer", true, browserViewer}, part{"look", true, browserLook}, part{"bars", true, browserBars}, part{"look up", true, browserLookUp}, part{"languages", true, browserLanguages}, part{"join", true, browserJoin}, part{"tap", true, browserTap}, part{"field", true, browserField}, part{"evening", true, browserEvening}, part{"pictures", true, browserPictures},
			part{"sounder", true, browserSounder}, part{"links", true, browserLinks}, part{"clock", true, browserClock}, part{"units", true, browserUnits}, part{"zone", true, browserZone},
			part{"print", true, browserPrint}, part{"sorted", true, browserSorted}, part{"reading", true, browserReading},
			part{"pixels", true, browserPixels}, part{"crowd", true, browserCrowd},
			part{"thrown", false, browserThrown}, part{"guests", false, browserGuests}, part{"escape", false, browserEscape}, part{"notes", false, browserNotes}, part{"arithmetic", false, browserArithmetic})
	})
	run(t, false, part{"stale", true, browserStale}, part{"many", true, browserMany})
}

// flying starts an invented session at several times real time, `head` into it.
// Its time stands still from the call of stop on.
func flying(t *testing.T, v *invented, head time.Duration, pace float64, hops ...hop) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		v.fly(ctx, "now", time.Now().UTC().Truncate(time.Second), head, pace, hops...)
	}()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return stop
}

// browserFlight follows a flight from waiting to landed: every phase is shown in
// its order, and the numbers at the end are the archive's.
func browserFlight(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/")
	b.Eval(`window.seen = []; (function look() {
		const c = document.querySelector('.card[data-rocket=Teal]');
		const w = c && (c.dataset.phase || (c.classList.contains('landed') ? 'landed' : c.dataset.go));
		if (w && seen.at(-1) !== w) seen.push(w);
		requestAnimationFrame(look); })()`, nil)
	flying(t, v, 0, 6, hop{rocket: "Teal", link: "pad-radio", pad: 20, after: 25, speed: 36, push: 1.2, sink: 8, cell: 3.95})
	b.Until("go", `seen.includes('go')`, 20*time.Second)
	b.Until("the answer", `document.querySelector('.answer-words').textContent === 'Nothing in the air. Ready: Teal'`, 2*time.Second)
	b.Until("landed", `seen.includes('landed')`, 40*time.Second)
	var seen []string
	b.Eval(`seen`, &seen)
	want := []string{"unheard", "notyet", "go"}
	v.mu.Lock()
	for i, p := range v.phases["Teal"] {
		// What lasts three states or more must have been on the page.
		if all := v.phases["Teal"]; p != flight.Waiting && want[len(want)-1] != string(p) && (p == flight.Landed || i+2 < len(all) && all[i+2] == p) {
			want = append(want, string(p))
		}
	}
	v.mu.Unlock()
	if len(want) < 6 {
		t.Errorf("the invented flight went only through %v", want)
	}
	seen = slices.DeleteFunc(seen, func(p string) bool { return !slices.Contains(want, p) })
	if got := slices.Compact(seen); !slices.Equal(got, want) {
		t.Errorf("phases seen %v, want %v", got, want)
	}
	_, _, body := ask(t, "GET", base+"/api/v1/rockets", "")
	var rockets []rocketView
	if err := json.Unmarshal(body, &rockets); err != nil {
		t.Fatal(err)
	}
	teal := rockets[slices.IndexFunc(rockets, func(r rocketView) bool { return r.Rocket == "Teal" })]
	if got, want := b.Text(".landed .big")+" m", (reader{}).Num("height", teal.State.HighestM, nil); got != want {
		t.Errorf("the page says %s highest, the station %s", got, want)
	}
	b.Open("/flights")
	results, err := v.Flights(t.Context(), "now")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := b.Text("td[data-label=Apogee]"), (reader{}).Num("height", results[0].ApogeeM, results[0].ApogeeSD); got != want {
		t.Errorf("the list says %q, the archive %q", got, want)
	}
	b.Quiet()
}

// browserAlarm lets a parachute fail: the alarm is seen, heard and acknowledged.
func browserAlarm(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/")
	if got := b.Text("#sound"); !strings.Contains(got, "OFF") {
		t.Errorf("before anybody turned it on, the sound button says %q", got)
	}
	b.Click("#sound")
	b.Until("the audio graph to run", `sound.dataset.state === 'running' && sound.textContent.includes('on')`, 5*time.Second)
	stop := flying(t, v, 12*time.Second, 3, hop{rocket: "Rust", link: "pad-radio", pad: 14, after: 60, speed: 80, ballistic: true, cell: 4})
	b.Until("the alarm", `document.querySelector('.alarm.p1')`, 30*time.Second)
	stop() // however slow this machine is, the rocket is still up
	raised, err := v.Alarms(t.Context(), storage.Query{Session: "now"})
	if err != nil {
		t.Fatal(err)
	}
	newest := alarm.Newest{}
	for i := range raised {
		newest.Take(&raised[i])
	}
	b.Until("all that was raised by then", fmt.Sprintf(`board.picture.alarms.size === %d`, len(newest)), 10*time.Second)
	b.Until("its tone", `sound.dataset.last === '1'`, 3*time.Second)
	b.Until("its words for screen readers", `document.getElementById('say-now').textContent.includes('Rust')`, 3*time.Second)
	b.Size(1920, 1080, 1, false)
	b.Shot("alarm-heard")
	var up struct{ Top, Bottom, Height float64 }
	b.Eval(`(() => { const r = document.querySelector('.alarm.p1').getBoundingClientRect(); return { Top: r.top, Bottom: r.bottom, Height: r.height }; })()`, &up)
	if up.Top < 0 || up.Bottom > 1080 || up.Height < 100 {
		t.Errorf("the alarm stands from %g to %g px", up.Top, up.Bottom)
	}
	b.Click(".alarm.p1 .ack")
	b.Until("no alarm that calls for eyes", `document.querySelectorAll('.alarm.p1').length === 0`, 10*time.Second)
	v.mu.Lock()
	acked := slices.Clone(v.acked)
	v.mu.Unlock()
	if len(acked) == 0 {
		t.Error("nothing was acknowledged")
	}
	var played int
	b.Eval(`Number(sound.dataset.played)`, &played)
	if played < 2 { // the one that shows it works, and the alarm's
		t.Errorf("%d tones were played", played)
	}
	b.Quiet()
}

// browserReplay seeks, pauses and changes the speed; the page says that it is a
// replay and offers no acknowledgement.
func browserReplay(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	s, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/sessions/" + day)
	b.Until("the picture", `board.picture.states.size === 3`, 10*time.Second)
	b.Click("#play") // pause
	b.Eval(`(() => { const s = document.getElementById('seek'); s.value = '28.5'; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change')); })()`, nil)
	b.Until("Teal in the air", `document.querySelector('.flying[data-rocket=Teal]')`, 10*time.Second)
	one, err := s.session(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.newPlayer(t.Context(), one, 28.5, 0)
	if err != nil {
		t.Fatal(err)
	}
	var teal *flight.State
	for _, st := range p.hub.states() {
		if st.Rocket == "Teal" {
			teal = st
		}
	}
	want := strings.TrimSuffix(reader{}.Num("height", teal.AltitudeM, nil), " m")
	b.Until("the height at that instant, "+want, fmt.Sprintf(`document.querySelector('.flying[data-rocket=Teal] .big').textContent === %q`, want), 5*time.Second)
	if got := b.Text("#replay-time"); got != "0:28 of 1:47" {
		t.Errorf("the replay stands at %q", got)
	}
	if got := b.Text(".replay-sign"); !strings.Contains(got, "REPLAY") || !strings.Contains(got, "not live") {
		t.Errorf("the sign says %q", got)
	}
	b.Click("[data-speed='16']")
	b.Click("#play")
	b.Until("an alarm of the past", `document.querySelector('.alarm')`, 10*time.Second)
	var offered int
	b.Eval(`[...document.querySelectorAll('.alarm .ack')].filter(a => !a.hidden).length`, &offered)
	if offered != 0 {
		t.Errorf("%d acknowledgements are offered in a replay", offered)
	}
	b.Until("the end", `document.getElementById('play').textContent === 'Again'`, 20*time.Second)
	var stale bool
	b.Eval(`document.querySelector('.board').classList.contains('stale')`, &stale)
	if stale {
		t.Error("a replay that is over looks like a stream that stopped")
	}
	b.Quiet()
}

// holder is a server in front of another that can hold every answer back.
type holder struct {
	next http.Handler
	mu   sync.Mutex
	held chan struct{} // closed when answers go on; nil when they go
}

func (h *holder) hold() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.held = make(chan struct{})
}

func (h *holder) release() {
	h.mu.Lock()
	defer h.mu.Unlock()
	close(h.held)
	h.held = nil
}

func (h *holder) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h.next.ServeHTTP(&heldWriter{w, h, r}, r)
}

type heldWriter struct {
	http.ResponseWriter
	h *holder
	r *http.Request
}

func (w *heldWriter) Write(b []byte) (int, error) {
	w.h.mu.Lock()
	held := w.h.held
	w.h.mu.Unlock()
	if held != nil {
		select {
		case <-held:
		case <-w.r.Context().Done():
		}
	}
	return w.ResponseWriter.Write(b)
}

func (w *heldWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// browserStale: when the stream stops, the page says so within 2 s and strikes
// its numbers; when it goes on, so does the page. A rocket whose frames stop is
// marked by itself.
func browserStale(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	s, err := New(v.options())
	if err != nil {
		t.Fatal(err)
	}
	stop, err := s.Watch(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	h := &holder{next: s.Handler()}
	srv := httptest.NewServer(h)
	t.Cleanup(func() { close(s.stopping); srv.CloseClientConnections(); srv.Close(); stop() })
	b := browser.Tab(t, srv.URL)
	b.Open("/")
	flying(t, v, 2500*time.Millisecond, 1, hop{rocket: "Teal", link: "pad-radio", pad: 120, noFlight: true, cell: 4}, hop{rocket: "Rust", link: "pad-radio", pad: 3, noFlight: true, cell: 4})
	b.Until("numbers", `board.picture.states.size === 2`, 10*time.Second)
	b.Until("Rust marked as silent", `document.querySelector('[data-rocket=Rust]').dataset.go === 'stale'`, 10*time.Second)
	if got := b.Text("[data-rocket=Rust] .radio"); !strings.HasPrefix(got, "NO FRAMES for") {
		t.Errorf("Rust's card says %q", got)
	}
	if got := b.Text("[data-rocket=Teal] .radio"); strings.Contains(got, "NO FRAMES") {
		t.Errorf("Teal's card says %q", got)
	}
	h.hold()
	begin := time.Now()
	b.Until("stale", `document.querySelector('.board.stale') && !document.getElementById('stopped').hidden`, 5*time.Second)
	if d := time.Since(begin); d > 2*time.Second {
		t.Errorf("the page took %v to say that the stream had stopped", d)
	}
	if got := b.Text("#stopped"); !strings.HasPrefix(got, "NOT LIVE") {
		t.Errorf("it says %q", got)
	}
	if got := b.Text("[data-rocket=Teal] .sign"); got != "Not known" {
		t.Errorf("while nothing is heard, Teal's sign says %q", got)
	}
	b.Shot("board-stopped")
	h.release()
	b.Until("live again", `!document.querySelector('.board.stale') && document.getElementById('stopped').hidden`, 10*time.Second)
	b.Quiet()
}

// browserEscape: markup in every text that comes from outside stays text.
func browserEscape(t *testing.T, browser *browsertest.Browser) {
	const evil = `<img src=x onerror="window.owned=1"><script>window.owned=1</script>"'&`
	v := newInvented()
	opt := v.options()
	opt.Station = evil
	opt.Rockets = []flight.Rocket{{Name: evil}}
	_, base := serve(t, opt)
	hops := []hop{{rocket: evil, link: evil, pad: 20, after: 12, speed: 35, sink: 6, cell: 4}}
	v.record("evil", inventedEpoch, hops...)
	v.notes = []storage.Note{{Session: "evil", Rocket: evil, Flight: 1, At: inventedEpoch, Text: evil}}
	for i := range v.events["evil"] {
		v.events["evil"][i].Note = evil
	}
	st := stateOf(evil, 3)
	st.Phase, st.Link, st.NotYet = flight.Waiting, evil, []string{evil}
	b := browser.Tab(t, base)
	id := url.PathEscape(FlightID{"evil", evil, 1}.String())
	for _, page := range []string{"/", "/flights", "/flights/" + id, "/flights/" + id + "/report", "/sessions", "/sessions/evil", "/links", "/compare?flight=" + id, "/clock", "/" + url.PathEscape(evil)} {
		b.Open(page)
		now := *st
		now.Heard = time.Now()
		v.publish(Message{State: &now})
		f := frameOf(&v.samples["evil"][0])
		f.Bytes = []byte(evil)
		v.publish(Message{Frame: &f})
		v.publish(Message{Sample: &v.samples["evil"][0]})
		a := alarmForTest()
		a.Rocket, a.Say, a.Reason, a.Kind = evil, evil, evil, evil
		v.publish(Message{Alarm: a})
		switch {
		case page == "/":
			b.Until("the texts on the board", `document.querySelector('[data-go=notyet] .reasons li') && document.querySelector('.alarm .say')`, 10*time.Second)
			if got := b.Text(".reasons li"); got != evil {
				t.Errorf("the reason reads %q", got)
			}
		case page == "/flights/"+id:
			b.Until("notes and plots", `window.flightReady && document.querySelector('#notes li')`, 10*time.Second)
			if got := b.Text("#notes li"); !strings.HasPrefix(got, evil) {
				t.Errorf("the note reads %q", got)
			}
		case page == "/links":
			b.Eval(`history.replaceState(null, '', '/links')`, nil)
		}
		var bad struct {
			Owned          bool
			Images, Inside int
		}
		b.Eval(`({ Owned: 'owned' in window, Images: document.images.length, Inside: document.querySelectorAll('main script').length })`, &bad)
		if bad.Owned || bad.Images > 0 || bad.Inside > 0 {
			t.Errorf("%s: markup came alive: %+v", page, bad)
		}
	}
	b.Quiet("404") // the page that is not there was asked for
}

// browserViewer: a viewer sees the alarm and no way to acknowledge it.
func browserViewer(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	opt := v.options()
	opt.Access = Access{CrewHash: cheapHash(t, "crew of north-field"), ViewerHash: cheapHash(t, "guests welcome")}
	_, base := serve(t, opt)
	b := browser.Tab(t, base)
	b.Open("/links")
	if got := b.Text("h1"); got != "Sign in" {
		t.Fatalf("a stranger sees %q", got)
	}
	b.Eval(contrastScript, nil)
	wantContrast(t, b, "/signin")
	b.Shots("signin")
	b.Eval(`document.querySelector('input[type=password]').value = 'guests welcome'`, nil)
	b.Click("main form button")
	b.Until("the page asked for", `location.pathname === '/links' && document.querySelector('h1').textContent === 'Links'`, 10*time.Second)
	b.Open("/")
	v.publish(Message{Alarm: alarmForTest()})
	b.Until("the alarm", `document.querySelector('.alarm.p1')`, 10*time.Second)
	var offered bool
	b.Eval(`!document.querySelector('.alarm .ack').hidden`, &offered)
	if offered {
		t.Error("a viewer is offered to acknowledge")
	}
	b.Open("/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1"))
	b.Until("the plots", `window.flightReady`, 10*time.Second)
	b.Eval(`!!document.getElementById('note-form')`, &offered)
	if offered {
		t.Error("a viewer is offered to write notes")
	}
	b.Quiet()
}

// browserNotes types a note and finds it again, and reads the frames behind an
// instant.
func browserNotes(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	page := "/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1")
	b.Open(page)
	b.Until("the plots", `window.flightReady`, 10*time.Second)
	b.Eval(`document.getElementById('note-text').value = '0.6 l, 5 bar, gusty'`, nil)
	b.Click("#note-form button")
	b.Until("the note", `document.querySelector('#notes li')?.textContent.startsWith('0.6 l, 5 bar, gusty')`, 10*time.Second)
	b.Open(page)
	b.Until("the note after loading again", `document.querySelector('#notes li')?.textContent.startsWith('0.6 l, 5 bar, gusty')`, 10*time.Second)
	b.Until("the plots", `window.flightReady`, 10*time.Second)
	b.Click(".events .mark")
	b.Until("frames", `document.querySelectorAll('#frames tbody tr').length >= 5 && document.querySelector('#frames .chosen')`, 10*time.Second)
	if got := b.Text("#frames .chosen td:nth-child(3)"); !strings.Contains(got, "24 50 4c 52 4b") || !strings.Contains(got, "$PLRK,Teal") {
		t.Errorf("the frame reads %q", got)
	}
	b.Until("the form's script", `window.flightReady`, 10*time.Second)
	// It was no flight: the page says so, and the button counts it again.
	b.Eval(`document.getElementById('void-why').value = 'a hand on the pad'`, nil)
	b.Click("#void-form button")
	b.Until("that it is void", `document.querySelector('.verdict-line').textContent.includes('void: a hand on the pad') && document.getElementById('void-form').dataset.void === 'false'`, 10*time.Second)
	b.Until("the form's script", `window.flightReady`, 10*time.Second)
	b.Click("#void-form button")
	b.Until("that it counts", `!document.querySelector('.verdict-line').textContent.includes('void') && document.getElementById('void-why')`, 10*time.Second)
	b.Quiet()
}

// browserLinks shows what comes on a link, in hex and decoded, and what was
// refused.
func browserLinks(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	flying(t, v, 0, 1, hop{rocket: "Teal", link: "pad-radio", pad: 60, noFlight: true, cell: 4})
	b.Open("/links")
	b.Until("frames", `document.querySelectorAll('#raw tr').length >= 5`, 10*time.Second)
	b.Until("decoded ones", `document.querySelector('#raw tr:nth-child(3) td:nth-child(4)').textContent.includes('pressure_pa')`, 10*time.Second)
	if got := b.Text("#rejected"); !strings.Contains(got, "checksum") {
		t.Errorf("refused: %q", got)
	}
	b.Click("#hold")
	var first, later string
	b.Eval(`document.querySelector('#raw').textContent`, &first)
	b.Until("more news", `(window.n0 ??= links.heard, links.heard > n0 + 600)`, 10*time.Second)
	b.Eval(`document.querySelector('#raw').textContent`, &later)
	if first != later {
		t.Error("held still, the list moves")
	}
	// What is refused can be asked about: the guess stands beside the frame as it
	// came, and its text can be copied.
	b.Click(".link .guess")
	b.Until("the guess", `document.querySelectorAll('#guess tbody tr').length === 5`, 10*time.Second)
	if got := b.Text("#guess tbody tr:nth-child(2)"); !strings.Contains(got, "986.40") || !strings.Contains(got, "98640 Pa") || !strings.Contains(got, "sure: 986.38") {
		t.Errorf("a field of the guess: %q", got)
	}
	b.Until("the text", `document.getElementById('guess-text').value.includes('[[layout]]')`, time.Second)
	b.Click("#guess-copy")
	b.Until("word of the copy", `document.getElementById('guess-copied').textContent !== ''`, 5*time.Second)
	b.Quiet()
}

// browserClock offers the browser's time to a station that is 3 h behind.
func browserClock(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/clock")
	b.Until("the difference", `document.getElementById('difference').textContent === 'station behind by 3.0 h'`, 10*time.Second)
	if got := b.Text(".nav a[href='/clock']"); !strings.Contains(got, "?") {
		t.Errorf("while the clock is not trusted the way to its page reads %q", got)
	}
	b.Click("#offer")
	b.Until("the station's agreement", `document.getElementById('offer-status').textContent === 'The station took it.'`, 10*time.Second)
	b.Until("no difference", `document.getElementById('difference').textContent === 'less than 0.5 s'`, 10*time.Second)
	b.Until("the new trust", `document.querySelector('.clock-state').textContent === "The station's clock is trusted: fixed."`, 5*time.Second)
	if got := b.Text(".nav a[href='/clock']"); strings.Contains(got, "?") {
		t.Errorf("with a trusted clock the way to its page reads %q", got)
	}
	v.mu.Lock()
	off := v.fixed - 3*time.Hour
	v.mu.Unlock()
	if off.Abs() > 200*time.Millisecond {
		t.Errorf("the station was set %v wrong", off)
	}
	b.Quiet()
}
