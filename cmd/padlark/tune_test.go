package main

import (
	"bytes"
	"flag"
	"image/color"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"padlark/flight/tune"
)

var updateTune = flag.Bool("update-tune", false, "rewrite the expected output of tune")

// quickTune are arguments with which tune takes a fraction of a second.
func quickTune(more ...string) []string {
	return append([]string{"tune", "--draws=200", "--limit=30", "--pad-hours=1", "--seed=4",
		"--rule=drop,drop=1,drop=2,n=2,smooth=0", "--rule=alpha-beta,smooth=2", "--rule=slope,n=1"}, more...)
}

func TestTuneText(t *testing.T) {
	for _, c := range []struct {
		name string
		args []string
		code int
	}{
		{"good", quickTune("--all"), exitOK},
		{"noisy", quickTune("--ensemble=poor,noise=3:4,apogee=20:30", "--limit=20", "--arm-m=5"), exitBad},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := do(t, c.args...)
			if r.code != c.code {
				t.Fatalf("exit status %d, want %d\n%s%s", r.code, c.code, r.out, r.err)
			}
			for i, line := range strings.Split(r.out, "\n") {
				if n := utf8.RuneCountInString(line); n > columns {
					t.Errorf("line %d has %d columns: %s", i+1, n, line)
				}
			}
			file := filepath.Join("testdata", "tune", c.name+".txt")
			if *updateTune {
				if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, []byte(r.out), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), r.out); d != "" {
				t.Errorf("output differs (-want +got):\n%s", d)
			}
		})
	}
}

// The same seed gives the same bytes on one core and on several, another seed
// others.
func TestTuneSameOnAllCores(t *testing.T) {
	args := quickTune("--json")
	was := runtime.GOMAXPROCS(5)
	want := must(t, args...)
	runtime.GOMAXPROCS(1)
	one := must(t, args...)
	runtime.GOMAXPROCS(was)
	if one != want {
		t.Error("the result depends on the number of cores")
	}
	if must(t, append(args, "--seed=5")...) == want {
		t.Error("another seed gives the same")
	}
}

func TestTuneFiles(t *testing.T) {
	dir := t.TempDir()
	header, svg, pic := filepath.Join(dir, "apogee_settings.h"), filepath.Join(dir, "a.svg"), filepath.Join(dir, "a.png")
	res := fromJSON[tune.Report](t, must(t, quickTune("--json", "--header="+header, "--plot="+svg)...))
	must(t, quickTune("--plot="+pic)...)
	text, err := os.ReadFile(header)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range res.Best[0].Settings.Entries() {
		if !bytes.Contains(text, []byte("#define "+e.Name+" ")) {
			t.Errorf("the header has no %s", e.Name)
		}
	}
	svgHolds(t, svg, "in 95 of 100 flights, s", "failures in 1000 flights", "alpha-beta", "recommended")
	red := pngPoints(t, pic, func(c color.Color) bool {
		r, g, b, _ := c.RGBA()
		return r > g+80<<8 && r > b+80<<8
	})
	if red < 100 {
		t.Errorf("the PNG shows %d points of limit and choice", red)
	}
}

// The result holds together: fresh rates are of other flights, the limit is
// kept, and the best of each family is there.
func TestTuneJSON(t *testing.T) {
	res := fromJSON[tune.Report](t, must(t, quickTune("--json")...))
	if len(res.Stats) != 2+4+4 || len(res.Best) != 3 || res.RateHz != 50 || res.Recorded != nil || res.Traits != nil {
		t.Fatalf("%d settings, %d families, %g Hz", len(res.Stats), len(res.Best), res.RateHz)
	}
	b := res.Best[0]
	if !b.Sure || !b.Agrees || b.Fresh.Failed.Of != 200 || b.Fresh.Settings != b.Settings {
		t.Errorf("best %+v", b)
	}
	for _, s := range res.Stats {
		if s.Settings == b.Settings && (s.Failed.High > 0.03 || cmp.Equal(s, b.Fresh)) {
			t.Errorf("chosen by %+v, fresh %+v", s, b.Fresh)
		}
		if s.Settings.LockoutMs != uint32(res.Times.LockoutS*1000+0.5) || s.Settings.BackupMs == 0 {
			t.Errorf("%v: %+v", s.Settings, s.Settings)
		}
	}
	if res.PadArmed == nil || res.PadArmed.Of != 1 {
		t.Errorf("on the pad %+v", res.PadArmed)
	}
}

// Recorded flights of the demo: their board, their rocket, and the rule on
// each of them.
func TestTuneRecorded(t *testing.T) {
	dir := demoDir(t, "--seed", "1")
	r := do(t, quickTune("--data="+dir, "--flights=~Teal~1", "--json")...)
	res := fromJSON[tune.Report](t, r.out)
	if len(res.Recorded) != 1 || res.Ensemble != "recorded" || res.Traits == nil {
		t.Fatalf("%d recorded flights, ensemble %s\n%s", len(res.Recorded), res.Ensemble, r.err)
	}
	for _, truth := range readTruth(t, dir) {
		if truth.Rocket != "Teal" {
			continue
		}
		row := res.Recorded[0]
		if row.LagS == nil || row.Early || *row.LagS > 1.5 || row.ApogeeM < 0.9*truth.ApogeeM || row.ApogeeM > 1.1*truth.ApogeeM {
			t.Errorf("on the recorded flight %+v, truth %.1f m", row, truth.ApogeeM)
		}
	}
	for _, none := range [][]string{{"--flights=all", "--rocket=Nobody"}, {"--flights=~Teal~9"}, {"--flights=2001"}} {
		if r := do(t, quickTune(append(none, "--data="+dir)...)...); r.code != exitUsage || !strings.Contains(r.err, "there is no s") {
			t.Errorf("%v: exit status %d, %s", none, r.code, r.err)
		}
	}
}

