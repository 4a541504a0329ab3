package main

import (
	"encoding/csv"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"padlark/flight"
)

// A table of a flight has the columns that were asked for, with the time since
// liftoff, height, speed and phase beside the channels; its top is that of the result.
func TestExportColumns(t *testing.T) {
	data := filepath.Join(t.TempDir(), "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	out := must(t, "export", "Teal-1", "--data", data, "--columns", "since_liftoff_s,height_m,height_sd_m,speed_mps,phase,pressure_pa")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	n := len(rows[0])
	if got := strings.Join(rows[0][n-6:], "|"); got != "since_liftoff_s [s]|height_m [m]|height_sd_m [m]|speed_mps [m/s]|phase|pressure_pa [Pa]" {
		t.Errorf("columns %s", got)
	}
	top, at, phases := 0.0, 0.0, map[string]bool{}
	for _, r := range rows[1:] {
		if h, err := strconv.ParseFloat(r[n-5], 64); err == nil && h > top {
			top = h
			if at, err = strconv.ParseFloat(r[n-6], 64); err != nil {
				t.Fatal(err)
			}
		}
		phases[r[n-2]] = true
	}
	res := fromJSON[[]flight.Result](t, must(t, "flights", "--data", data, "--rocket", "Teal", "--json"))[0]
	if math.Abs(top-*res.ApogeeM) > 0.5 || math.Abs(at-*res.TimeToApogeeS) > 0.3 || len(phases) < 5 {
		t.Errorf("top %.2f m at %.2f s, the result has %.2f m at %.2f s; phases %v", top, at, *res.ApogeeM, *res.TimeToApogeeS, phases)
	}
	if got := do(t, "export", "Teal-1", "--data", data, "--columns", "hight_m"); got.code != exitUsage || !strings.Contains(got.err, "height_m") {
		t.Errorf("status %d: %s", got.code, got.err)
	}
}

// Subtitles begin where the video says that the rocket leaves the pad, and tell its top
// when it is there. The forms are those of the WebVTT recommendation, and common
// practice for SubRip's, no source.
func TestExportSubtitles(t *testing.T) {
	data := filepath.Join(t.TempDir(), "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	vtt := must(t, "export", "Teal-1", "--data", data, "--format", "vtt", "--offset", "12.5s")
	if !strings.HasPrefix(vtt, "WEBVTT\n\n1\n00:00:12.500 --> 00:00:13.000\nTeal  ") || !strings.Contains(vtt, "\napogee 74.") {
		t.Errorf("%.200s", vtt)
	}
	cue := regexp.MustCompile(`^\d+\n\d\d:\d\d:\d\d,\d{3} --> \d\d:\d\d:\d\d,\d{3}\nTeal  -?\d+ m  [+-]\d+ m/s  \d+\.\d s(\n[a-z0-9. ]+)*$`)
	srt := strings.Split(strings.TrimSpace(must(t, "export", "Teal-1", "--data", data, "--format", "srt", "--offset=-1s")), "\n\n")
	for _, c := range srt {
		if !cue.MatchString(c) {
			t.Errorf("not a subtitle: %q", c)
		}
	}
	if len(srt) < 20 {
		t.Errorf("%d subtitles", len(srt))
	}
	if got := do(t, "export", "--data", data, "--format", "vtt"); got.code != exitUsage {
		t.Errorf("of no flight: status %d", got.code)
	}
}
