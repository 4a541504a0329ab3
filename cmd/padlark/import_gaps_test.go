package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/logimport"
)

// gapsConfig has one board's lines with clocks of several widths, and without
// one.
const gapsConfig = `
[station]
name = "north-field"
[[link]]
name = "pad-radio"
udp = ":0"
layout = "wide"
rocket = "Teal"
[[rocket]]
name = "Teal"
[site]
temperature_c = 15
[[layout]]
name = "wide"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "Pa" } ]
[[layout]]
name = "u16-ms"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms", wrap_at = 65536 }, { name = "pressure_pa", unit = "Pa" } ]
[[layout]]
name = "u32-us"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "us", wrap_at = 4294967296 }, { name = "pressure_pa", unit = "Pa" } ]
[[layout]]
name = "undeclared"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "Pa" } ]
[[layout]]
name = "no-clock"
framing = "line"
form = "delimited"
fields = [ { name = "pressure_pa", unit = "Pa" } ]
`

const (
	gapsLift  = 15.0 // s of the log at which it lifts off
	gapsBoost = 0.4  // s
	gapsSpeed = 32.0 // m/s at burnout
	gapsSink  = 5.0  // m/s under the parachute
	gapsEnd   = 60.0 // s
	gapsG     = 9.80665
	// gapsWithin is how near the apogee must come: no parachute opens in no
	// time at the very top, as this one does, and the fit rounds that off.
	gapsWithin = 0.02
)

// gapsTop is the apogee of the flight that follows, in m.
func gapsTop() float64 { return gapsSpeed*gapsBoost/2 + gapsSpeed*gapsSpeed/2/gapsG }

// gapsHeight is a flight in closed form: an even boost, a throw without drag, an
// even descent.
func gapsHeight(t float64) float64 {
	t -= gapsLift
	up := gapsBoost + gapsSpeed/gapsG
	switch {
	case t < 0:
		return 0
	case t < gapsBoost:
		return gapsSpeed / gapsBoost * t * t / 2
	case t < up:
		c := t - gapsBoost
		return gapsSpeed*gapsBoost/2 + gapsSpeed*c - gapsG*c*c/2
	}
	return max(0, gapsTop()-gapsSink*(t-up))
}

// gapsPressure is the pressure at a height in the standard atmosphere
// (ISO 2533:1975, troposphere), with a ripple of the sensor.
func gapsPressure(i int) float64 {
	h := gapsHeight(float64(i) / 50)
	return 101325*math.Pow(1-0.0065*h/288.15, 9.80665/(0.0065*287.05287)) + 2*math.Sin(float64(i)*2.3)
}

// gapsLog is the flight as lines, 50 a second, with a clock that begins at from
// and starts again at turn (0: never), in counts of 1/perSecond s.
func gapsLog(from, turn, perSecond uint64) string {
	var b strings.Builder
	for i := range int(gapsEnd * 50) {
		clock := from + uint64(i)*perSecond/50
		if turn > 0 {
			clock %= turn
		}
		fmt.Fprintf(&b, "%d,%.1f\n", clock, gapsPressure(i))
	}
	return b.String()
}

