package report

import (
	"bytes"
	"encoding/json"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/flight/bench"
	"padlark/flight/bench/boardtest"
	"padlark/ingest"
)

// checkupOf runs a whole checkup of a simulated board.
func checkupOf(t *testing.T, defect string) *bench.Report {
	t.Helper()
	elevation, temperature := 212.0, 20.0
	begin := time.Date(2031, 4, 2, 18, 30, 0, 0, time.UTC)
	p := bench.Plan{Rocket: boardtest.Rocket(), RestS: 60, WaitS: 8}
	p.Site.ElevationM, p.Site.TemperatureC = &elevation, &temperature
	b, err := bench.New(p, begin)
	if err != nil {
		t.Fatal(err)
	}
	if err := boardtest.Hear(boardtest.Full(3, defect, 60.5), begin, sitting{b}); err != nil {
		t.Fatal(err)
	}
	r, err := b.Report()
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

type sitting struct{ *bench.Bench }

func (s sitting) Tick(now time.Time, h ingest.Health) {
	s.Count(bench.Count{Link: h.Link, Bytes: h.Bytes, Frames: h.Frames, Bad: h.Bad})
	s.Bench.Tick(now)
}

// Every check of a checkup is on its page, and the Allan plot after a minute.
func TestCheckupPage(t *testing.T) {
	for _, defect := range []string{"", "weak-cell", "silent"} {
		r := checkupOf(t, defect)
		page, err := CheckupPage(r, ".html")
		if err != nil {
			t.Fatal(err)
		}
		if dir := os.Getenv("PADLARK_PAGES"); dir != "" { // to look at
			if err := os.WriteFile(filepath.Join(dir, "checkup-"+defect+".html"), page, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		for _, f := range r.Findings {
			if !bytes.Contains(page, []byte(strings.ReplaceAll(f.Title, "'", "&#39;"))) {
				t.Errorf("%s: %s is not on the page", defect, f.Title)
			}
		}
		pictures := len(r.Traces)
		if len(r.Allan) > 0 {
			pictures++
		}
		if n := bytes.Count(page, []byte("<svg")); n != pictures || defect != "silent" && n < 4 {
			t.Errorf("%q: %d pictures, want %d", defect, n, pictures)
		}
		var back bench.Report
		text, err := CheckupPage(r, ".json")
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(text, &back); err != nil || back.Verdict != r.Verdict {
			t.Errorf("json: %v, %q", err, back.Verdict)
		}
	}
}

// A flight of which little is known still has a page in every form.
func TestPageOfLittle(t *testing.T) {
	p := Page{Title: "Flight 1 of Teal", Caveats: []string{"Too few readings"}}
	p.Result.Verdict = "look: too few samples to work this flight out"
	for _, ext := range []string{".html", ".svg", ".png", ".json"} {
		out, err := p.Write(ext)
		if err != nil || len(out) == 0 {
			t.Fatalf("%s: %v", ext, err)
		}
		if ext == ".png" {
			if _, err := png.Decode(bytes.NewReader(out)); err != nil {
				t.Errorf("png: %v", err)
			}
		}
	}
}

func TestNumbersAsJSON(t *testing.T) {
	got, err := json.Marshal(Numbers{1.5, math.NaN(), math.Inf(-1), 123456.789})
	if err != nil || string(got) != "[1.5,null,null,123457]" {
		t.Errorf("%s %v", got, err)
	}
}
