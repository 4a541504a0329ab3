package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/logimport"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// recordedAt is when the recorded logs are said to begin.
const recordedAt = "2026-01-01T00:00:00Z"

// bound is what must be true of a recorded flight. The truth is that of
// testdata/recorded/SOURCES.md, why says how wide the source lets it be.
type bound struct {
	what   string
	lo, hi float64
	why    string
	// mayLack: the readings do not tell it for sure, so that it may be missing.
	mayLack bool
	// waits names what must be mended before it holds; empty if it does.
	waits string
}

// recorded is a flight that others have recorded.
type recorded struct {
	file, layout string
	bounds       []bound
	// verdicts are how the verdict may begin; whyVerdict says why.
	verdicts   []string
	whyVerdict string
	alarms     string // kinds that may be raised
}

// mendThrust is what would have to be mended, and is not: live there is nothing else to
// go by. The accelerometer of that log stops at 8 g and reads knocks of up to 87 m/s2
// across the rocket until 3.4 s, so that it is no measure of the speed; its free fall
// after that shows that nothing pushes, as the barometer does.
const mendThrust = "pressure that errs by up to 65 m until 1.3 s after the liftoff"

func recordedFlights() []recorded {
	return []recorded{{
		file: "hermes-flight4.csv", layout: "hermes",
		bounds: []bound{
			{what: "liftoff", lo: 0, hi: 0.8, why: "0.3 s by the accelerometer; the barometer is slower, and 0.3 s of pad are no pad"},
			{what: "apogee_m", lo: 127, hi: 142, why: "134.4 m, 5 % for the air that is not known and the pad of 0.3 s"},
			{what: "apogee", lo: 6.0, hi: 7.0, why: "6.5 s; the top of a mean over half a second is flat by as much"},
			{what: "live apogee_m", lo: 127, hi: 142, why: "as the result"},
			{what: "live apogee", lo: 6.0, hi: 7.0, why: "as the result"},
			{what: "live called", lo: 6.0, hi: 7.2, why: "not before the top, and within 0.6 s of it at 24.5 Hz, of which two thirds repeat"},
			{what: "sink", lo: 4.85, hi: 5.4, why: "5.1 m/s, 4 % for the air, 1 % for the reading of it"},
			{what: "touchdown", lo: 30.5, hi: 32.0, why: "31.5 s; the log ends at 31.9, before a landing can be told from a halt", mayLack: true},
		},
		verdicts: []string{"good", "look: the readings end before the landing"}, whyVerdict: "it came down under its parachute; its log ends where it lands",
		alarms: "silent", // its log ends where it lands
	}, {
		file: "orion-flight3.csv", layout: "orion",
		bounds: []bound{
			{what: "liftoff", lo: 1.4, hi: 3.0, why: "2.18 s by the accelerometer; the barometer is wrong by -13 to +65 m for 1.1 s of thrust"},
			{what: "apogee_m", lo: 22, hi: 34, why: "28 ± 4 m, and 2 m for the level that shifts by 3 to 8 m in the flight"},
			{what: "apogee", lo: 3.7, hi: 4.7, why: "4.2 s: free fall by the accelerometer from 3.9 to 4.4 s, 0.2 s either side for the barometer"},
			{what: "live apogee_m", lo: 22, hi: 34, why: "as the result"},
			{what: "live apogee", lo: 3.7, hi: 4.7, why: "as the result", waits: mendThrust},
			{what: "live called", lo: 3.9, hi: 5.4, why: "not before free fall began; within 1 s of its end at 15.5 Hz, after 65 m of error", waits: mendThrust},
			{what: "sink", lo: 1.7, hi: 2.7, why: "2.2 m/s over a level that shifts by 5 m in 9 s", mayLack: true},
			{what: "touchdown", lo: 15.9, hi: 16.3, why: "16.1 s by the shock of 47 m/s2 that ends its hanging, one reading either side"},
		},
		verdicts: []string{"good", "look"}, whyVerdict: "it came down under its parachute; what else its readings tell is little",
	}, {
		file: "tokai-h57.csv", layout: "tokai",
		bounds: []bound{
			{what: "liftoff", lo: -0.5, hi: 0.5, why: "the log starts at the liftoff, its first line at 0.10 s"},
			{what: "apogee_m", lo: 390, hi: 424, why: "408 m (406 by its team), 4 % for the air"},
			{what: "apogee", lo: 8.9, hi: 9.6, why: "9.35 s less the first line's 0.10; 9.12 by its team"},
			{what: "live apogee_m", lo: 390, hi: 424, why: "as the result"},
			{what: "live apogee", lo: 8.9, hi: 9.6, why: "as the result"},
			{what: "live called", lo: 9.0, hi: 9.9, why: "not before the top, and within half a second of it at 46.7 Hz"},
			{what: "release", lo: 9.3, hi: 10.4, why: "the separation at 9.9 s shows in the pressure; 0.5 s for what fills after it", mayLack: true},
			{what: "sink", lo: 13.5, hi: 14.9, why: "14.2 m/s, 4 % for the air, 1 % for the reading of it"},
		},
		verdicts: []string{"look: it sank at 14"}, whyVerdict: "14.2 m/s is above the 8 m/s of a hard landing",
		alarms: "silent fast-descent", // its log ends 11 m up
	}, {
		file: "ncsu-jackpot3.csv", layout: "ncsu",
		bounds: []bound{
			{what: "liftoff", lo: 5.3, hi: 5.9, why: "5.6 s at 91 Hz, 0.3 s until the barometer shows it"},
			{what: "apogee_m", lo: 1066, hi: 1176, why: "1110 m (1131 by its team), 4 % for the air"},
			{what: "apogee", lo: 20.7, hi: 21.5, why: "21.1 s; a top of 9.8 m/s2 is flat to a metre for 0.45 s either side"},
			{what: "live apogee_m", lo: 1066, hi: 1176, why: "as the result"},
			{what: "live apogee", lo: 20.7, hi: 21.5, why: "as the result"},
			{what: "live called", lo: 20.7, hi: 21.8, why: "not before the top, and within 0.7 s of it"},
			{what: "sink", lo: 7.5, hi: 27.7, why: "26.7 m/s under the small canopy, 7.8 under the large one, 4 % for the air", mayLack: true},
			{what: "touchdown", lo: 72.9, hi: 73.3, why: "73.1 s by the shock of 152 m/s2 (72.7 by its heights, which swing by 12 m)"},
		},
		verdicts: []string{"good", "look"}, whyVerdict: "both canopies opened",
		alarms: "fast-descent", // 26.7 m/s are fast
	}}
}

