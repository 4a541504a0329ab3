package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// largeOld makes an archive of version 1 with so many frames and samples.
func largeOld(t *testing.T, n int) string {
	t.Helper()
	path := fixture(t, "v1.sql", 1)
	db := rawDB(t, path)
	_, err := db.Exec(`CREATE TEMP TABLE more AS WITH RECURSIVE c(n) AS (VALUES (601) UNION ALL SELECT n + 1 FROM c WHERE n < ?) SELECT n FROM c;
		INSERT INTO frames SELECT 1, n, n * 50000000, n * 50000000 + 1500, 2 * n, NULL, 26, NULL, NULL, randomblob(20) FROM more;
		INSERT INTO samples (rocket, link, n, boot, seq, clock_us, at_ns, mono_ns, passed_ns, pressure_pa, cell_v, other)
			SELECT 1, 1, n, 1, n, n * 50000, n * 50000000 - 27000000, n * 50000000, n * 50000000 + 1500, 99500 + abs(random() % 1000) / 8.0, 3.9, '{"humidity":' || (n % 100) || '}' FROM more`, n)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// oldSum is a checksum over all rows of an archive of version 1.
func oldSum(t *testing.T, path string) string {
	t.Helper()
	db := rawDB(t, path)
	defer db.Close()
	h := sha256.New()
	err := each(t.Context(), db, `SELECT n, mono_ns, passed_ns, wire, bytes FROM frames ORDER BY n`, nil, func(rows *sql.Rows) error {
		var v [4]int64
		var b []byte
		err := rows.Scan(&v[0], &v[1], &v[2], &v[3], &b)
		fmt.Fprintln(h, v, b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = each(t.Context(), db, `SELECT n, clock_us, at_ns, pressure_pa, COALESCE(cell_v, 0) FROM samples ORDER BY n`, nil, func(rows *sql.Rows) error {
		var v [3]int64
		var p, c float64
		err := rows.Scan(&v[0], &v[1], &v[2], &p, &c)
		fmt.Fprintln(h, v, p, c)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

// newSum is the same over an archive of this version.
func newSum(t *testing.T, a *Archive) string {
	t.Helper()
	s, err := a.Session(t.Context(), "s1")
	if err != nil {
		t.Fatal(err)
	}
	h := sha256.New()
	err = a.Frames(t.Context(), "s1", FrameFilter{}, func(f ingest.Frame) error {
		fmt.Fprintln(h, [4]int64{int64(f.N), f.Mono, f.Passed, int64(f.Wire)}, f.Bytes)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	err = a.Samples(t.Context(), Query{Recorded: true}, func(m *decode.Sample) error {
		p, _ := m.Values.Get("pressure_pa")
		c, _ := m.Values.Get("cell_v")
		if math.IsNaN(c) {
			c = 0 // not measured
		}
		fmt.Fprintln(h, [3]int64{int64(m.N), m.Clock, m.At.Sub(s.Epoch).Nanoseconds()}, p, c)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

// soundAndSmall checks that the whole file is sound and of which size it is.
func soundAndSmall(t *testing.T, path string, most int64) {
	t.Helper()
	db := rawDB(t, path)
	defer db.Close()
	var said string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&said); err != nil || said != "ok" {
		t.Errorf("the file is not sound: %s, %v", said, err)
	}
	if st, err := os.Stat(path); err != nil || st.Size() > most {
		t.Errorf("the file has %d bytes, want at most %d: %v", st.Size(), most, err)
	}
}

func size(t *testing.T, path string) int64 {
	t.Helper()
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return st.Size()
}

// told gathers what an opening says.
type told struct {
	mu    sync.Mutex
	lines []string
}

func (l *told) tell(line string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, line)
}

func (l *told) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.lines, "\n")
}

// A large archive of old is packed and shrunk, and says how far it is.
func TestPackingTellsAndShrinks(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	path := largeOld(t, 30_000)
	want, before := oldSum(t, path), size(t, path)
	var said told
	a, err := Open(t.Context(), path, Options{NoSync: true, Tell: said.tell, tellFirst: time.Nanosecond, shrinkFrom: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	if got := newSum(t, a); got != want {
		t.Error("other rows come out than went in")
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	soundAndSmall(t, path, before/2)
	t.Logf("%d bytes, then %d: %s", before, size(t, path), said.text())
	if !strings.Contains(said.text(), "the archive "+path+" is brought to the form of this version; ") {
		t.Errorf("it tells %q", said.text())
	}
}

func TestTellerSaysHowFar(t *testing.T) {
	l := startTeller("a.db", time.Hour, nil)
	defer l.stop()
	for _, c := range []struct {
		what string
		all  int64
		did  int
		want string
	}{
		{"frames are packed", 4000, 1000, "frames are packed: 1000 of about 4000 (25 %)"},
		{"frames are packed", 4000, 5000, "frames are packed: 5000 of about 4000 (100 %)"},
		{"tables are changed", 0, 0, "tables are changed"},
	} {
		l.at(c.what, c.all)
		l.did(c.did)
		if got := l.line(); !strings.HasSuffix(got, "; "+c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// Without room the file stays as it is, whole, and that is told; with room the
// next opening shrinks it.
func TestNoRoomToShrink(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	path := largeOld(t, 10_000)
	want := oldSum(t, path)
	var said told
	a, err := Open(t.Context(), path, Options{NoSync: true, Tell: said.tell, Reserve: 1 << 60, shrinkFrom: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(said.text(), "make room, and it shrinks at the next start") {
		t.Errorf("it tells %q", said.text())
	}
	before := size(t, path)
	if a, err = Open(t.Context(), path, Options{NoSync: true, shrinkFrom: 1 << 20}); err != nil {
		t.Fatal(err)
	}
	if got := newSum(t, a); got != want {
		t.Error("other rows come out than went in")
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	soundAndSmall(t, path, before/2)
}

const openInChild = "PADLARK_TEST_OPEN"

// TestOpenInChild is not a test: TestKilledWhilePacking runs it as a process.
func TestOpenInChild(t *testing.T) {
	path := os.Getenv(openInChild)
	if path == "" {
		return
	}
	a, err := Open(t.Context(), path, Options{shrinkFrom: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
}

// A process that brings an old archive to the present form is killed at random
// moments, while it packs and while it shrinks; every row is there in the end.
func TestKilledWhilePacking(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	const kills = 4
	path := largeOld(t, 15_000)
	want, before := oldSum(t, path), size(t, path)
	child := func(ctx context.Context) error {
		cmd := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestOpenInChild$")
		cmd.Env = append(os.Environ(), openInChild+"="+path)
		return cmd.Run() // the context's end is SIGKILL
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if err := child(t.Context()); err != nil {
		t.Fatal(err)
	}
	takes := time.Since(began) // undisturbed
	for _, p := range []string{path + "-wal", path + "-shm"} {
		_ = os.Remove(p)
	}
	if err := os.WriteFile(path, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	killed := 0
	for range kills {
		ctx, cancel := context.WithTimeout(t.Context(), takes/10+rand.N(takes/2))
		if child(ctx) != nil && ctx.Err() != nil {
			killed++
		}
		cancel()
	}
	if err := child(t.Context()); err != nil {
		t.Fatal(err)
	}
	if killed == 0 {
		t.Error("the process was never killed: the test shows nothing")
	}
	a, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if got := newSum(t, a); got != want {
		t.Error("other rows come out than went in")
	}
	soundAndSmall(t, path, before/2)
	t.Logf("killed %d times of %d, undisturbed %v", killed, kills, takes)
	if left, _ := filepath.Glob(filepath.Dir(path) + "/*"); len(left) > 4 {
		t.Errorf("left behind: %q", left)
	}
}
