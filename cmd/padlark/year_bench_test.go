package main

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"padlark/flight/sim"
	"padlark/ingest"
)

// BenchmarkClubYear is a year of a club: PADLARK_YEAR_DAYS days in the field (2; 60
// are a year) of PADLARK_YEAR_MINUTES each (20; 180 are a day), 8 rockets at 20 Hz of
// which each flies every ten minutes. It tells how large the folder becomes, how long
// the pages take to come over it from the start of the program on, and how long the
// season takes the first time and later.
//
//	go test ./cmd/padlark -run=NONE -bench=ClubYear -benchtime=1x -timeout=2h
func BenchmarkClubYear(b *testing.B) {
	days, minutes := envNumber(b, "PADLARK_YEAR_DAYS", 2), envNumber(b, "PADLARK_YEAR_MINUTES", 20)
	const roundS = 600
	sc, err := sim.Fleet(8, 20, roundS-62) // the fleet's own break is 2 s, its flights 60
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		data, frames := b.TempDir(), 0
		begin := time.Now()
		for day := range days {
			epoch := time.Date(2026, 1, 3, 9, 0, 0, 0, time.UTC).AddDate(0, 0, 6*day)
			path := filepath.Join(b.TempDir(), fmt.Sprintf("day-%02d.plarkcap", day+1))
			frames += writeDay(b, path, sc, uint64(day+1), epoch, max(1, minutes*60/roundS))
			cfg := fmt.Sprintf("[station]\nname = \"club\"\ndata = %q\n[web]\nlisten = \"off\"\n", data)
			for _, l := range sc.Links {
				cfg += fmt.Sprintf("[[link]]\nname = %q\nfile = %q\nlayout = %q\n", l.Name, path, l.Layout)
			}
			config := filepath.Join(b.TempDir(), "club.toml")
			if err := os.WriteFile(config, []byte(cfg), 0o600); err != nil {
				b.Fatal(err)
			}
			yearRun(b, "run", "-q", config)
			if err := os.Remove(path); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(time.Since(begin).Seconds()/float64(days), "s/day")
		b.ReportMetric(float64(frames), "frames")
		b.ReportMetric(float64(folderSize(b, data))/1e6, "MB")
		b.ReportMetric(yearRun(b, "flights", "--season", "--data", data).Seconds(), "s-season-first")
		b.ReportMetric(yearRun(b, "flights", "--season", "--data", data).Seconds(), "s-season")
		b.ReportMetric(yearRun(b, "sessions", "--data", data).Seconds(), "s-sessions")

		begin = time.Now()
		show := startProcess(b, program(b.Context(), "show", data, "--listen", "127.0.0.1:0"), "pages at http://", 1)
		base := regexp.MustCompile(`http://[^/]+`).FindString(show.log.String())
		b.ReportMetric(time.Since(begin).Seconds(), "s-open")
		for _, page := range []string{"sessions", "flights"} {
			for _, when := range []string{"first", "again"} {
				begin = time.Now()
				get(b, base+"/"+page)
				b.ReportMetric(time.Since(begin).Seconds(), "s-page-"+page+"-"+when)
			}
		}
		show.end(b, os.Interrupt)
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

// writeDay writes what a station hears in so many rounds of flights, and counts the
// frames.
func writeDay(b *testing.B, path string, sc sim.Scenario, seed uint64, epoch time.Time, rounds int) (frames int) {
	b.Helper()
	s, err := sim.New(sc, seed, epoch)
	if err != nil {
		b.Fatal(err)
	}
	info := ingest.CaptureInfo{Station: "club", Epoch: epoch}
	for _, l := range sc.Links {
		info.Links = append(info.Links, ingest.CaptureLink{Name: l.Name, Kind: l.Kind, Layout: l.Layout})
	}
	w, err := ingest.CreateCapture(path, info)
	if err != nil {
		b.Fatal(err)
	}
	for c, err := range s.Chunks(rounds) {
		if err == nil {
			err = w.WriteChunk(c)
		}
		if err != nil {
			b.Fatal(err)
		}
		frames++
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	return frames
}

// yearRun runs a command as a person does and tells how long it took.
func yearRun(b *testing.B, args ...string) time.Duration {
	b.Helper()
	begin := time.Now()
	if out, err := program(b.Context(), args...).CombinedOutput(); err != nil {
		b.Fatalf("padlark %v: %v: %s", args, err, out)
	}
	return time.Since(begin)
}

// folderSize is what the files below a folder hold, in bytes.
func folderSize(b *testing.B, dir string) (sum int64) {
	b.Helper()
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			sum += info.Size()
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return sum
}