// recordedFile is where a recorded log lies; it skips the test if it is one of
// those that are no part of the repository and not there.
func recordedFile(t *testing.T, name string) string {
	t.Helper()
	own := filepath.Join("..", "..", "testdata", "recorded", name)
	if _, err := os.Stat(own); err == nil {
		return own
	}
	beside := filepath.Join("..", "..", "..", "shared", "flights", name)
	if _, err := os.Stat(beside); err != nil {
		t.Skipf("%s is not in ../shared/flights beside the repository, and its licence does not name the data: see testdata/recorded/SOURCES.md", name)
	}
	return beside
}

// TestRecordedFlights imports flights that others have recorded with their own
// boards, runs them through the watching engine as a live station does, and
// compares what is said with what is true of them.
func TestRecordedFlights(t *testing.T) {
	for _, c := range recordedFlights() {
		t.Run(c.file, func(t *testing.T) {
			file, data := recordedFile(t, c.file), t.TempDir()
			d := fromJSON[logimport.Done](t, must(t, "import", file, "--layout", c.layout, "--rocket", "Heron", "--at", recordedAt,
				"-c", filepath.Join("..", "..", "testdata", "recorded", "recorded.toml"), "--data", data, "--json"))
			if d.Flights != 1 || d.Bad != 1 { // the header is no line of the log
				t.Errorf("%d flights, want 1; skipped %v", d.Flights, d.Skipped)
			}
			results := fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", data))
			if len(results) != 1 {
				t.Fatalf("%d flights, want 1", len(results))
			}
			must(t, "replay", "--speed", "max", "--data", data) // equal to the recorded events
			live := heardLive(t, data, d.Session)
			c.check(t, results[0], live)
		})
	}
}

