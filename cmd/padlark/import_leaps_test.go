package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/flight"
)

// leapsPressures are 50 readings a second of a sound flight, integrated by small
// steps: an even boost, a coast with drag, a release 0.3 s after the top, a
// canopy that fills within 0.6 s, and a sensor with 2 Pa of noise in the
// standard atmosphere (ISO 2533:1975, troposphere).
func leapsPressures() []float64 {
	const dt = 0.001
	r := rand.New(rand.NewPCG(3, 4))
	var out []float64
	h, v, top, landed := 0.0, 0.0, math.Inf(1), false
	for i := range int(gapsEnd / dt) {
		t := float64(i) * dt
		if i%20 == 0 {
			out = append(out, 101325*math.Pow(1-0.0065*h/288.15, 9.80665/(0.0065*287.05287))+2*r.NormFloat64())
		}
		open := min(1, max(0, (t-top-0.3)/0.6))
		a := -gapsG - (0.004+(gapsG/gapsSink/gapsSink)*open*open)*v*math.Abs(v)
		switch {
		case t < gapsLift || landed:
			continue
		case t < gapsLift+gapsBoost:
			a = gapsSpeed / gapsBoost
		}
		if v += a * dt; v < 0 && math.IsInf(top, 1) {
			top = t
		}
		h += v * dt
		landed = h < 0
	}
	return out
}

// leapsLog is that flight as lines, the clocks of which are what clock makes of
// the true ms.
func leapsLog(clock func(i, ms int) int64) string {
	var b strings.Builder
	for i, p := range leapsPressures() {
		fmt.Fprintf(&b, "%d,%.1f\n", clock(i, 5000+20*i), p)
	}
	return b.String()
}

// sound is the flight with the right clock, as it is imported.
func sound(t *testing.T) []flight.Result {
	t.Helper()
	d, said, f := gapsImport(t, "sound.log", []byte(leapsLog(func(_, ms int) int64 { return int64(ms) })), "--layout", "wide")
	if len(f) != 1 || d.Bad != 0 || f[0].ApogeeM == nil || !strings.HasPrefix(f[0].Verdict, "good") {
		t.Fatalf("the sound log: %d flights, %+v: %s", len(f), f, said)
	}
	return f
}

// sameFlight compares a flight with the one of the sound log.
func sameFlight(t *testing.T, got, want []flight.Result, withinM, withinS float64) {
	t.Helper()
	if len(got) != 1 {
		t.Fatalf("%d flights, want 1: %+v", len(got), got)
	}
	g, w := got[0], want[0]
	if g.ApogeeM == nil || g.TimeToApogeeS == nil || g.TimeToApogeeSD == nil || g.DescentMps == nil {
		t.Fatalf("the flight lacks its numbers: %+v", g)
	}
	for _, c := range []struct {
		what              string
		got, want, within float64
	}{
		{"apogee in m", *g.ApogeeM, *w.ApogeeM, withinM},
		// The boost has two fits here, 0.04 s apart, and which one is found hangs on
		// the last digit of the clock: both say that they know it to 0.05 to 0.08 s.
		{"time to apogee in s", *g.TimeToApogeeS, *w.TimeToApogeeS, max(withinS, 0.6**g.TimeToApogeeSD)},
		{"sink rate in m/s", *g.DescentMps, *w.DescentMps, 0.1},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: %.3f, in the sound log %.3f", c.what, c.got, c.want)
		}
	}
	if word, _, _ := strings.Cut(g.Verdict, ":"); word != "good" {
		t.Errorf("verdict %q, in the sound log %q", g.Verdict, w.Verdict)
	}
	for _, a := range g.Alarms {
		if strings.HasPrefix(a, "reboot") {
			t.Errorf("alarm %s, but no board started again", a)
		}
	}
}

// TestImportClockIsSet: a board's clock that is set to Unix time by its first
// GPS fix, whenever that comes, is no time that went by. The log goes on.
func TestImportClockIsSet(t *testing.T) {
	want := sound(t)
	for _, c := range []struct {
		when string
		at   float64 // s of the log
	}{{"on the pad", 8}, {"under thrust", gapsLift + 0.2}, {"coasting", gapsLift + 2}, {"under the canopy", gapsLift + 7}, {"on the ground", 55}} {
		t.Run(c.when, func(t *testing.T) {
			log := leapsLog(func(i, ms int) int64 {
				if float64(i)/50 < c.at {
					return int64(ms)
				}
				return 1_764_512_345_000 + int64(ms)
			})
			begun := time.Now()
			d, said, got := gapsImport(t, "set.log", []byte(log), "--layout", "wide")
			if took := time.Since(begun); took > 20*time.Second {
				t.Errorf("it took %v", took)
			}
			if d.Bad != 0 || !strings.Contains(said, "it was set; the time goes on") {
				t.Errorf("skipped %v, said %s", d.Skipped, said)
			}
			sameFlight(t, got, want, 0.05, 0.02)
		})
	}
}

