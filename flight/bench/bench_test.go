package bench_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/bench"
	"padlark/flight/bench/boardtest"
	"padlark/ingest"
)

var begin = time.Date(2031, 4, 2, 18, 30, 0, 0, time.UTC)

// sitting is a checkup on a virtual clock.
type sitting struct{ *bench.Bench }

func (s sitting) Tick(now time.Time, h ingest.Health) {
	s.Count(bench.Count{Link: h.Link, Bytes: h.Bytes, Frames: h.Frames, Bad: h.Bad, Words: h.Words, Hint: h.Hint})
	s.Bench.Tick(now)
}

// sit checks a board.
func sit(t testing.TB, p bench.Plan, o boardtest.Options) bench.Report {
	t.Helper()
	b, err := bench.New(p, begin)
	if err != nil {
		t.Fatal(err)
	}
	if err := boardtest.Hear(o, begin, sitting{b}); err != nil {
		t.Fatal(err)
	}
	r, err := b.Report()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func plan(restS float64) bench.Plan {
	elevation, temperature := 212.0, 20.0
	return bench.Plan{
		Rocket: boardtest.Rocket(), RestS: restS, WaitS: 8, FirstS: 5,
		Site: flight.Site{ElevationM: &elevation, TemperatureC: &temperature},
	}
}

// unwell lists the checks that are not good.
func unwell(r bench.Report) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Level == bench.Look || f.Level == bench.Bad {
			out = append(out, f.Check)
		}
	}
	return out
}

// Nothing is found on a hundred good boards, each another one.
func TestGoodBoards(t *testing.T) {
	for seed := range uint64(100) {
		layout := []string{"lark-bin", "lark-text"}[seed%2]
		o := boardtest.Full(seed, "", 8)
		o.Layout = layout
		r := sit(t, plan(8), o)
		if bad := unwell(r); len(bad) > 0 || r.Verdict[:5] != "good:" {
			t.Errorf("board %d: %v: %s", seed, bad, r.Verdict)
		}
		if f, ok := r.Find("apogee-rule"); !ok || f.Level != bench.Good || f.Value == nil || *f.Value < 0 || *f.Value > 0.5 {
			t.Errorf("board %d: apogee rule %+v", seed, f)
		}
		if f, ok := r.Find("lift"); !ok || f.Value == nil || *f.Value < 1.9 || *f.Value > 2.1 {
			t.Errorf("board %d: lift %+v", seed, f)
		}
	}
}

// Each defect is found and named, on several boards, and nothing else is.
func TestDefects(t *testing.T) {
	for _, d := range boardtest.Defects() {
		t.Run(d.Name, func(t *testing.T) {
			for seed := range uint64(3) {
				layout := []string{"lark-bin", "lark-text"}[seed%2]
				o := boardtest.Full(seed, d.Name, 8)
				o.Layout = layout
				r := sit(t, plan(8), o)
				found := unwell(r)
				if !slices.Contains(found, d.Check) {
					t.Errorf("board %d: found %v, want %s\n%s", seed, found, d.Check, all(r))
					continue
				}
				for _, f := range found {
					if f != d.Check && !slices.Contains(d.Also, f) {
						t.Errorf("board %d: %s was found too\n%s", seed, f, all(r))
					}
				}
				if f, _ := r.Find(d.Check); f.Mend == "" || f.Words == "" {
					t.Errorf("board %d: no words or no mend: %+v", seed, f)
				}
			}
		})
	}
}

func all(r bench.Report) string {
	s := ""
	for _, f := range r.Findings {
		s += fmt.Sprintf("%-9s %-15s %-22s %s\n", f.Level, f.Check, f.Text(), f.Words)
	}
	return s
}

