package influx

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// keeper is a server that keeps what it is sent as such a server does: one point
// for each measurement, tags and time.
type keeper struct {
	*httptest.Server

	mu     sync.Mutex
	away   bool
	once   bool              // it goes away when it has deleted something
	points map[string]string // fields by the rest of the line
	lines  int               // taken, doubled ones included
}

func newKeeper(t testing.TB) *keeper {
	k := &keeper{points: map[string]string{}}
	k.Server = httptest.NewServer(k)
	t.Cleanup(k.Close)
	return k
}

func (k *keeper) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err != nil || k.away {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	switch r.URL.Path {
	case "/api/v2/write":
		for l := range strings.Lines(string(body)) {
			tags, rest, _ := strings.Cut(strings.ReplaceAll(l, `\ `, "\x00"), " ")
			at := rest[strings.LastIndexByte(rest, ' '):]
			k.points[tags+at] = strings.TrimSuffix(rest, at)
			k.lines++
		}
	case "/api/v2/delete":
		k.away = k.once
		var ask struct{ Predicate string }
		if json.Unmarshal(body, &ask) != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		maps.DeleteFunc(k.points, func(tags, _ string) bool {
			return strings.Contains(tags, ","+strings.ReplaceAll(ask.Predicate, `"`, "")+",")
		})
	}
	w.WriteHeader(http.StatusNoContent)
}

func (k *keeper) setAway(away bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.away = away
}

// of is what it has of a session.
func (k *keeper) of(session string) map[string]string {
	k.mu.Lock()
	defer k.mu.Unlock()
	out := maps.Clone(k.points)
	maps.DeleteFunc(out, func(tags, _ string) bool { return !strings.Contains(tags, ",session="+session+",") })
	return out
}

