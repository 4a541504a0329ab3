package main

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"padlark/flight/predict"
	"padlark/storage/report"
)

// wellFormed reads XML to its end.
func wellFormed(t *testing.T, text []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(text))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
	}
}

func TestReport(t *testing.T) {
	dir := demoDir(t)
	truth := readTruth(t, dir)
	page := fromJSON[report.Page](t, must(t, "report", "Rust", "1", "--data", dir, "--json"))
	if !strings.HasSuffix(page.Flight, "~Rust~1") || len(page.Series.T) < 300 || len(page.Alarms) == 0 || len(page.Links) != 1 {
		t.Fatalf("page of Rust: %s, %d readings, %d alarms, links %v", page.Flight, len(page.Series.T), len(page.Alarms), page.Links)
	}
	// The parts of the apogee's deviation are all of it.
	p := page.Parts
	sum := math.Sqrt(p.Readings*p.Readings + p.Temperature*p.Temperature + p.Lapse*p.Lapse + p.Sensor*p.Sensor)
	if math.Abs(sum-*page.Result.ApogeeSD) > 1e-6 {
		t.Errorf("parts %+v make %.4f m, the result says %.4f m", p, sum, *page.Result.ApogeeSD)
	}
	for _, tr := range truth {
		if tr.Rocket != "Rust" {
			continue
		}
		if d := math.Abs(page.Series.T[0] - (-10)); d > 25 {
			t.Errorf("the series begins at %.1f s after liftoff", page.Series.T[0])
		}
		for _, e := range page.Events {
			if want := tr.TimeToApogeeS; e.Kind == "apogee" && math.Abs(e.T-want) > 0.3 {
				t.Errorf("apogee on the page at %.2f s, truth %.2f s", e.T, want)
			}
		}
	}
	for _, e := range page.Expected {
		if e.Words == "" || e.Measured == nil {
			t.Errorf("expected %s: %+v", e.Name, e)
		}
	}
	text := must(t, "report", "Rust-1", "--data", dir)
	for _, want := range []string{"±", "not a certified record", "link text-radio", "alarm at", "expected"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	html := must(t, "report", "Rust-1", "--data", dir, "-o", "-")
	for _, want := range []string{"<!doctype html>", "<svg", "Rust has not released", "hypsometric", "recorded by padlark"} {
		if !strings.Contains(html, want) {
			t.Errorf("%q is missing in the page", want)
		}
	}
}

// Files are written in every form, never over another one without --force.
func TestReportFiles(t *testing.T) {
	dir := demoDir(t)
	for _, ext := range []string{".html", ".svg", ".png", ".json"} {
		file := filepath.Join(t.TempDir(), "teal"+ext)
		if out := must(t, "report", "Teal-1", "--data", dir, "-o", file); out != "" {
			t.Errorf("%s: something on stdout: %q", ext, out)
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		switch ext {
		case ".svg":
			wellFormed(t, text)
		case ".png":
			if img, err := png.Decode(bytes.NewReader(text)); err != nil || img.Bounds().Dx() < 800 {
				t.Errorf("png: %v", err)
			}
		}
		if r := do(t, "report", "Teal-1", "--data", dir, "-o", file); r.code != 2 || !strings.Contains(r.err, "--force") {
			t.Errorf("%s was overwritten: exit status %d %s", ext, r.code, r.err)
		}
		must(t, "report", "Teal-1", "--data", dir, "-o", file, "--force")
	}
	for name, want := range map[string]string{
		"Teal-9": "Teal-1 (", "Teal": "ROCKET-NUMBER", "nosuch~Teal~1": "there are",
	} {
		if r := do(t, "report", name, "--data", dir); r.code != 2 || r.out != "" || !strings.Contains(r.err, want) {
			t.Errorf("%s: exit status %d, error %q, want %q", name, r.code, r.err, want)
		}
	}
	if r := do(t, "report", "Teal-1", "--data", dir, "-o", "x.pdf"); r.code != 2 {
		t.Errorf("x.pdf: exit status %d", r.code)
	}
}

func TestCompareAndNotes(t *testing.T) {
	dir := demoDir(t)
	if r := do(t, "note", "Teal-1", "fill 650 mL, pressure 4.0 bar, mass 152 g", "--data", dir); r.code != 0 || r.out != "" || !strings.Contains(r.err, "read: water 650 mL, pressure 4 bar, mass 152 g") {
		t.Fatalf("note: exit status %d, %q", r.code, r.err)
	}
	cmp := fromJSON[report.Comparison](t, must(t, "compare", "Teal-1", "Plum-1", "--against", "Rust-1", "--data", dir, "--json"))
	if len(cmp.Flights) != 3 || len(cmp.Groups) != 2 || len(cmp.Contrasts) == 0 {
		t.Fatalf("%d flights, %d groups, %d contrasts", len(cmp.Flights), len(cmp.Groups), len(cmp.Contrasts))
	}
	if n := cmp.Flights[0].Typed; n.FillMl == nil || *n.FillMl != 650 || *n.PressureBar != 4 || *n.MassG != 152 {
		t.Errorf("typed: %+v", n)
	}
	// The difference is the one of the means, whatever is said of it.
	a := (*cmp.Flights[0].Result.ApogeeM + *cmp.Flights[1].Result.ApogeeM) / 2
	if d := *cmp.Contrasts[0].Difference - (*cmp.Flights[2].Result.ApogeeM - a); math.Abs(d) > 1e-9 || cmp.Contrasts[0].Test != "none" {
		t.Errorf("contrast %+v", cmp.Contrasts[0])
	}
	// Aligned at liftoff: on the pad before, in the air after.
	for _, f := range cmp.Flights {
		for i, at := range f.Series.T {
			if h := f.Series.Height[i]; at < -0.3 && math.Abs(h) > 3 || at > 1 && at < 2 && h < 8 {
				t.Fatalf("%s: %.1f m at %.2f s", f.Short, h, at)
			}
		}
	}
	text := strings.Join(strings.Fields(must(t, "compare", "Teal-1", "Plum-1", "--data", dir)), " ")
	for _, want := range []string{"650", "chi-squared", "n = 2", "Spread"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	wellFormedFile := filepath.Join(t.TempDir(), "both.svg")
	must(t, "compare", "Teal-1", "Plum-1", "--data", dir, "-o", wellFormedFile)
	svg, err := os.ReadFile(wellFormedFile)
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, svg)
	for _, args := range [][]string{{}, {"Teal-1"}, {"Teal-1", "Teal-1"}, {"Teal-1", "--rocket", "Teal"}, {"--rocket", "Nobody"}} {
		if r := do(t, append([]string{"compare", "--data", dir}, args...)...); r.code != 2 || r.out != "" {
			t.Errorf("compare %v: exit status %d", args, r.code)
		}
	}
	if r := do(t, "note", "Teal-1", " ", "--data", dir); r.code != 2 {
		t.Errorf("an empty note: exit status %d", r.code)
	}
}

func TestSeason(t *testing.T) {
	dir := demoDir(t)
	list := fromJSON[[]report.Season](t, must(t, "flights", "--season", "--data", dir, "--json"))
	if len(list) != 3 {
		t.Fatalf("%d rockets", len(list))
	}
	for _, s := range list {
		inTime := 1
		if s.Rocket == "Rust" { // released 2.4 s late, by the scenario
			inTime = 0
		}
		if s.Flights != 1 || s.Releases != 1 || s.InTime != inTime || s.BestM == nil || len(s.CellV) != 1 || s.CellTrend != nil || s.Checkup != nil {
			t.Errorf("%+v", s)
		}
		if s.CellV[0] < 3.5 || s.CellV[0] > 4.25 {
			t.Errorf("%s: cell %.2f V", s.Rocket, s.CellV[0])
		}
	}
	for _, line := range strings.Split(must(t, "flights", "--season", "--data", dir), "\n") {
		if n := len([]rune(strings.TrimRight(line, " "))); n > 80 {
			t.Errorf("a line has %d columns: %s", n, line)
		}
	}
}

// The page of the fullest flight prints on one sheet.
func TestReportPrintsOnOneSheet(t *testing.T) {
	need(t, "chromium")
	dir := demoDir(t)
	must(t, "note", "Rust-1", "fill 650 mL, pressure 4.0 bar, mass 231 g. Wind from the west, one fin was glued again.", "--data", dir)
	tmp := t.TempDir()
	page, sheet := filepath.Join(tmp, "rust.html"), filepath.Join(tmp, "rust.pdf")
	must(t, "report", "Rust-1", "--data", dir, "-o", page)
	cmd := exec.CommandContext(t.Context(), "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--no-first-run", "--user-data-dir="+filepath.Join(tmp, "profile"),
		"--no-pdf-header-footer", "--print-to-pdf="+sheet, "file://"+page)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("print: %v\n%s", err, out)
	}
	pdf, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	if n := regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1); len(n) != 1 {
		t.Errorf("%d sheets, want 1", len(n))
	}
}