// A person's answers are in the report; what was skipped or stopped is told.
func TestAsked(t *testing.T) {
	p := plan(2)
	p.Asks = true
	b, err := bench.New(p, begin)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Report(); err == nil {
		t.Error("a report before the end")
	}
	for i := range bench.BeforePower(p.Rocket) {
		if d := b.Now(); d.Step != bench.StepBefore || !d.Question || d.Say == "" {
			t.Fatalf("line %d: %+v", i, d)
		}
		b.Answer(i != 2)
	}
	if d := b.Now(); d.Step != bench.StepRest || d.Question {
		t.Fatalf("after the list: %+v", d)
	}
	if err := boardtest.Hear(boardtest.Options{Seed: 1, EndS: 4, ElevationM: 212}, begin, sitting{b}); err != nil {
		t.Fatal(err)
	}
	// Nothing is lifted: the step waits, and is left.
	for b.Now().Step != bench.StepSound {
		b.Skip()
	}
	b.Answer(false)
	b.Stop()
	r, err := b.Report()
	if err != nil {
		t.Fatal(err)
	}
	for check, want := range map[string]bench.Level{
		"before-power": bench.Bad, "frames": bench.Good, "lift": bench.NotDone, "apogee-rule": bench.NotDone,
		"sounder": bench.Look, "servo-free": bench.NotDone,
	} {
		if f, ok := r.Find(check); !ok || f.Level != want {
			t.Errorf("%s: %+v, want %s", check, f, want)
		}
	}
	if !r.Before[0].Confirmed || r.Before[2].Confirmed {
		t.Errorf("list: %+v", r.Before)
	}
}

// The list before power follows the rocket's description.
func TestBeforePower(t *testing.T) {
	has := func(r flight.Rocket, word string) bool {
		return slices.ContainsFunc(bench.BeforePower(r), func(s string) bool { return strings.Contains(s, word) })
	}
	servo, plain := flight.Rocket{Release: "servo", Cell: "lipo-1s"}, flight.Rocket{Release: "none", Cell: "9v"}
	if !has(servo, "servo's lead") || !has(servo, "lithium") || has(servo, "clip") {
		t.Errorf("servo on a lithium cell: %q", bench.BeforePower(servo))
	}
	if has(plain, "servo") || has(plain, "lithium") || !has(plain, "clip") {
		t.Errorf("no release on a 9 V battery: %q", bench.BeforePower(plain))
	}
	for _, word := range []string{"solder", "barometer", "sounder", "Jumpers", "pressure"} {
		if !has(plain, word) || !has(servo, word) {
			t.Errorf("%q is missing", word)
		}
	}
}

func TestBadPlan(t *testing.T) {
	for name, change := range map[string]func(*bench.Plan){
		"rest": func(p *bench.Plan) { p.RestS = -1 }, "lift": func(p *bench.Plan) { p.LiftM = 1e9 },
		"step": func(p *bench.Plan) { p.Skip = []bench.Step{"dance"} }, "brown-out": func(p *bench.Plan) { p.BrownOutV = -3 },
		"station pressure": func(p *bench.Plan) { v := 1013.0; p.StationPa = &v },
	} {
		p := plan(8)
		change(&p)
		if _, err := bench.New(p, begin); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// A reading by another instrument is compared with more strictly than the
// standard atmosphere, and the first rocket heard is taken if none is named.
func TestStationPressure(t *testing.T) {
	p := plan(2)
	p.Rocket, p.Known = flight.Rocket{}, []flight.Rocket{boardtest.Rocket()}
	p.Skip = []bench.Step{bench.StepLift, bench.StepJar}
	o := boardtest.Options{Seed: 4, EndS: 5, ElevationM: 212}
	r := sit(t, p, o)
	f, ok := r.Find("pressure")
	if !ok || f.Level != bench.Good || f.Value == nil || r.Rocket != "Teal" || r.Config.RateHz != 50 {
		t.Fatalf("by elevation: %+v of %s", f, r.Rocket)
	}
	for off, want := range map[float64]bench.Level{50: bench.Good, 300: bench.Look, 900: bench.Bad} {
		pa := 100**f.Value + off
		p.StationPa = &pa
		again := sit(t, p, o)
		if g, _ := again.Find("pressure"); g.Level != want {
			t.Errorf("%.0f Pa off: %+v, want %s", off, g, want)
		}
	}
}
