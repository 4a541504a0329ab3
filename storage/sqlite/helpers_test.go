package sqlite

import (
	"database/sql"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// epoch of the tests' sessions; any moment would do.
var epoch = time.Date(2031, 5, 17, 9, 0, 0, 123456789, time.UTC)

func openNew(t testing.TB) *Archive {
	t.Helper()
	return openAt(t, filepath.Join(t.TempDir(), FileName))
}

func openAt(t testing.TB, path string) *Archive {
	t.Helper()
	a, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return a
}

func ptr[T any](v T) *T { return &v }

// entries are the values in order, numbered from 1.
func entries(t testing.TB, vs ...any) []storage.Entry {
	t.Helper()
	out := make([]storage.Entry, len(vs))
	for i, v := range vs {
		out[i] = entry(t, uint64(i+1), v)
	}
	return out
}

func entry(t testing.TB, seq uint64, v any) storage.Entry {
	t.Helper()
	switch v := v.(type) {
	case ingest.Frame:
		return storage.NewEntry(seq, &v)
	case decode.Sample:
		return storage.NewEntry(seq, &v)
	case decode.Rejected:
		return storage.NewEntry(seq, &v)
	case flight.Event:
		return storage.NewEntry(seq, &v)
	case flight.Alarm:
		return storage.NewEntry(seq, &v)
	}
	t.Fatalf("no entry for %T", v)
	return storage.Entry{}
}

func testFrame(link string, n uint64) ingest.Frame {
	mono := int64(n) * 50_000_000
	f := ingest.Frame{
		Session: "s1", Link: link, N: n, Heard: epoch.Add(time.Duration(mono)), Mono: mono, Passed: mono + 1500,
		Wire: 26, Baud: 9600, Bytes: []byte{1, 7, 0, byte(n), byte(n >> 8), 0xff},
	}
	if n%3 == 0 {
		f.RSSI = ptr(-87.5)
	}
	return f
}

func testSample(rocket, link string, n uint64) decode.Sample {
	f := testFrame(link, n)
	return decode.Sample{
		Session: f.Session, Link: link, N: n, Rocket: rocket, Boot: 2, Seq: int64(n) - 1, Clock: f.Mono/1000 + 17,
		Heard: f.Heard, At: f.Heard.Add(-27 * time.Millisecond), Passed: f.Passed, RSSI: f.RSSI,
		Values: decode.Channels{
			Names:  []string{"cell_v", "igniter_ohm", "pressure_pa", "release_us", "temperature_c"},
			Values: []float64{3.91, 1.25, 101000.5 - float64(n), 1500, 21.5},
		},
	}
}

func liftoff(rocket string, nr int, at time.Time) flight.Event {
	return flight.Event{
		Session: "s1", ID: fmt.Sprintf("%s/%d/liftoff", rocket, nr), At: at, CalledAt: at.Add(200 * time.Millisecond),
		Rocket: rocket, Kind: flight.Liftoff, Flight: nr, AtSD: ptr(0.03), AltitudeM: ptr(0.0), SpeedMps: ptr(12.5), Note: "from pressure",
	}
}

// shell runs a query in the plain sqlite3 shell.
func shell(t *testing.T, path, query string) string {
	t.Helper()
	bin, err := exec.LookPath("sqlite3")
	if err != nil {
		need(t, "the sqlite3 shell is not installed")
	}
	out, err := exec.Command(bin, "-readonly", path, query).CombinedOutput()
	if err != nil {
		t.Fatalf("sqlite3 %q: %v: %s", query, err, out)
	}
	return strings.TrimSpace(string(out))
}

// rawDB opens a file without any of the archive's care.
func rawDB(t testing.TB, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(path, "rwc"))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	return db
}

func ignoreSample(*decode.Sample) error { return nil }