// same checks that a server has of a session exactly what another one gets that
// is filled from the archive.
func (r *rig) same(k *keeper, session string) {
	r.t.Helper()
	full := newKeeper(r.t)
	o := r.optionsAt(full.URL)
	o.Dir = r.t.TempDir()
	b, err := NewBackfill(o, r.archive, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	defer b.Close()
	if _, err := b.Session(r.t.Context(), session, false, nil); err != nil {
		r.t.Fatal(err)
	}
	if diff := cmp.Diff(full.of(session), k.of(session)); diff != "" {
		r.t.Errorf("session %s on the server (-want +got):\n%.3000s", session, diff)
	}
}

// killable is a writer whose stop is that of kill -9: nothing is sent or noted
// any more.
func (r *rig) killable(o Options) (w *Writer, kill func()) {
	w = r.make(o)
	w.every = 0 // a test need not wait
	return w, r.running(func(ctx context.Context) error {
		defer w.server.close()
		attended := make(chan struct{})
		go func() {
			defer close(attended)
			w.completeAll(ctx)
		}()
		err := w.follow.Run(ctx, w.handle)
		<-attended
		return err
	})
}

// TestGoesOn: after a kill the writer goes on in the journal where it was, and
// with another server from the start.
func TestGoesOn(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	w, kill := r.killable(r.optionsAt(k.URL))
	r.publish(1, 500)
	r.settled(w, 30*time.Second)
	r.publish(500, 501)
	r.settled(w, 30*time.Second) // notes the place before
	kill()
	before := k.lines
	r.publish(501, 600)
	w, stop := r.start(r.optionsAt(k.URL))
	if w.follow.From == 0 {
		t.Error("its place is not known")
	}
	stop()
	if again := k.lines - before; again > 300 {
		t.Errorf("%d lines are sent after the kill, all %d of the session again?", again, k.lines)
	}
	r.same(k, "s1")
	other := newKeeper(t)
	_, stop = r.start(r.optionsAt(other.URL))
	stop()
	r.same(other, "s1")
}

// TestNextSessionSendsTheLast: what a killed station could not send is sent from
// the archive when it runs again, with another session.
func TestNextSessionSendsTheLast(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	k.setAway(true)
	w, kill := r.killable(r.optionsAt(k.URL))
	r.publish(1, 200)
	until(t, "trouble", func() bool { return w.State().Trouble != "" })
	if s := w.State(); s.Left == 0 || s.Lines != 0 {
		t.Errorf("while the server is away: %+v", s)
	}
	kill()
	r.startSession("s2")
	k.setAway(false)
	w, stop := r.start(r.optionsAt(k.URL))
	r.publish(1, 100)
	until(t, "the session before", func() bool { return r.complete(w, "s1") })
	stop()
	for _, s := range []string{"s1", "s2"} {
		if r.same(k, s); !r.complete(w, s) {
			t.Errorf("session %s is not noted as complete", s)
		}
	}
}

func (r *rig) complete(w *Writer, session string) bool {
	m, noted, err := w.marks.load(session)
	if err != nil {
		r.t.Fatal(err)
	}
	return noted && m.Complete && !m.Again && !m.Replace
}

// TestVoidLeavesTheServer: a flight that a person takes for none is not on the
// server, whether it is said while the session runs or when it was sent long ago,
// and is there again when it was one after all.
func TestVoidLeavesTheServer(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	w, stop := r.start(r.optionsAt(k.URL))
	for i, rocket := range []string{"Teal", "Rust"} {
		at := epoch.Add(time.Duration(i+1) * time.Second)
		if err := r.journal.Event(&flight.Event{Session: "s1", ID: rocket + "/liftoff", Rocket: rocket, Kind: flight.Liftoff, Flight: 1, At: at, CalledAt: at}); err != nil {
			t.Fatal(err)
		}
	}
	r.publish(1, 60)
	r.settled(w, 30*time.Second)
	flown := func(rocket string) bool {
		for tags := range k.of("s1") {
			if strings.HasPrefix(tags, "event,kind=liftoff,rocket="+rocket) {
				return true
			}
		}
		return false
	}
	say := func(rocket string, void bool) {
		if err := r.archive.SetVoid(t.Context(), sqlite.Void{Session: "s1", Rocket: rocket, Flight: 1, Void: void, At: epoch}); err != nil {
			t.Fatal(err)
		}
	}
	say("Teal", true)
	if !flown("Teal") || !flown("Rust") {
		t.Fatalf("the server has %v", k.of("s1"))
	}
	stop()
	if flown("Teal") || !flown("Rust") || !r.complete(w, "s1") {
		t.Error("at its end the session still has the void flight there, or not the other one")
	}

	r.startSession("s2")
	w = r.make(r.optionsAt(k.URL))
	w.lookAgain = time.Millisecond
	stop = r.running(w.Run)
	say("Rust", true)
	until(t, "that the second is gone", func() bool { return !flown("Rust") })
	say("Teal", false)
	until(t, "that the first is back", func() bool { return flown("Teal") && r.complete(w, "s1") })
	stop()
	r.same(k, "s1")
}

// TestEmptySession: one in which nothing is heard is complete as well.
func TestEmptySession(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	w, stop := r.start(r.optionsAt(k.URL))
	until(t, "the header", func() bool { return w.State().Left == 0 })
	stop()
	if !r.complete(w, "s1") {
		t.Error("it is not noted as complete")
	}
}

// TestJournalClosed: the end of a session as a station makes it. The journal is
// closed first, and the writer completes the session when it is told to stop.
func TestJournalClosed(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	w, stop := r.start(r.optionsAt(k.URL))
	r.publish(1, 100)
	if err := r.journal.Close(time.Hour); err != nil {
		t.Fatal(err)
	}
	until(t, "the rest", func() bool { return w.State().Left == 0 })
	if r.complete(w, "s1") {
		t.Error("it is noted as complete before it has ended")
	}
	stop()
	if r.same(k, "s1"); !r.complete(w, "s1") {
		t.Error("it is not noted as complete")
	}
}

// TestUnreadableJournal: the writer says so at once, and does not wait for the
// end of the session.
func TestUnreadableJournal(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	r.decoder = brokenDecoder{}
	w := r.make(r.optionsAt(k.URL))
	r.publish(1, 2)
	if err := w.Run(t.Context()); !errors.Is(err, errBroken) {
		t.Errorf("%v, want %v", err, errBroken)
	}
	if r.complete(w, "s1") {
		t.Error("the session is noted as complete")
	}
}

var errBroken = errors.New("broken on purpose")

type brokenDecoder struct{}

func (brokenDecoder) Decode(ingest.Frame) (decode.Sample, error) { return decode.Sample{}, errBroken }

// TestReplacementCutShort: the time is fixed, and when at the end the points are
// deleted to be sent anew the server goes away. The station goes on with the same
// session, and then nothing may be left out because it had been sent once.
func TestReplacementCutShort(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	w, stop := r.start(r.optionsAt(k.URL))
	r.publish(1, 100)
	r.settled(w, 30*time.Second)
	if err := r.archive.SetShift(t.Context(), "s1", time.Hour, "test"); err != nil {
		t.Fatal(err)
	}
	r.publish(100, 200)
	k.once = true
	stop()
	if left := len(k.of("s1")); left != 0 || !k.away {
		t.Fatalf("the test wants all points deleted, %d are there", left)
	}
	k.once = false
	k.setAway(false)
	_, stop = r.start(r.optionsAt(k.URL))
	stop()
	r.same(k, "s1")
}

// TestTornMark: a power cut has torn what was noted about a session whose points
// have a time that has been mended since. They are deleted and sent anew.
func TestTornMark(t *testing.T) {
	r, k := newRig(t, "s1"), newKeeper(t)
	if err := r.archive.SetShift(t.Context(), "s1", time.Hour, "test"); err != nil {
		t.Fatal(err)
	}
	w, stop := r.start(r.optionsAt(k.URL))
	r.publish(1, 100)
	stop()
	if err := os.Truncate(w.marks.path("s1"), 0); err != nil {
		t.Fatal(err)
	}
	if err := r.archive.SetShift(t.Context(), "s1", 0, "test"); err != nil {
		t.Fatal(err)
	}
	r.startSession("s2")
	w, stop = r.start(r.optionsAt(k.URL))
	until(t, "the session before", func() bool { return r.complete(w, "s1") })
	stop()
	r.same(k, "s1")
}

// TestWhateverHappens: in any order a station hears, is killed, goes on with its
// session or begins the next one, loses power while it notes how far it is, loses
// its server, and learns the time. In the end the server has what the archive has
// of each session, nothing missing, nothing doubled, nothing at the wrong time.
func TestWhateverHappens(t *testing.T) {
	for seed := range uint64(20) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) { whateverHappens(t, rand.New(rand.NewPCG(seed, 1))) })
	}
}

