package alarm

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/phrase"
)

// The life cycle follows the states of IEC 62682 (from memory): normal,
// unacknowledged, acknowledged, returned to normal unacknowledged.
func TestLifeCycle(t *testing.T) {
	s := newScene(t, Config{})
	open := func() []flight.Alarm { return s.book.Open() }
	low := func() { s.set(decode.CellV, 3.52).run(6, nil) }
	high := func() { s.set(decode.CellV, 4.0).run(8, nil) }
	s.run(6, nil)
	if len(open()) != 0 {
		t.Fatalf("open before anything happened: %v", open())
	}

	low()
	a := s.find("cell-low")
	want := flight.Alarm{Session: "s1", ID: "Teal/cell-low/1", Change: 1, Rocket: "Teal", Kind: "cell-low", Priority: flight.Act,
		Active: true, RaisedAt: a.RaisedAt, ChangedAt: a.RaisedAt, Say: a.Say, Reason: a.Reason,
		SayPhrase: phrase.Of("cell-low.say", phrase.Word("rocket", "Teal")), ReasonPhrase: a.ReasonPhrase}
	if d := cmp.Diff([]flight.Alarm{want}, open()); d != "" {
		t.Errorf("raised (-want +got):\n%s", d)
	}

	high() // returned to normal, nobody has acknowledged: it stays visible
	if got := open(); len(got) != 1 || got[0].Active || got[0].Acked || got[0].Change != 2 {
		t.Errorf("returned to normal: %+v", got)
	}

	low() // the same alarm again, to be acknowledged again
	if got := open(); len(got) != 1 || !got[0].Active || got[0].ID != a.ID || got[0].Change != 3 || !got[0].RaisedAt.After(a.RaisedAt) {
		t.Errorf("raised again: %+v", got)
	}
	if got := s.book.Ack(a.ID, s.at(s.now)); len(got) != 1 || !got[0].Acked || !got[0].Active || got[0].Change != 4 {
		t.Errorf("acknowledged: %+v", got)
	}
	if got := s.book.Ack(a.ID, s.at(s.now)); len(got) != 0 {
		t.Errorf("acknowledged twice: %+v", got)
	}

	high() // acknowledged and returned to normal: gone
	if got := open(); len(got) != 0 {
		t.Errorf("still open: %+v", got)
	}
	low() // a new one
	if got := open(); len(got) != 1 || got[0].ID != "Teal/cell-low/2" || got[0].Change != 1 || got[0].Acked {
		t.Errorf("the next: %+v", got)
	}

	high()
	if got := s.book.Ack("Teal/cell-low/2", s.at(s.now)); len(got) != 1 || len(open()) != 0 {
		t.Errorf("acknowledged after its end: %+v, open %+v", got, open())
	}
	if got := s.book.Ack("no such alarm", s.at(s.now)); len(got) != 0 {
		t.Errorf("acknowledged what is not there: %+v", got)
	}
}

func TestRestoreAfterARestart(t *testing.T) {
	s := newScene(t, Config{})
	s.run(6, nil).set(decode.CellV, 3.52).run(6, nil)
	acked := s.book.Ack("Teal/cell-low/1", s.at(s.now))[0]

	// Replaying the same samples knows nothing of the acknowledgement.
	r := newScene(t, Config{})
	r.run(6, nil).set(decode.CellV, 3.52).run(6, nil)
	old := flight.Alarm{Session: "s1", ID: "Teal/hung/4", Change: 1, Rocket: "Teal", Kind: "hung", Priority: flight.Act}
	r.book.Restore([]flight.Alarm{acked, old, {ID: "disk/1", Kind: "disk-full"}})
	got := r.book.Open()
	if len(got) != 2 || !got[0].Acked || got[0].Change != acked.Change || got[1].ID != old.ID {
		t.Errorf("restored: %+v", got)
	}
	r.set(decode.CellV, 4).run(8, nil)
	if got := r.book.Open(); len(got) != 1 || got[0].ID != old.ID {
		t.Errorf("after the return to normal: %+v", got)
	}
}