// heardLive runs the samples of a session through an engine of their own, with
// each tick at its time.
func heardLive(t *testing.T, data, session string) (out watch.Output) {
	t.Helper()
	a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	s, err := a.Session(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	engine, err := watch.NewEngine(watch.Config{Session: session, Epoch: s.Epoch, Rockets: s.Rockets, Site: s.Site})
	if err != nil {
		t.Fatal(err)
	}
	add := func(o watch.Output) {
		out.Events, out.Alarms = append(out.Events, o.Events...), append(out.Alarms, o.Alarms...)
	}
	last := int64(0)
	ticks := func(to int64) {
		for ; last < to; last += int64(watch.TickEvery) {
			add(engine.Advance(last))
		}
	}
	err = a.Samples(t.Context(), storage.Query{Session: session}, func(one *decode.Sample) error {
		ticks(one.Passed)
		add(engine.Sample(one))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	ticks(last + int64(logimport.Tail))
	was, err := a.Events(t.Context(), storage.Query{Session: session, Recorded: true})
	if err != nil {
		t.Fatal(err)
	}
	differ, _, _, err := flight.Compare(was, out.Events)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range differ {
		t.Errorf("the import and a live station differ: %+v, %+v", d.Was, d.Is)
	}
	return out
}

// check compares what was found with the bounds.
func (c *recorded) check(t *testing.T, r flight.Result, live watch.Output) {
	begins, err := time.Parse(time.RFC3339, recordedAt)
	if err != nil {
		t.Fatal(err)
	}
	since := func(at *time.Time) float64 {
		if at == nil {
			return math.NaN()
		}
		return at.Sub(begins).Seconds()
	}
	of := func(v *float64) float64 {
		if v == nil {
			return math.NaN()
		}
		return *v
	}
	got := map[string]float64{
		"liftoff": since(r.LaunchedAt), "apogee": since(r.ApogeeAt), "apogee_m": of(r.ApogeeM), "release": since(r.ReleaseAt),
		"sink": of(r.DescentMps), "touchdown": since(r.TouchdownAt),
		"live apogee": math.NaN(), "live apogee_m": math.NaN(), "live called": math.NaN(),
	}
	for _, e := range live.Events {
		if e.Kind == flight.Apogee {
			got["live apogee"], got["live apogee_m"], got["live called"] = since(&e.At), of(e.AltitudeM), since(&e.CalledAt)
		}
	}
	for _, b := range c.bounds {
		v, known := got[b.what]
		if !known {
			t.Fatalf("no such quantity: %s", b.what)
		}
		if in := v >= b.lo && v <= b.hi || math.IsNaN(v) && b.mayLack; !in {
			c.fails(t, b.waits, "%s: %.2f, must be in %g to %g: %s", b.what, v, b.lo, b.hi, b.why)
		}
	}
	begin := false
	for _, v := range c.verdicts {
		begin = begin || strings.HasPrefix(r.Verdict, v)
	}
	if !begin {
		c.fails(t, "", "verdict %q, must begin with one of %q: %s", r.Verdict, c.verdicts, c.whyVerdict)
	}
	for _, kind := range r.Alarms {
		if !strings.Contains(" "+c.alarms+" ", " "+kind+" ") {
			c.fails(t, "", "alarm %s, but nothing of that kind happened", kind)
		}
	}
}

// fails is an error, unless it waits for something that is being mended.
func (c *recorded) fails(t *testing.T, waits, format string, args ...any) {
	t.Helper()
	if waits != "" {
		t.Logf("WAITS for "+waits+": "+format, args...)
		return
	}
	t.Errorf(format, args...)
}