// gapsImport imports text and gives what was done, what was said, and the
// flights.
func gapsImport(t *testing.T, name string, data []byte, args ...string) (logimport.Done, string, []flight.Result) {
	t.Helper()
	dir := t.TempDir()
	config, log := filepath.Join(dir, "padlark.toml"), filepath.Join(dir, name)
	for path, text := range map[string][]byte{config: []byte(gapsConfig), log: data} {
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	archive := filepath.Join(dir, "data")
	r := do(t, append([]string{"import", log, "--rocket", "Teal", "-c", config, "--data", archive, "--json"}, args...)...)
	if r.code != exitOK {
		t.Fatalf("import: exit %d: %s", r.code, r.err)
	}
	d := fromJSON[logimport.Done](t, r.out)
	// A replay of what is stored must find the same.
	must(t, "replay", "--speed", "max", "--data", archive, d.Session)
	return d, r.err, fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", archive, d.Session))
}

// TestImportClockTurnsInFlight: a clock that starts again on the way up changes
// nothing of the flight.
func TestImportClockTurnsInFlight(t *testing.T) {
	_, _, want := gapsImport(t, "wide.log", []byte(gapsLog(5000, 0, 1000)), "--layout", "wide")
	if len(want) != 1 || math.Abs(*want[0].ApogeeM/gapsTop()-1) > gapsWithin {
		t.Fatalf("without a turn: %d flights, %+v; the apogee is %.2f m", len(want), want, gapsTop())
	}
	for _, c := range []struct {
		layout    string
		turn, hz  uint64
		inSeconds string
	}{{"u16-ms", 1 << 16, 1000, "65.536 s"}, {"u32-us", 1 << 32, 1_000_000, "4294.97 s"}} {
		t.Run(c.layout, func(t *testing.T) {
			// It turns 1.5 s after the liftoff.
			from := c.turn - uint64((gapsLift+1.5)*float64(c.hz))
			d, said, got := gapsImport(t, c.layout+".log", []byte(gapsLog(from, c.turn, c.hz)), "--layout", c.layout)
			if len(got) != 1 || d.Flights != 1 || d.Bad != 0 {
				t.Fatalf("%d flights, skipped %v: %s", len(got), d.Skipped, said)
			}
			if a, b := *got[0].ApogeeM, *want[0].ApogeeM; math.Abs(a-b) > 0.01 {
				t.Errorf("apogee %.3f m, without a turn %.3f m", a, b)
			}
			if a, b := *got[0].TimeToApogeeS, *want[0].TimeToApogeeS; math.Abs(a-b) > 0.005 {
				t.Errorf("time to apogee %.4f s, without a turn %.4f s", a, b)
			}
			if !strings.Contains(strings.Join(d.Hints, "\n"), "starts again after "+c.inSeconds[:4]) {
				t.Errorf("hints %q", d.Hints)
			}
		})
	}
	t.Run("undeclared", func(t *testing.T) {
		d, _, _ := gapsImport(t, "u.log", []byte(gapsLog(1<<16-16500, 1<<16, 1000)), "--layout", "undeclared")
		if !strings.Contains(strings.Join(d.Hints, "\n"), "write wrap_at at its clock") {
			t.Errorf("hints %q do not say how to mend it", d.Hints)
		}
	})
}

// TestImportTwoFlights: two flights in one dump, the header in front of each, a
// torn line, and channels that are missing here and there.
func TestImportTwoFlights(t *testing.T) {
	const header = "clock,pressure\n"
	first := strings.Split(gapsLog(5000, 0, 1000), "\n")
	first[1200] = first[1200][:5] // in the descent, torn within the clock
	first[400] = strings.Split(first[400], ",")[0] + ","
	second := gapsLog(300, 0, 1000)
	text := header + strings.Join(first, "\n") + header + second
	d, said, flights := gapsImport(t, "two.log", []byte(text), "--layout", "wide")
	if len(flights) != 2 || d.Flights != 2 {
		t.Fatalf("%d flights, want 2: %s", len(flights), said)
	}
	for _, f := range flights {
		if math.Abs(*f.ApogeeM/gapsTop()-1) > gapsWithin {
			t.Errorf("flight %d: apogee %.2f m, true %.2f m", f.Flight, *f.ApogeeM, gapsTop())
		}
	}
	want := []int{1, 1202, int(gapsEnd*50) + 2} // header, torn line, header
	var got []int
	for _, s := range d.Skipped {
		got = append(got, s.Line)
		if !strings.Contains(said, "skipped "+s.String()) {
			t.Errorf("%v is not listed", s)
		}
	}
	if !slices.Equal(got, want) || d.Bad != len(want) {
		t.Errorf("skipped lines %v, want %v", d.Skipped, want)
	}
}

// TestImportCaptureKeepsTimes: the bytes of a captured link were heard at times
// that are known, with a pause in them; a clock is not needed.
func TestImportCaptureKeepsTimes(t *testing.T) {
	epoch := time.Date(2026, 6, 13, 9, 30, 0, 123456789, time.UTC)
	heard := func(i int) time.Duration {
		at := 7*time.Second + time.Duration(i)*20*time.Millisecond + time.Duration(i%3)*time.Millisecond
		if i >= 2200 { // on the ground again, nothing was heard for a while
			at += 90 * time.Second
		}
		return at
	}
	for _, c := range []struct {
		layout string
		line   func(i int) string
	}{
		{"no-clock", func(i int) string { return fmt.Sprintf("%.1f\r\n", gapsPressure(i)) }},
		{"wide", func(i int) string { return fmt.Sprintf("%d,%.1f\r\n", 5000+20*i, gapsPressure(i)) }},
	} {
		t.Run(c.layout, func(t *testing.T) {
			var file bytes.Buffer
			w, err := ingest.NewCaptureWriter(&file, ingest.CaptureInfo{
				Station: "north-field", Epoch: epoch, Links: []ingest.CaptureLink{{Name: "pad-radio", Kind: "serial", Baud: 57600}},
			})
			if err != nil {
				t.Fatal(err)
			}
			n := int(gapsEnd * 50)
			for i := range n {
				// Half of each line comes with the half before it: a line is heard
				// with its last byte.
				line, next := c.line(i), c.line(i+1)
				text := line[len(line)/2:] + next[:len(next)/2]
				if i == 0 {
					text = line + next[:len(next)/2]
				}
				if err := w.WriteChunk(ingest.Chunk{Link: "pad-radio", Heard: heard(i), Bytes: []byte(text)}); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			// The recording stopped in the middle of a line, which is said.
			d, _, flights := gapsImport(t, "pad.plarkcap", file.Bytes(), "--layout", c.layout)
			if d.Samples != n || d.Bad != 1 || len(flights) != 1 {
				t.Fatalf("%d samples of %d, skipped %v, %d flights", d.Samples, n, d.Skipped, len(flights))
			}
			if d.Dated != "as the capture has it" {
				t.Errorf("dated %q", d.Dated)
			}
			lift := epoch.Add(7*time.Second + time.Duration(gapsLift*1e9))
			if off := flights[0].LaunchedAt.Sub(lift).Seconds(); math.Abs(off) > 0.15 {
				t.Errorf("launched %.3f s beside the truth", off)
			}
			src, err := logimport.Open(t.Context(), bytes.NewReader(file.Bytes()), int64(file.Len()), logimport.Form{})
			if err != nil {
				t.Fatal(err)
			}
			log, err := logimport.Read(t.Context(), src, logimport.Config{Link: "x", Layout: c.layout, Rocket: "Teal", Layouts: gapsLayouts(t)})
			if err != nil {
				t.Fatal(err)
			}
			i := 0
			err = log.Each(t.Context(), "s", log.Begins, func(f *ingest.Frame, _ *decode.Parsed) error {
				if want := epoch.Add(heard(i)); !f.Heard.Equal(want) || f.Baud != 57600 {
					t.Fatalf("frame %d heard at %v (%d baud), captured at %v", i, f.Heard, f.Baud, want)
				}
				i++
				return nil
			})
			if err != nil || i != n {
				t.Fatalf("%d frames of %d, %v", i, n, err)
			}
		})
	}
}

func gapsLayouts(t *testing.T) []decode.Layout {
	t.Helper()
	cfg, err := config.Parse("gaps", []byte(gapsConfig))
	if err != nil {
		t.Fatal(err)
	}
	return cfg.Layouts
}