func whateverHappens(t *testing.T, dice *rand.Rand) {
	r, k := newRig(t, "s1"), newKeeper(t)
	o := r.optionsAt(k.URL)
	o.gather, o.RetryMin, o.RetryMax = time.Millisecond, time.Millisecond, 20*time.Millisecond
	w, kill := r.killable(o)
	sessions, n := []string{"s1"}, uint64(1)
	for range 12 {
		switch dice.IntN(7) {
		case 0, 1:
			r.publish(n, n+80)
			n += 80
		case 2: // it may take part of it
			k.setAway(true)
			r.publish(n, n+20)
			n += 20
		case 3:
			k.setAway(false)
		case 4:
			shift := time.Duration(dice.IntN(1000)) * time.Hour
			if err := r.archive.SetShift(t.Context(), sessions[len(sessions)-1], shift, "test"); err != nil {
				t.Fatal(err)
			}
		case 5:
			kill()
			if dice.IntN(3) == 0 {
				if err := os.Truncate(w.marks.path(w.current), 0); err != nil {
					t.Fatal(err)
				}
			}
			w, kill = r.killable(o)
		case 6:
			kill()
			sessions, n = append(sessions, fmt.Sprint("s", len(sessions)+1)), 1
			r.startSession(sessions[len(sessions)-1])
			w, kill = r.killable(o)
		}
		if dice.IntN(2) == 0 {
			lines := w.State().Lines
			for range 30 {
				if w.State().Lines > lines {
					break
				}
				time.Sleep(time.Millisecond) // only so that kills come at any point
			}
		}
	}
	kill()
	k.setAway(false)
	w, stop := r.start(o)
	until(t, "the sessions before", func() bool {
		all, err := w.marks.noted()
		return err == nil && !slices.ContainsFunc(all, func(k mark) bool { return k.Session != w.current && !k.Complete })
	})
	stop()
	if err := r.writer.Drain(t.Context(), r.journal.State().End); err != nil {
		t.Fatal(err)
	}
	for _, s := range sessions {
		if r.same(k, s); !r.complete(w, s) {
			t.Errorf("session %s is not noted as complete", s)
		}
		if _, err := r.archive.Session(t.Context(), s); errors.Is(err, storage.ErrNoSession) {
			t.Errorf("session %s is not in the archive", s)
		}
	}
}
