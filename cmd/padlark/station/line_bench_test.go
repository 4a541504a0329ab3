package station

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/config"
	"padlark/flight/sim"
	"padlark/ingest"
	"padlark/storage/journal"
)

// lineSeconds is how long the benchmark's boards send.
const lineSeconds = 20

// fleetCapture writes what 32 boards send at 50 Hz, and counts the frames.
func fleetCapture(b *testing.B) (path string, sc sim.Scenario, frames int) {
	b.Helper()
	sc, err := sim.Fleet(32, 50, 2)
	if err != nil {
		b.Fatal(err)
	}
	epoch := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	s, err := sim.New(sc, 1, epoch)
	if err != nil {
		b.Fatal(err)
	}
	info := ingest.CaptureInfo{Station: "fleet", Epoch: epoch}
	for _, l := range sc.Links {
		info.Links = append(info.Links, ingest.CaptureLink{Name: l.Name, Kind: l.Kind, Layout: l.Layout})
	}
	path = filepath.Join(b.TempDir(), "fleet.plarkcap")
	w, err := ingest.CreateCapture(path, info)
	if err != nil {
		b.Fatal(err)
	}
	for c, err := range s.Chunks(1) {
		if err != nil {
			b.Fatal(err)
		}
		if c.Heard > lineSeconds*time.Second {
			break
		}
		if err := w.WriteChunk(c); err != nil {
			b.Fatal(err)
		}
		frames++
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	return path, sc, frames
}

// BenchmarkLine measures frames a second through the whole line, from the
// chunks of a capture to a committed archive, beside its raw limits in the same
// run: as many records appended to a file that is synced as the journal is, and
// by the library alone, in one thread, the plain rows that an archive needs: one
// of each frame, and one of its sample with the channels of lark-bin.
func BenchmarkLine(b *testing.B) {
	path, sc, frames := fleetCapture(b)
	text := fmt.Sprintf("[station]\nname = \"fleet\"\ndata = %q\n[web]\nlisten = \"off\"\n", filepath.Join(b.TempDir(), "data"))
	for _, l := range sc.Links {
		text += fmt.Sprintf("[[link]]\nname = %q\nfile = %q\nlayout = %q\n", l.Name, path, l.Layout)
	}
	cfg, err := config.Parse("fleet.toml", []byte(text))
	if err != nil {
		b.Fatal(err)
	}
	for i := range b.N {
		cfg.Station.Data = filepath.Join(b.TempDir(), fmt.Sprint("data", i))
		start := time.Now()
		if err := Run(b.Context(), Options{Config: cfg, Log: zerolog.Nop()}); err != nil {
			b.Fatal(err)
		}
		line := float64(frames) / time.Since(start).Seconds()
		appended := plainAppend(b, frames)
		insert := plainInsert(b, frames)
		b.ReportMetric(line, "line_frames/s")
		b.ReportMetric(appended, "plain_append_frames/s")
		b.ReportMetric(insert, "plain_insert_frames/s")
		b.ReportMetric(line*(1/appended+1/insert), "share_of_raw_limit")
	}
}

// plainAppend appends so many records of a frame's size to a file, as many at a
// time as the sequencer writes at most, and syncs it as often as a journal is.
func plainAppend(b *testing.B, n int) float64 {
	b.Helper()
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()                      //nolint:errcheck // it is thrown away
	records := make([]byte, together*52) // a frame of 24 bytes takes that
	start := time.Now()
	synced := start
	for done := 0; done < n; done += together {
		if _, err := f.Write(records); err != nil {
			b.Fatal(err)
		}
		if time.Since(synced) > journal.SyncEvery {
			synced = time.Now()
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
		}
	}
	if err := f.Sync(); err != nil {
		b.Fatal(err)
	}
	return float64(n) / time.Since(start).Seconds()
}

// plainInsert inserts the rows of so many frames and of their samples with the
// library alone, a thousand frames to a transaction.
func plainInsert(b *testing.B, n int) float64 {
	b.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "raw.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(OFF)")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // it is thrown away
	_, err = db.Exec(`CREATE TABLE frames (n INTEGER PRIMARY KEY, heard INTEGER, passed INTEGER, bytes BLOB);
		CREATE TABLE samples (rocket INTEGER, n INTEGER, boot INTEGER, seq INTEGER, clock INTEGER, at INTEGER,
		pressure REAL, temperature REAL, cell REAL, release REAL, released REAL, armed REAL, PRIMARY KEY (rocket, n)) WITHOUT ROWID`)
	if err != nil {
		b.Fatal(err)
	}
	payload := make([]byte, 24)
	start := time.Now()
	for done := 0; done < n; {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		frame, err := tx.Prepare("INSERT INTO frames VALUES (?, ?, ?, ?)")
		if err != nil {
			b.Fatal(err)
		}
		sample, err := tx.Prepare("INSERT INTO samples VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)")
		if err != nil {
			b.Fatal(err)
		}
		for range min(1000, n-done) {
			done++
			if _, err := frame.Exec(done, done, done, payload); err != nil {
				b.Fatal(err)
			}
			if _, err := sample.Exec(done%32, done, 1, done, done, done, 101325.5, 21.5, 3.8, 1000.0, 0.0, 1.0); err != nil {
				b.Fatal(err)
			}
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	return float64(n) / time.Since(start).Seconds()
}
