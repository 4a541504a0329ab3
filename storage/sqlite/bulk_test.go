package sqlite

import (
	"bytes"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
)

// noisy is what a board at 50 Hz sends, heard over a radio link: lines of the
// text layout, five channels, times with the noise of a real link.
func noisy(r *rand.Rand, from, count int) Rows {
	rows := Rows{From: uint64(2 * from)}
	names := []string{"armed", "cell_v", "pressure_pa", "release_on", "temperature_c"}
	values := make([]float64, 5*count)
	lines := make([]byte, 0, 64*count)
	for i := from; i < from+count; i++ {
		at := time.Duration(i) * 20 * time.Millisecond
		mono := at.Nanoseconds() + 27_000_000 + r.Int64N(2_000_000)
		p := int64(100800 + 40*math.Sin(float64(i)/90) + 3*r.NormFloat64())
		begin := len(lines)
		lines = fmt.Appendf(lines, "$PLRK,7,1,%d,%d,%d,%d,%d,,2*%02X", i, i*20, p, 2150+i/900, 4010-i/4000, r.IntN(256))
		f := ingest.Frame{Session: "s1", Link: "pad-radio", N: uint64(i + 1), Heard: epoch.Add(time.Duration(mono)), Mono: mono, Passed: mono + 1000 + r.Int64N(40_000),
			Wire: len(lines) - begin + 2, Baud: 57600, Bytes: lines[begin:len(lines):len(lines)]}
		v := values[5*(i-from) : 5*(i-from)+5]
		v[0], v[1], v[2], v[3], v[4] = 1, float64(4010-i/4000)/1000, float64(p), 0, float64(2150+i/900)/100
		rows.Frames = append(rows.Frames, f)
		rows.Samples = append(rows.Samples, decode.Sample{Session: "s1", Link: "pad-radio", N: f.N, Rocket: "Teal", Boot: 1, Seq: int64(i), Clock: at.Microseconds(),
			Heard: f.Heard, At: epoch.Add(at), Passed: f.Passed, Values: decode.Channels{Names: names, Values: v}})
	}
	return rows
}

// BenchmarkBulk stores frames with their samples as an import does, in
// transactions of 4000, beside two bare limits of the same machine in the same
// minute: one row for each frame with its bytes and one for its sample, by the
// same driver; and the frames' bytes as they are, written to a file and synced.
func BenchmarkBulk(b *testing.B) {
	const batch = 4000
	r := rand.New(rand.NewPCG(1, 2))
	rows := make([]Rows, 50)
	for i := range rows {
		rows[i] = noisy(r, i*batch, batch)
	}
	perRow := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*batch*len(rows)), "ns/frame")
	}
	b.Run("archive", func(b *testing.B) {
		for b.Loop() {
			a := openNew(b)
			for _, one := range rows {
				if err := a.WriteRows(b.Context(), one); err != nil {
					b.Fatal(err)
				}
			}
			size, err := a.FileBytes()
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(size)/float64(batch*len(rows)), "bytes/frame")
		}
		perRow(b)
	})
	b.Run("rows", func(b *testing.B) {
		for b.Loop() {
			bareRows(b, rows)
		}
		perRow(b)
	})
	b.Run("bytes", func(b *testing.B) {
		for b.Loop() {
			bareBytes(b, rows)
		}
		perRow(b)
	})
}

func bareRows(b *testing.B, rows []Rows) {
	b.Helper()
	db, err := sql.Open("sqlite", dsn(filepath.Join(b.TempDir(), "bare.db"), "rwc", "journal_mode(WAL)", "synchronous(FULL)"))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`CREATE TABLE frames (link, n, mono, passed, bytes, PRIMARY KEY (link, n)) WITHOUT ROWID;
		CREATE TABLE samples (rocket, link, n, at, v1, v2, v3, v4, v5, PRIMARY KEY (rocket, link, n)) WITHOUT ROWID`); err != nil {
		b.Fatal(err)
	}
	for _, one := range rows {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		frame, err := tx.Prepare(`INSERT INTO frames VALUES (1, ?, ?, ?, ?)`)
		if err != nil {
			b.Fatal(err)
		}
		sample, err := tx.Prepare(`INSERT INTO samples VALUES (1, 1, ?, ?, ?, ?, ?, ?, ?)`)
		if err != nil {
			b.Fatal(err)
		}
		for i := range one.Frames {
			f, v := &one.Frames[i], one.Samples[i].Values.Values
			if _, err := frame.Exec(int64(f.N), f.Mono, f.Passed, f.Bytes); err != nil {
				b.Fatal(err)
			}
			if _, err := sample.Exec(int64(f.N), f.Mono, v[0], v[1], v[2], v[3], v[4]); err != nil {
				b.Fatal(err)
			}
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
}

func bareBytes(b *testing.B, rows []Rows) {
	b.Helper()
	f, err := os.Create(filepath.Join(b.TempDir(), "bare.txt"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	for _, one := range rows {
		var buf bytes.Buffer
		for i := range one.Frames {
			buf.Write(one.Frames[i].Bytes)
			buf.WriteByte('\n')
		}
		if _, err := f.Write(buf.Bytes()); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkColdChannel reads one channel of ten hours at 50 Hz, recorded in
// commits of five seconds, from a file that is opened anew each time.
func BenchmarkColdChannel(b *testing.B) {
	path := filepath.Join(b.TempDir(), FileName)
	a, err := Open(b.Context(), path, Options{NoSync: true})
	if err != nil {
		b.Fatal(err)
	}
	const total, commit = 10 * 3600 * 50, 5 * 50
	r := rand.New(rand.NewPCG(1, 2))
	for i := 0; i < total; i += commit {
		if err := a.WriteRows(b.Context(), noisy(r, i, commit)); err != nil {
			b.Fatal(err)
		}
	}
	if err := a.EndSession(b.Context(), "s1", epoch.Add(10*time.Hour)); err != nil {
		b.Fatal(err)
	}
	size, err := a.FileBytes()
	if err != nil {
		b.Fatal(err)
	}
	if err := a.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		a, err := OpenReadOnly(path)
		if err != nil {
			b.Fatal(err)
		}
		n, sum := 0, 0.0
		err = a.Columns(b.Context(), storage.Query{Rocket: "Teal"}, []string{"pressure_pa"}, func(c *storage.Columns) error {
			n += len(c.At)
			for _, v := range c.Values[0] {
				sum += v
			}
			return nil
		})
		if err != nil || n != total {
			b.Fatal(n, err)
		}
		if err := a.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms")
	b.ReportMetric(float64(size)/total, "bytes/frame")
}
