package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/alecthomas/kong"
	"github.com/google/go-cmp/cmp"

	"padlark/flight/predict"
	"padlark/storage/report/chart"
)

var updatePredict = flag.Bool("update-predict", false, "rewrite the expected output of predict")

// teal is a launch of our own, as it would be typed.
var teal = []string{"--bottle-ml=2000", "--water-ml=650", "--pressure-bar=4", "--rating-bar=5", "--nozzle-mm=21.7",
	"--dry-g=150", "--diameter-mm=90", "--parachute-mm=500", "--wind-mps=3", "--rail-m=0.5", "--field-m=150"}

// predictWith runs predict as the command line would.
func predictWith(t *testing.T, args ...string) (out string, err error) {
	t.Helper()
	var c struct {
		Predict predictCmd `cmd:""`
	}
	k, err := kong.New(&c, kong.Writers(io.Discard, io.Discard))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Parse(append([]string{"predict"}, args...)); err != nil {
		return "", err
	}
	var b bytes.Buffer
	err = c.Predict.Run(t.Context(), &cmdIO{Out: &b, Err: io.Discard})
	return b.String(), err
}

// with adds and replaces arguments: the last of a flag holds.
func with(more ...string) []string { return append(append([]string{}, teal...), more...) }

func TestPredictText(t *testing.T) {
	for _, c := range []struct {
		name string
		args []string
		bad  bool
	}{
		{"good", with("--flights=100"), false},
		{"small-field", with("--flights=100", "--field-m=20", "--parachute-mm=250"), true},
		{"no-parachute", with("--flights=100", "--parachute-mm=0"), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := predictWith(t, c.args...)
			if c.bad != errors.Is(err, errBadVerdict) || !c.bad && err != nil {
				t.Fatalf("error %v", err)
			}
			for i, line := range strings.Split(out, "\n") {
				if n := utf8.RuneCountInString(line); n > columns {
					t.Errorf("line %d has %d columns: %s", i+1, n, line)
				}
			}
			file := filepath.Join("testdata", "predict", c.name+".txt")
			if *updatePredict {
				if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, []byte(out), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), out); d != "" {
				t.Errorf("output differs (-want +got):\n%s", d)
			}
		})
	}
}

func TestPredictJSON(t *testing.T) {
	out, err := predictWith(t, with("--flights=50", "--json", "--parachute-mm=0")...)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	if v, there := got["descent_mps"]; !there || v != nil {
		t.Errorf("sink rate without a parachute is %v, want null", v)
	}
	if a, ok := got["apogee_m"].(map[string]any); !ok || a["mean"].(float64) < 20 {
		t.Errorf("apogee %v", got["apogee_m"])
	}
}

func TestPredictRefuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		args  []string
		want  string
		usage bool
	}{
		{"above the rating", with("--pressure-bar=5.5"), "pressure 5.50 bar is above the rating of 5.00 bar", false},
		{"no rating", append(append([]string{}, teal[:3]...), teal[4:]...), "no pressure rating given", true},
		{"no bottle", teal[1:], "--bottle-ml is missing", true},
		{"no mass", []string{"--bottle-ml=2000"}, "give --dry-g", true},
		{"too heavy", with("--dry-g=40000"), "leave the pad", true},
		{"plot format", with("--plot=teal.gif"), "ends in .svg or .png", true},
		{"rocket without configuration", with("--rocket=Teal"), "add --config FILE", true},
		{"no such configuration", with("--config=/nonexistent/padlark.toml"), "/nonexistent/padlark.toml", true},
		{"motor without masses", []string{"--thrust=plum.csv", "--dry-g=80", "--diameter-mm=26"}, "--propellant-g and --motor-g", true},
		{"no flights", with("--flights=0"), "give 20 or more", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := predictWith(t, c.args...)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("error %v, want %q", err, c.want)
			}
			var usage usageError
			if errors.As(err, &usage) != c.usage {
				t.Errorf("wrong use is %v, want %v", !c.usage, c.usage)
			}
			if out != "" {
				t.Errorf("printed %q", out)
			}
		})
	}
}

func TestPredictConfiguration(t *testing.T) {
	file := filepath.Join(t.TempDir(), "padlark.toml")
	text := `
[station]
name = "north-field"
[[link]]
name = "pad"
udp = ":9750"
layout = "lark-bin"
[[rocket]]
name = "Teal"
id = 7
mass_kg = 0.150
diameter_m = 0.09
parachute_m = 0.5
[site]
wind_mps = 3
field_radius_m = 150
`
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	typed, err := predictWith(t, with("--flights=50", "--json", "--temperature-c=15")...)
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"--flights=50", "--json", "--temperature-c=15", "--rail-m=0.5", "--config=" + file, "--rocket=Teal"}
	configured, err := predictWith(t, append(args, teal[:5]...)...)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(typed, configured); d != "" {
		t.Errorf("typed and configured differ (-typed +configured):\n%s", d)
	}
	_, err = predictWith(t, append(args, "--rocket=Rust")...)
	if err == nil || !strings.Contains(err.Error(), "no such [[rocket]]; it has Teal") {
		t.Errorf("unknown rocket: %v", err)
	}
}