func TestMostUrgentFirst(t *testing.T) {
	s := newScene(t, Config{})
	s.rssi = -120
	s.set(decode.CellV, 3.52).run(10, nil).climb().apogee().fall(2)
	got := []string{}
	for _, a := range s.book.Open() {
		got = append(got, fmt.Sprintf("%d %v %s", a.Priority, a.Active, a.Kind))
	}
	want := []string{"1 true ballistic", "1 true no-release", "2 true cell-low", "3 true weak-signal"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestSilencedKinds(t *testing.T) {
	s := newScene(t, Config{Thresholds: Thresholds{Off: []string{"cell-low"}}})
	s.set(decode.CellV, 3.52).run(10, nil)
	if len(s.raised) != 0 {
		t.Errorf("raised %v", s.kinds())
	}
}

func TestNotYet(t *testing.T) {
	s := newScene(t, Config{})
	check := func(rocket string, want ...string) {
		t.Helper()
		var got []string
		for _, p := range s.book.NotYet(rocket) {
			got = append(got, phrase.Reader{}.Write(p, ""))
		}
		if len(got) != len(want) {
			t.Errorf("%s: %q, want %d reasons", rocket, got, len(want))
			return
		}
		for i, w := range want {
			if !strings.Contains(got[i], w) {
				t.Errorf("%s: %q, want %q in it", rocket, got[i], w)
			}
		}
	}
	check("Teal", "not heard yet")
	check("Moss", "not configured and not heard")
	s.run(2, nil)
	check("Teal", "learning the pad's level")
	s.run(6, nil)
	check("Teal")
	s.rssi = -120 // to know, not to wait for
	s.run(8, nil)
	check("Teal")
	s.set(decode.CellV, 3.52).run(6, nil)
	check("Teal", "rests at 3.5")
	s.mute = true
	s.run(5, nil)
	check("Teal", "not heard for 5 s", "rests at 3.5")
	s.mute = false
	s.set(decode.CellV, 4).run(10, nil).climb()
	check("Teal", "in flight")
	s.apogee().land(0).run(5, nil)
	check("Teal", "landed")

	q := s.sample("id-9")
	st := s.state()
	st.Rocket, st.Phase = "id-9", flight.Waiting
	s.book.Sample(q, st, nil)
	check("id-9", "nobody has configured", "learning")

	p := newScene(t, Config{Thresholds: Thresholds{Water: Limits{Arms: "pad"}}})
	p.run(8, nil)
	s = p
	check("Teal", "not armed")
}

func TestSameInputSameOutput(t *testing.T) {
	fly := func() []byte {
		s := newScene(t, Config{})
		s.run(10, nil).climb().apogee().fall(2.5)
		s.mute = true
		s.run(5, nil)
		out, err := json.Marshal(s.all)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	a, b := fly(), fly()
	if string(a) != string(b) || len(a) < 100 {
		t.Errorf("two runs of the same input differ:\n%s\n%s", a, b)
	}
}

// A sample in calm flight or on the pad costs no allocation, nor does a tick.
func TestNoAllocationWhileNothingHappens(t *testing.T) {
	s := newScene(t, Config{Site: flight.Site{FieldRadiusM: 200, LatitudeDeg: num(45), LongitudeDeg: num(6)}})
	s.run(20, nil)
	q, st := s.sample("Teal"), s.state()
	i := 0
	if n := testing.AllocsPerRun(500, func() {
		i++
		q.Heard = s.at(s.now + 0.02*float64(i))
		q.At, q.Seq, q.Clock = q.Heard, s.seq+int64(i), int64((s.now+s.clock+0.02*float64(i))*1e6)
		q.Values.Values[indexOf(q, decode.PressurePa)] += float64(i%3) - 1
		s.book.Sample(q, st, nil)
		s.book.Tick(q.Heard)
	}); n != 0 {
		t.Errorf("%v allocations for a sample and a tick, want 0", n)
	}
}

func indexOf(s *decode.Sample, name string) int {
	for i, n := range s.Values.Names {
		if n == name {
			return i
		}
	}
	return -1
}

func TestMemoryIsBounded(t *testing.T) {
	s := newScene(t, Config{})
	for i := range 5 * maxGuests {
		q := s.sample(fmt.Sprintf("id-%d", i))
		st := s.state()
		st.Rocket = q.Rocket
		s.book.Sample(q, st, nil)
	}
	if s.book.guests != maxGuests || s.book.unheard == 0 {
		t.Errorf("%d of nobody kept and %d not, want %d kept", s.book.guests, s.book.unheard, maxGuests)
	}
}

// Whatever comes in, the changes of each alarm count up by one and Open agrees
// with them.
func TestAnyInputKeepsTheLifeCycle(t *testing.T) {
	phases := []flight.Phase{flight.Waiting, flight.Boost, flight.Coast, flight.Descent, flight.Landed}
	events := []flight.Kind{flight.Liftoff, flight.Burnout, flight.Apogee, flight.Release, flight.Touchdown, flight.Reboot}
	numbers := rapid.OneOf(rapid.Float64Range(-50, 50), rapid.Float64Range(-1e6, 1e6), rapid.Just(math.NaN()), rapid.Just(math.Inf(1)))
	rapid.Check(t, func(rt *rapid.T) {
		s := newScene(t, Config{Site: flight.Site{FieldRadiusM: 100, WindMps: 3}})
		latest := map[string]flight.Alarm{}
		take := func(changes []flight.Alarm) {
			for _, a := range changes {
				if a.Change != latest[a.ID].Change+1 {
					rt.Fatalf("change %d of %s after %d", a.Change, a.ID, latest[a.ID].Change)
				}
				if a.Active && a.ChangedAt.Equal(a.RaisedAt) && (a.Say == "" || a.Reason == "") {
					rt.Fatalf("%s is raised without words", a.ID)
				}
				latest[a.ID] = a
			}
		}
		for range rapid.IntRange(1, 60).Draw(rt, "steps") {
			s.now += rapid.Float64Range(-0.1, 8).Draw(rt, "dt")
			switch rapid.IntRange(0, 9).Draw(rt, "what") {
			case 0:
				take(s.book.Tick(s.at(s.now)))
			case 1:
				for id := range latest {
					take(s.book.Ack(id, s.at(s.now)))
					break
				}
			default:
				s.seq += int64(rapid.IntRange(-3, 2000).Draw(rt, "seq"))
				s.boot = uint32(rapid.IntRange(0, 3).Draw(rt, "boot"))
				s.clock = rapid.Float64Range(0, 30).Draw(rt, "clock")
				for _, c := range []string{decode.PressurePa, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed, decode.AccelMps2, decode.LatitudeDeg, decode.LongitudeDeg, bottlePa} {
					s.ch[c] = numbers.Draw(rt, c)
				}
				st := s.state()
				st.Phase = rapid.SampledFrom(phases).Draw(rt, "phase")
				for _, p := range []**float64{&st.AltitudeM, &st.AltitudeSD, &st.SpeedMps, &st.SpeedSD, &st.ToApogeeS, &st.ToApogeeSD} {
					v := numbers.Draw(rt, "state")
					*p = &v
				}
				var ev []flight.Event
				if rapid.Bool().Draw(rt, "event") {
					h := numbers.Draw(rt, "height")
					ev = append(ev, flight.Event{Rocket: "Teal", Kind: rapid.SampledFrom(events).Draw(rt, "kind"), At: s.at(s.now), AltitudeM: &h})
				}
				take(s.book.Sample(s.sample("Teal"), st, ev))
			}
			open := map[string]bool{}
			for _, a := range s.book.Open() {
				open[a.ID] = true
				if d := cmp.Diff(latest[a.ID], a); d != "" {
					rt.Fatalf("open differs from the last change (-change +open):\n%s", d)
				}
			}
			for id, a := range latest {
				if want := a.Active || !a.Acked; open[id] != want {
					rt.Fatalf("%s: open %v, want %v", id, open[id], want)
				}
			}
		}
	})
}

// Each kind has a page with the four parts, each page a kind, and each limit
// that a page names exists.
func TestPagesAndKindsAgree(t *testing.T) {
	files, err := os.ReadDir("pages")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(Kinds()) {
		t.Errorf("%d pages, %d kinds", len(files), len(Kinds()))
	}
	limits := map[string]bool{}
	for i := range reflect.TypeFor[Limits]().NumField() {
		key, _, _ := strings.Cut(reflect.TypeFor[Limits]().Field(i).Tag.Get("toml"), ",")
		limits[key] = true
	}
	named := map[string]bool{}
	item := regexp.MustCompile("(?m)^- `([a-z0-9_]+)`$")
	for _, k := range Kinds() {
		text, ok := Page(k.Kind)
		if !ok {
			t.Errorf("%s has no page", k.Kind)
		}
		for _, part := range []string{"# " + k.Kind + "\n", k.Title[1:], "## What it means", "## What to do", "## How it is found", "## What moves it"} {
			if !strings.Contains(text, part) {
				t.Errorf("page of %s: no %q", k.Kind, part)
			}
		}
		for _, m := range item.FindAllStringSubmatch(text, -1) {
			named[m[1]] = true
			if !limits[m[1]] {
				t.Errorf("page of %s names the limit %s, which does not exist", k.Kind, m[1])
			}
		}
	}
	for l := range limits {
		if !named[l] {
			t.Errorf("no page names the limit %s", l)
		}
	}
	if _, ok := Page("../kinds"); ok {
		t.Error("a page outside of the pages")
	}
}

func TestThresholdsOfTheConfiguration(t *testing.T) {
	var c struct {
		Alarm Thresholds `toml:"alarm"`
	}
	if err := toml.Unmarshal([]byte("[alarm]\noff = [\"losses\"]\n[alarm.water]\nhung_m = 9.0\n[alarm.solid]\narms = \"pad\"\n"), &c); err != nil {
		t.Fatal(err)
	}
	if err := c.Alarm.Validate(); err != nil {
		t.Fatal(err)
	}
	if w := c.Alarm.limitsFor("water"); w.HungM != 9 || w.NoiseM != defaults("water").NoiseM || w.Arms != "flight" {
		t.Errorf("water: %+v", w)
	}
	if w := c.Alarm.limitsFor("solid"); w.Arms != "pad" || w.HungM != defaults("solid").HungM {
		t.Errorf("solid: %+v", w)
	}
	for _, bad := range []struct {
		t    Thresholds
		want string
	}{
		{Thresholds{Off: []string{"balistic"}}, `no alarm is called "balistic"`},
		{Thresholds{Water: Limits{HungM: -3}}, "alarm.water.hung_m: -3 is negative"},
		{Thresholds{Solid: Limits{StuckS: math.NaN()}}, "alarm.solid.stuck_s"},
		{Thresholds{Solid: Limits{WeakDbm: 110}}, "alarm.solid.weak_dbm"},
		{Thresholds{Water: Limits{Arms: "later"}}, "alarm.water.arms"},
		{Thresholds{Water: Limits{FastShare: 0.9}}, "alarm.water.fast_share"},
		{Thresholds{Water: Limits{SlowShare: 1.5}}, "alarm.water.slow_share"},
		{Thresholds{Water: Limits{BallisticShare: 1.5}}, "alarm.water.ballistic_share"},
	} {
		if _, err := New(Config{Thresholds: bad.t}); err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("got %v, want %q", err, bad.want)
		}
	}
}

// One sample through all rules, on the pad.
func BenchmarkSample(b *testing.B) {
	book, err := New(Config{Session: "s1", Rockets: []flight.Rocket{teal()}})
	if err != nil {
		b.Fatal(err)
	}
	names := []string{decode.PressurePa, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed}
	values := []float64{98000, 4, 1000, 0, 0}
	q := decode.Sample{Session: "s1", Link: "pad", Rocket: "Teal", Boot: 1, Values: decode.Channels{Names: names, Values: values}}
	st := flight.State{Rocket: "Teal", Phase: flight.Waiting, AltitudeM: num(0), SpeedMps: num(0), CellV: &values[1], ReleaseUs: &values[2]}
	b.ReportAllocs()
	for i := range b.N {
		q.Heard = start.Add(20 * time.Millisecond * time.Duration(i))
		q.Seq, q.Clock = int64(i), int64(i)*20000
		values[0] = 98000 + float64(i%7)
		book.Sample(&q, &st, nil)
	}
}