// TestImportPauses: a log that pauses on the pad for hours, a year even, has one
// flight all the same and takes no longer. Meanwhile the weather has changed.
func TestImportPauses(t *testing.T) {
	want := sound(t)
	for _, c := range []struct {
		pause time.Duration
		told  string
	}{{6 * time.Hour, "6 h 0 min"}, {24 * time.Hour, "24 h 0 min"}, {365 * 24 * time.Hour, "365 days"}} {
		for _, weatherPa := range []float64{-900, 900} {
			t.Run(fmt.Sprintf("%v %+.0f Pa", c.pause, weatherPa), func(t *testing.T) {
				var b strings.Builder
				for i, p := range leapsPressures() {
					ms := int64(5000 + 20*i)
					if i < 5*50 {
						p += weatherPa
					} else {
						ms += c.pause.Milliseconds()
					}
					fmt.Fprintf(&b, "%d,%.1f\n", ms, p)
				}
				begun := time.Now()
				d, said, got := gapsImport(t, "pause.log", []byte(b.String()), "--layout", "wide")
				if took := time.Since(begun); took > 20*time.Second {
					t.Errorf("it took %v", took)
				}
				if d.Bad != 0 || !strings.Contains(said, "nothing was logged for "+c.told) {
					t.Errorf("skipped %v, said %s", d.Skipped, said)
				}
				sameFlight(t, got, want, 0.1, 0.02)
			})
		}
	}
}

// TestImportOneWrongClock: one line of 3,000 without a checksum whose clock has a
// wrong digit costs that line and nothing else.
func TestImportOneWrongClock(t *testing.T) {
	want := sound(t)
	for _, c := range []struct {
		name string
		line int
		by   int64 // ms
	}{
		{"pad, a minute ahead", 300, 60_000}, {"boost, ten seconds ahead", 760, 10_000}, {"boost, back", 762, -10_000},
		{"coast, a second ahead", 830, 1000}, {"apogee, a second back", 910, -1000}, {"apogee, years ahead", 912, 1_000_000_000_000},
		{"descent, a minute ahead", 1500, 60_000}, {"descent, back", 1400, -20_000}, {"the first", 0, 900_000}, {"the last", 2999, 90_000},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := leapsLog(func(i, ms int) int64 {
				if i == c.line {
					return max(0, int64(ms)+c.by)
				}
				return int64(ms)
			})
			d, said, got := gapsImport(t, "wrong.log", []byte(log), "--layout", "wide")
			if d.Bad != 1 || d.Skipped[0].Line != c.line+1 {
				t.Errorf("skipped %v, want line %d: %s", d.Skipped, c.line+1, said)
			}
			sameFlight(t, got, want, 0.05, 0.02)
		})
	}
}

// TestImportRandomClocks: clocks that say nothing are soon done with.
func TestImportRandomClocks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for name, most := range map[string]int64{"a minute": 60_000, "a day": 86_400_000, "since 1970": 1_800_000_000_000, "285 years": 9e12} {
		t.Run(name, func(t *testing.T) {
			log := filepath.Join(t.TempDir(), "random.log")
			if err := os.WriteFile(log, []byte(leapsLog(func(int, int) int64 { return r.Int64N(most) })), 0o600); err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			cfg := filepath.Join(dir, "padlark.toml")
			if err := os.WriteFile(cfg, []byte(gapsConfig), 0o600); err != nil {
				t.Fatal(err)
			}
			begun := time.Now()
			r := do(t, "import", log, "--layout", "wide", "--rocket", "Teal", "-c", cfg, "--data", filepath.Join(dir, "data"))
			if took := time.Since(begun); took > 10*time.Second {
				t.Errorf("it took %v", took)
			}
			if !strings.Contains(r.err, "its clock leaps") {
				t.Errorf("exit %d, said %.300s", r.code, r.err)
			}
		})
	}
}

// TestImportInterrupted: an import that is told to stop does so at once,
// wherever it is, and leaves nothing.
func TestImportInterrupted(t *testing.T) {
	var b strings.Builder
	for k := range 160 { // 480,000 lines, 160 of them after a pause of three months
		for i := range int(gapsEnd * 50) {
			fmt.Fprintf(&b, "%d,%.1f\n", int64(5000+20*i)+int64(k)*8_000_000_000, gapsPressure(i))
		}
	}
	dir := t.TempDir()
	log, cfg := filepath.Join(dir, "long.log"), filepath.Join(dir, "padlark.toml")
	for path, text := range map[string]string{log: b.String(), cfg: gapsConfig} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, after := range []time.Duration{0, 50 * time.Millisecond, 200 * time.Millisecond, 700 * time.Millisecond} {
		ctx, stop := context.WithCancel(t.Context())
		var stopped time.Time
		timer := time.AfterFunc(after, func() { stopped = time.Now(); stop() })
		var out, errw strings.Builder
		code := run(ctx, []string{"import", log, "--layout", "wide", "--rocket", "Teal", "-c", cfg, "--data", filepath.Join(dir, "data")}, strings.NewReader(""), &out, &errw)
		ended := time.Now()
		if timer.Stop() || !errors.Is(ctx.Err(), context.Canceled) {
			t.Skipf("the whole import took less than %v: nothing to interrupt", after)
		}
		if took := ended.Sub(stopped); took > 2*time.Second {
			t.Errorf("interrupted after %v: it went on for %v", after, took)
		}
		if code == exitOK || !strings.Contains(errw.String(), "interrupted") && !strings.Contains(errw.String(), "stopped, as asked") {
			t.Errorf("interrupted after %v: exit %d, said %s", after, code, errw.String())
		}
		stop()
	}
}