func TestPredictPlots(t *testing.T) {
	dir := t.TempDir()
	svg, pic := filepath.Join(dir, "teal.svg"), filepath.Join(dir, "teal.PNG")
	for _, f := range []string{svg, pic} {
		if _, err := predictWith(t, with("--flights=50", "--plot="+f)...); err != nil {
			t.Fatal(err)
		}
	}
	svgHolds(t, svg, "time after liftoff, s", "height above the pad, m", "90 of 100 flights")
	band := pngPoints(t, pic, func(c color.Color) bool {
		return color.NRGBAModel.Convert(c) == chart.BlueBand
	})
	if band < 200 {
		t.Errorf("the PNG shows %d points of the band", band)
	}
	if _, err := predictWith(t, with("--plot="+filepath.Join(dir, "none", "a.svg"))...); err == nil {
		t.Error("a plot in a folder that does not exist: no error")
	}
}

func TestPredictMotor(t *testing.T) {
	file := filepath.Join(t.TempDir(), "plum.csv")
	if err := os.WriteFile(file, []byte("0,0\n0.3,14\n0.4,6\n1.5,5\n1.6,0\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := predictWith(t, "--thrust="+file, "--propellant-g=12.5", "--motor-g=24.5", "--dry-g=80", "--diameter-mm=26",
		"--cd=0.6", "--parachute-mm=350", "--rail-m=1", "--flights=50", "--json")
	if err != nil {
		t.Fatal(err)
	}
	var res predict.Result
	if err := json.Unmarshal([]byte(out), &res); err != nil {
		t.Fatal(err)
	}
	if res.WaterOutS != nil || res.ApogeeM.Mean < 100 || res.ApogeeM.Mean > 500 {
		t.Errorf("water out %v, apogee %+v", res.WaterOutS, res.ApogeeM)
	}
	if math.Abs(res.BurnoutS.Mean-1.6) > 0.05 {
		t.Errorf("burnout %+v", res.BurnoutS)
	}
}

// TestPredictDischarge: what part of the mouth the jet fills can be typed and
// configured, and a jet that fills less is a weaker one.
func TestPredictDischarge(t *testing.T) {
	base := []string{"predict", "--bottle-ml", "2000", "--water-ml", "650", "--pressure-bar", "4", "--rating-bar", "5",
		"--nozzle-mm", "21.7", "--dry-g", "150", "--diameter-mm", "90", "--parachute-mm", "500", "--json"}
	waterOut := func(more ...string) float64 {
		r := do(t, append(base, more...)...)
		return fromJSON[predict.Result](t, r.out).WaterOutS.Mean
	}
	full, sharp := waterOut(), waterOut("--discharge", "0.61")
	// The flow is in proportion to the area that is filled, while the pressure
	// hardly differs: the time goes as its inverse (1.64).
	if sharp/full < 1.58 || sharp/full > 1.70 {
		t.Errorf("water out after %.3f s with 0.61, %.3f s with 1", sharp, full)
	}
	cfg := filepath.Join(t.TempDir(), "padlark.toml")
	text := "[[link]]\nname = \"pad\"\nudp = \":0\"\nlayout = \"lark-text\"\n[[rocket]]\nname = \"Teal\"\nid = 7\nmass_kg = 0.15\ndiameter_m = 0.09\nbottle_l = 2.0\nnozzle_m = 0.0217\nrating_bar = 5.0\nparachute_m = 0.5\ndischarge = 0.61\n"
	if err := os.WriteFile(cfg, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	r := do(t, "predict", "--config", cfg, "--rocket", "Teal", "--water-ml", "650", "--pressure-bar", "4", "--json")
	if got := fromJSON[predict.Result](t, r.out).WaterOutS.Mean; math.Abs(got-sharp) > 1e-9 {
		t.Errorf("configured: water out after %.3f s, typed %.3f s", got, sharp)
	}
	for _, wrong := range []string{"0.1", "1.2", "-1"} {
		if r := do(t, append(base, "--discharge="+wrong)...); r.code != exitUsage || !strings.Contains(r.err, "discharge") {
			t.Errorf("--discharge %s: exit %d, %s", wrong, r.code, r.err)
		}
	}
}

// A sweep over the fill names the best, how sure that is, and what one's own noted
// flights say of the model.
func TestPredictSweep(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	must(t, "note", "Teal-1", "650ml water, 4 bar", "--data", data)
	config := writeConfig(t, "[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-bin\"\n[[rocket]]\nname = \"Teal\"\nid = 7\nmass_kg = 0.15\ndiameter_m = 0.09\nbottle_l = 2.0\nnozzle_m = 0.0217\nrating_bar = 5\nparachute_m = 0.6\n")
	out := must(t, "predict", "--config", config, "--rocket", "Teal", "--pressure-bar", "4", "--sweep", "water=200:1000", "--flights", "60", "--data", data)
	for _, want := range []string{"By the model ", "mL is the highest", "water 650 mL, pressure 4 bar flew 74.", "1 flight of yours with a noted fill: ", "best"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	for line := range strings.Lines(out) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > columns {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if out := must(t, "predict", "--config", config, "--rocket", "Teal", "--water-ml", "650", "--sweep", "pressure=2:4", "--flights", "40"); !strings.Contains(out, "recommends no pressure") {
		t.Errorf("over the pressure:\n%s", out)
	}
	for _, bad := range []string{"water", "water=1000:200", "mass=1:2", "pressure=2:9"} {
		if got := do(t, "predict", "--config", config, "--rocket", "Teal", "--water-ml", "650", "--pressure-bar", "4", "--sweep", bad); got.code != exitUsage {
			t.Errorf("--sweep %s: status %d, %s", bad, got.code, got.err)
		}
	}
}