// A rocket of the configuration: its kind, mass, apogee and site are those that
// are simulated, and what is typed goes before them.
func TestTuneConfiguration(t *testing.T) {
	file := filepath.Join(t.TempDir(), "padlark.toml")
	text := `
[station]
name = "north-field"
[[link]]
name = "pad"
udp = ":9750"
layout = "lark-bin"
[[rocket]]
name = "Plum"
id = 9
kind = "solid"
mass_kg = 0.110
diameter_m = 0.034
expect_apogee_m = 200
rate_hz = 40
[[rocket]]
name = "Teal"
id = 7
[site]
elevation_m = 1500
temperature_c = 22
wind_mps = 4
`
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	res := fromJSON[tune.Report](t, must(t, quickTune("--config="+file, "--rocket=Plum", "--json")...))
	for _, want := range []string{"small solid rockets of 99 to 121 g, 34 mm across", "apogee 140 to 280 m", "40 readings a second", "wind 0 to 6 m/s"} {
		if !strings.Contains(res.Says, want) {
			t.Errorf("no %q in %s", want, res.Says)
		}
	}
	if !strings.HasPrefix(res.Configured, "Plum, a solid rocket, mass 110 g") || !strings.Contains(res.Configured, "elevation 1500 m") || res.RateHz != 40 {
		t.Errorf("from the configuration: %s; %g Hz", res.Configured, res.RateHz)
	}
	// 0.1 Pa is a higher step in thinner air: by the standard atmosphere there
	// are 845.6 hPa at 1500 m (ISO 2533:1975, table; from memory).
	if want := tune.SlopeAt(84560, 22); res.Best[0].Settings.SlopeQ10 < want-2 || res.Best[0].Settings.SlopeQ10 > want+2 {
		t.Errorf("slope %d, want %d", res.Best[0].Settings.SlopeQ10, want)
	}
	// Without drag the climb from 20 m takes sqrt(2 (h - 20)/g), which drag
	// shortens; a solid rocket burns for at most 1.8 s of it.
	if res.Times.LongestS > 7.3 || res.Times.ShortestS < 3 {
		t.Errorf("from arming to apogee %.1f to %.1f s", res.Times.ShortestS, res.Times.LongestS)
	}
	typed := fromJSON[tune.Report](t, must(t, quickTune("--config="+file, "--rocket=Plum", "--ensemble=usual,kind=water,apogee=40:60,mass=150", "--json")...))
	if !strings.HasPrefix(typed.Says, "water rockets of 150 g, 34 mm across, apogee 40 to 60 m") {
		t.Errorf("typed over the configuration: %s", typed.Says)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "choose one with --rocket: Plum, Teal"},
		{[]string{"--rocket=Rust"}, "has no such [[rocket]]; it has Plum, Teal"},
		{[]string{"--rocket=Plum", "--ensemble=apogee=2500"}, "its drag is too high"},
		{[]string{"--rocket=Plum", "--ensemble=kind=water,mass=1e9"}, "give 10 to 20000"},
		{[]string{"--rocket=Plum", "--ensemble=kind=glider"}, "give water, solid or both"},
	} {
		r := do(t, quickTune(append(c.args, "--config="+file)...)...)
		if r.code != exitUsage || !strings.Contains(r.err, c.want) || r.out != "" {
			t.Errorf("%v: exit status %d, want %q in %s", c.args, r.code, c.want, r.err)
		}
	}
}

func TestTuneRefuses(t *testing.T) {
	for _, c := range []struct{ name, arg, want string }{
		{"rule", "--rule=rise", `there is no rule "rise"`},
		{"key of a rule", "--rule=drop,x=3", `there is no key "x"`},
		{"drop of another", "--rule=slope,drop=3", "has no drop"},
		{"number", "--rule=drop,n=many", `"many" is no number`},
		{"range of a rule", "--rule=drop,n=0", "out of range"},
		{"filter", "--rule=slope,smooth=9", "give 1 to 5"},
		{"ensemble", "--ensemble=huge", "give usual, poor, wide or recorded"},
		{"recorded without flights", "--ensemble=recorded", "add --flights all"},
		{"key of an ensemble", "--ensemble=usual,height=3", "there is no such key; give one of kind, apogee"},
		{"order", "--ensemble=apogee=90:40", "lower number first"},
		{"range of an ensemble", "--ensemble=rate=5000", "give 2 to 1000"},
		{"no pair", "--ensemble=usual,poor", "write it as apogee=40:90"},
		{"one rate", "--ensemble=rate=20:50", "give one number"},
		{"draws", "--draws=50", "give 100 to"},
		{"sure", "--limit=0.1", "give 38500 or more"},
		{"limit", "--limit=0", "above 0"},
		{"arming", "--arm-m=900", "rose above the arming height"},
		{"backup", "--backup-s=0.1", "more than the lock-out"},
		{"rocket", "--rocket=Teal", "add --flights all"},
		{"plot", "--plot=a.gif", ".svg or .png"},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := []string{"tune", "--draws=300", "--limit=30", "--pad-hours=0", c.arg}
			r := do(t, args...)
			if r.code == exitOK || r.out != "" || !strings.Contains(r.err, c.want) {
				t.Errorf("exit status %d, want %q in\n%s%s", r.code, c.want, r.out, r.err)
			}
		})
	}
}
