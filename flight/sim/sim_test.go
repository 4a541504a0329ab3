package sim

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/ingest"
)

var epoch = time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)

func demo(t testing.TB) Scenario {
	t.Helper()
	sc, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func newSim(t testing.TB, sc Scenario, seed uint64) *Sim {
	t.Helper()
	s, err := New(sc, seed, epoch)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// clean is the demo without losses, errors and noise.
func clean(t testing.TB) Scenario {
	sc := demo(t)
	for i := range sc.Links {
		l := &sc.Links[i]
		l.Loss, l.BitErrors, l.GarbagePerMin = 0, 0, 0
	}
	return sc
}

// station is what hears the chunks: receivers and one decoder.
type station struct {
	clock     *ingest.VirtualClock
	receivers map[string]*ingest.Receiver
	decoder   *decode.Decoder
	samples   []decode.Sample
	rejects   int
	frames    int
}

func newStation(t testing.TB, sc Scenario) *station {
	t.Helper()
	st := &station{clock: ingest.NewVirtualClock(epoch), receivers: map[string]*ingest.Receiver{}}
	cfg := decode.Config{Layouts: sc.Layouts}
	built, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range sc.Links {
		lc := ingest.LinkConfig{Name: l.Name, Baud: l.Baud, Layout: l.Layout, Serial: "/dev/none"}
		if l.Kind == kindUDP {
			lc.Serial, lc.UDP = "", ":9750"
		}
		var framing ingest.Framing
		for _, y := range append(built, sc.Layouts...) {
			if y.Name == l.Layout {
				framing = y.Framing
			}
		}
		r, err := ingest.NewReceiver(lc, framing, ingest.Env{Clock: st.clock.Clock()})
		if err != nil {
			t.Fatal(err)
		}
		st.receivers[l.Name] = r
		cfg.Links = append(cfg.Links, decode.LinkLayouts{Link: l.Name, Layouts: []string{l.Layout}})
	}
	for _, b := range sc.Boards {
		cfg.Rockets = append(cfg.Rockets, decode.RocketID{Name: b.Rocket.Name, ID: b.Rocket.ID})
	}
	if st.decoder, err = decode.New(cfg); err != nil {
		t.Fatal(err)
	}
	return st
}

func (st *station) hear(t testing.TB, c ingest.Chunk) {
	t.Helper()
	st.clock.Advance(c.Heard)
	err := st.receivers[c.Link].Push(c, func(f ingest.Frame) error {
		st.frames++
		s, err := st.decoder.Decode(f)
		if err != nil {
			st.rejects++
			return nil
		}
		st.samples = append(st.samples, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// fly hears a whole scenario.
func fly(t testing.TB, s *Sim, rounds int) *station {
	t.Helper()
	st := newStation(t, s.Scenario())
	last := time.Duration(-1)
	for c, err := range s.Chunks(rounds) {
		if err != nil {
			t.Fatal(err)
		}
		if c.Heard < last {
			t.Fatalf("chunk of %s at %v after one at %v", c.Link, c.Heard, last)
		}
		last = c.Heard
		st.hear(t, c)
	}
	return st
}

// Over perfect links every sample that a board made comes back, channel by
// channel, through framing, checksum, layout and compensation.
func TestFramesDecodeBackToTheSamples(t *testing.T) {
	s := newSim(t, clean(t), 3)
	st := fly(t, s, 1)
	if st.rejects != 0 {
		t.Errorf("%d of %d frames were rejected", st.rejects, st.frames)
	}
	// What the layouts can hold: their resolution, halved, and a little.
	tolerance := map[string]map[string]float64{
		"Teal": {decode.PressurePa: 0.051, decode.TemperatureC: 0.0051, decode.CellV: 0.00051, decode.ReleaseUs: 0.51},
		"Rust": {decode.PressurePa: 0.051, decode.TemperatureC: 0.051, decode.CellV: 0.00051, decode.ReleaseUs: 0.51},
		// One count of this sensor is 0.05 Pa or so, and the temperature that
		// compensates has its own count.
		"Plum": {decode.PressurePa: 0.5, decode.TemperatureC: 0.01, decode.CellV: 0.00051, decode.ReleaseUs: 0.51},
	}
	for i := range s.scenario.Boards {
		name := s.scenario.Boards[i].Rocket.Name
		f, err := s.fly(i, 0)
		if err != nil {
			t.Fatal(err)
		}
		k := 0
		off := time.Duration((s.scenario.RoundS - s.scenario.BreakS) * 1e9)
		for j := range st.samples {
			got := &st.samples[j]
			if got.Rocket != name {
				continue
			}
			want := &f.Samples[k]
			k++
			if got.Seq != want.Seq || got.Boot != 1 {
				t.Fatalf("%s: heard seq %d boot %d, sent seq %d", name, got.Seq, got.Boot, want.Seq)
			}
			if d := got.Clock - want.Clock; d < -1000 || d > 1000 {
				t.Fatalf("%s seq %d: clock %d us, sent %d", name, got.Seq, got.Clock, want.Clock)
			}
			for ch, tol := range tolerance[name] {
				a, ok := got.Values.Get(ch)
				b, _ := want.Values.Get(ch)
				if !ok || math.Abs(a-b) > tol {
					t.Fatalf("%s seq %d: %s %v, sent %v", name, got.Seq, ch, a, b)
				}
			}
			for _, ch := range []string{decode.ReleaseOn, decode.Armed} {
				a, _ := got.Values.Get(ch)
				if b, _ := want.Values.Get(ch); a != b {
					t.Fatalf("%s seq %d: %s %v, sent %v", name, got.Seq, ch, a, b)
				}
			}
			if late := got.Heard.Sub(want.At); late < 0 || late > 60*time.Millisecond {
				t.Fatalf("%s seq %d: heard %v after it was measured", name, got.Seq, late)
			}
		}
		if k < len(f.Samples) && time.Duration(f.Samples[k].Passed) < off {
			t.Errorf("%s: %d samples came back, the next was sent at %v", name, k, time.Duration(f.Samples[k].Passed))
		}
		if k < 1000 {
			t.Errorf("%s: only %d samples", name, k)
		}
	}
}

// The demo's links lose and damage what their scenario says, and the decoder
// takes no damaged frame for a good one.
func TestLinksLoseAsTheyShould(t *testing.T) {
	sc := demo(t)
	for i := range sc.Links {
		sc.Links[i].Loss, sc.Links[i].Burst = 0.1, 2
		sc.Links[i].BitErrors = 2e-4
	}
	whole := fly(t, newSim(t, clean(t), 5), 1)
	st := fly(t, newSim(t, sc, 5), 1)
	n := func(st *station, name string) (k float64) {
		for i := range st.samples {
			if st.samples[i].Rocket == name {
				k++
			}
		}
		return k
	}
	bits := map[string]float64{"Teal": 24 * 8, "Rust": 50 * 8, "Plum": 22 * 8}
	for name, b := range bits {
		sent := n(whole, name)
		got := n(st, name) / sent
		want := 0.9 * math.Pow(1-2e-4, b)
		sd := math.Sqrt(0.1 * 0.9 * 4 / sent)
		if math.Abs(got-want) > 5*sd+0.01 {
			t.Errorf("%s: %.3f of the frames came through, want about %.3f", name, got, want)
		}
	}
	for i := range st.samples {
		if p, ok := st.samples[i].Values.Get(decode.PressurePa); ok && (p < 9e4 || p > 1.05e5) {
			t.Errorf("sample %d of %s: pressure %g Pa from a damaged frame", i, st.samples[i].Rocket, p)
		}
	}
}

// Reads cut frames anywhere: many chunks end inside one, and some hold pieces
// of two.
func TestSerialReadsAreOfAnySize(t *testing.T) {
	sizes := map[int]int{}
	inside, across := 0, 0
	for c, err := range newSim(t, clean(t), 1).Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
		if c.Link != "pad-radio" {
			continue
		}
		sizes[len(c.Bytes)]++
		if c.Bytes[len(c.Bytes)-1] != 0 {
			inside++
		}
		for _, b := range c.Bytes[:len(c.Bytes)-1] {
			if b == 0 {
				across++
				break
			}
		}
	}
	if len(sizes) < 15 || inside < 500 {
		t.Errorf("%d sizes of chunk, %d end inside a frame, %d across two", len(sizes), inside, across)
	}
}

// A line cannot carry more than its rate.
func TestLineRate(t *testing.T) {
	sc := clean(t)
	n := 0
	var first, last time.Duration
	for c, err := range newSim(t, sc, 1).Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
		if c.Link == "text-radio" {
			if n == 0 {
				first = c.Heard
			}
			n += len(c.Bytes)
			last = c.Heard
		}
	}
	if wire := time.Duration(n) * 10 * time.Second / 38400; wire > last-first+50*time.Millisecond {
		t.Errorf("%d bytes take %v, were heard within %v", n, wire, last-first)
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	sum := func(seed uint64) string {
		h := sha256.New()
		for c, err := range newSim(t, demo(t), seed).Chunks(1) {
			if err != nil {
				t.Fatal(err)
			}
			h.Write([]byte(c.Link))
			h.Write(c.Bytes)
			h.Write([]byte(c.Heard.Truncate(time.Microsecond).String()))
		}
		return hex.EncodeToString(h.Sum(nil))
	}
	a, b, c := sum(1), sum(1), sum(2)
	if a != b {
		t.Error("the same seed gave other bytes")
	}
	if a == c {
		t.Error("another seed gave the same bytes")
	}
}

// A second round is a second flight after a new start of the board.
func TestRounds(t *testing.T) {
	s := newSim(t, clean(t), 9)
	st := fly(t, s, 2)
	if got := len(s.Truth()); got != 6 {
		t.Fatalf("%d flights in the truth, want 6", got)
	}
	boots := map[string]map[uint32]int{}
	for i := range st.samples {
		x := &st.samples[i]
		if boots[x.Rocket] == nil {
			boots[x.Rocket] = map[uint32]int{}
		}
		boots[x.Rocket][x.Boot]++
	}
	for name, b := range boots {
		if len(b) != 2 || b[1] < 1000 || b[2] < 1000 {
			t.Errorf("%s: samples by boot %v, want two boots", name, b)
		}
	}
}

// Stopping early is allowed and asks for no more.
func TestStopEarly(t *testing.T) {
	n := 0
	for _, err := range newSim(t, demo(t), 1).Chunks(0) {
		if err != nil {
			t.Fatal(err)
		}
		if n++; n == 100 {
			break
		}
	}
	if n != 100 {
		t.Errorf("%d chunks", n)
	}
}

// The demo is what a newcomer should see: a wait, three launches one after
// the other, 40 to 120 m, parachutes, one late release.
func TestDemoIsWorthWatching(t *testing.T) {
	sc := demo(t)
	s := newSim(t, sc, 1)
	for _, err := range s.Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
	}
	layouts := map[string]bool{}
	for _, l := range sc.Links {
		layouts[l.Layout] = true
	}
	if len(layouts) != 3 || len(s.Truth()) != 3 {
		t.Fatalf("%d layouts, %d flights", len(layouts), len(s.Truth()))
	}
	late := 0
	var names []string
	for i, tr := range s.Truth() {
		names = append(names, tr.Rocket)
		if tr.ApogeeM < 40 || tr.ApogeeM > 120 || tr.DescentMps == nil || *tr.DescentMps > 7 || tr.ReleaseLagS == nil {
			t.Errorf("flight of %s: %+v", tr.Rocket, tr)
		}
		if math.Abs(tr.ApogeeM/sc.Boards[i].ApogeeM-1) > 0.025 {
			t.Errorf("%s reaches %.1f m, the scenario says %.1f", tr.Rocket, tr.ApogeeM, sc.Boards[i].ApogeeM)
		}
		if *tr.ReleaseLagS > 1.5 {
			late++
		}
		if at := tr.LiftoffAt.Sub(epoch); i == 0 && at < 20*time.Second {
			t.Errorf("%s goes up after %v, before anyone looks", tr.Rocket, at)
		}
	}
	if late != 1 {
		t.Errorf("%d late releases, want one", late)
	}
	if diff := cmp.Diff([]string{"Teal", "Rust", "Plum"}, names); diff != "" {
		t.Errorf("rockets (-want +got)\n%s", diff)
	}
	for _, r := range s.Rockets() {
		if r.MassKg <= 0 || r.ParachuteM <= 0 || r.ExpectApogeeM <= 0 {
			t.Errorf("%s is not described: %+v", r.Name, r)
		}
	}
}

func TestScenarioErrors(t *testing.T) {
	good := DemoText()
	for _, c := range []struct{ old, new, want string }{
		{`baud = 57600`, `baud = 57600` + "\nspeed = 3", "unknown key"},
		{`kind = "udp"`, `kind = "pigeon"`, `kind = "pigeon"`},
		{`baud = 57600`, `baud = 0`, "baud = 0"},
		{`layout = "plum-raw"`, `layout = "plum-x"`, `layout "plum-x" does not exist`},
		{`link = "pad-radio"`, `link = "no-radio"`, `link = "no-radio" does not exist`},
		{`loss = 0.02`, `loss = 1.2`, "loss = 1.2"},
		{`liftoff_s = 24.0`, `liftoff_s = 300.0`, "liftoff_s = 300"},
		{`liftoff_s = 24.0`, `liftoff_s = 100.0`, "too late"},
		{`apogee_m = 74.0`, `apogee_m = 9000.0`, "apogee_m = 9000"},
		{`round_s = 110.0`, `round_s = 1.0`, "round_s = 1"},
		{`name = "Rust"`, `name = "Teal"`, "twice"},
		{`id = 7`, `id = "seven"`, "board.rocket.id"},
	} {
		if !strings.Contains(good, c.old) {
			t.Fatalf("the demo has no %q", c.old)
		}
		sc, err := Parse([]byte(strings.Replace(good, c.old, c.new, 1)))
		if err == nil {
			_, err = New(sc, 1, epoch)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.new, err, c.want)
		}
	}
}

func BenchmarkChunks(b *testing.B) {
	s := newSim(b, demo(b), 1)
	n := 0
	for b.Loop() {
		for c, err := range s.Chunks(1) {
			if err != nil {
				b.Fatal(err)
			}
			n += len(c.Bytes)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/byte")
}