// A long season with every number known fits 80 columns.
func TestSeasonIsNarrow(t *testing.T) {
	best, mean, sd, trend, trendSD := 1123.4, 987.6, 123.4, -0.0123, 0.0114
	full := report.Season{
		Rocket: "Longest name of all", Flights: 123, BestM: &best, Apogee: report.Spread{Mean: &mean, SD: &sd},
		InTime: 118, Releases: 121, RateLow: 0.91, RateHigh: 0.99, CellV: []float64{4.11, 4.07}, CellTrend: &trend, CellTrendSD: &trendSD,
		Checkup: &report.LastCheckup{At: time.Date(2031, 12, 24, 12, 0, 0, 0, time.UTC), Verdict: "good: 24 checks passed"},
	}
	var out bytes.Buffer
	if err := printSeason(&out, []report.Season{full, {Rocket: "Teal"}}); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(out.String(), "\n") {
		if n := len([]rune(strings.TrimRight(line, " "))); n > columns {
			t.Errorf("a line has %d columns: %s", n, line)
		}
	}
}

// Where fill, pressure and mass are noted and the configuration describes the
// bottle, a report expects what padlark predict says of the same launch, typed.
func TestReportExpectsWhatWasNoted(t *testing.T) {
	dir := demoDir(t)
	must(t, "note", "Teal-1", "fill 650 mL, pressure 7.0 bar, mass 231 g", "--data", dir)
	read := func(args ...string) report.Page {
		t.Helper()
		return fromJSON[report.Page](t, must(t, append([]string{"report", "Teal-1", "--json"}, args...)...))
	}
	bare := read("--data", dir)
	if bare.Predicted != "" || !strings.Contains(strings.Join(bare.Caveats, "\n"), "nothing was predicted: the rocket's bottle_l, its nozzle_m, its rating_bar is not given") {
		t.Errorf("without a bottle: %q, %q", bare.Predicted, bare.Caveats)
	}
	page := read("--config", bottleConfig(t, dir, "8.0"))
	if len(page.Expected) != 4 || !strings.Contains(page.Predicted, "650 mL at 7.00 bar, 231 g") || !strings.Contains(page.Predicted, "configured by now") {
		t.Fatalf("%d expected, from %q", len(page.Expected), page.Predicted)
	}
	r, s := page.Rocket, page.Site
	typed := fromJSON[predict.Result](t, do(t, "predict", "--json", "--flights=200", "--bottle-ml=2000", "--nozzle-mm=21.7", "--rating-bar=8",
		"--water-ml=650", "--pressure-bar=7", "--dry-g=231", fmt.Sprintf("--diameter-mm=%g", 1000*r.DiameterM), fmt.Sprintf("--cd=%g", r.Cd),
		fmt.Sprintf("--parachute-mm=%g", 1000*r.ParachuteM), fmt.Sprintf("--parachute-cd=%g", r.ParachuteCd), fmt.Sprintf("--wind-mps=%g", s.WindMps),
		fmt.Sprintf("--elevation-m=%g", *s.ElevationM), fmt.Sprintf("--temperature-c=%g", *s.TemperatureC), fmt.Sprintf("--field-m=%g", s.FieldRadiusM)).out)
	for i, want := range []*predict.Quantity{typed.ApogeeM, typed.TimeToApogeeS, typed.MaxSpeedMps, typed.DescentMps} {
		e := page.Expected[i]
		if math.Abs(e.Expected-want.Mean) > 1e-6*want.Mean || e.ExpectedSD == nil || math.Abs(*e.ExpectedSD-want.SD) > 1e-6 || e.Measured == nil {
			t.Errorf("%s: expected %+v, padlark predict says %+v", e.Name, e, want)
		}
	}
	over := read("--config", bottleConfig(t, dir, "5.0"))
	if over.Predicted != "" || !strings.Contains(strings.Join(over.Caveats, "\n"), "7.00 bar is above the bottle's rating of 5.00 bar") {
		t.Errorf("above the rating: %q, %q", over.Predicted, over.Caveats)
	}
}

// bottleConfig is the demo's configuration with a bottle for Teal.
func bottleConfig(t *testing.T, dir, rating string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	with := strings.Replace(string(text), "name = \"Teal\"\n", "name = \"Teal\"\nbottle_l = 2.0\nnozzle_m = 0.0217\nrating_bar = "+rating+"\n", 1)
	file := filepath.Join(t.TempDir(), "padlark.toml")
	if err := os.WriteFile(file, []byte(with), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}
