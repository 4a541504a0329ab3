package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"padlark/ingest"
)

// oldRowsOf lists the frames and samples of an archive of version 1.
func oldRowsOf(t *testing.T, path string) (frames map[uint64]string, samples map[uint64]float64) {
	t.Helper()
	db := rawDB(t, path)
	defer db.Close()
	frames, samples = map[uint64]string{}, map[uint64]float64{}
	err1 := each(t.Context(), db, `SELECT n, bytes FROM frames`, nil, func(rows *sql.Rows) error {
		var n uint64
		var b string
		err := rows.Scan(&n, &b)
		frames[n] = b
		return err
	})
	err2 := each(t.Context(), db, `SELECT n, pressure_pa FROM samples`, nil, func(rows *sql.Rows) error {
		var n uint64
		var p float64
		err := rows.Scan(&n, &p)
		samples[n] = p
		return err
	})
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	return frames, samples
}

// checkOlder reads what is left of a damaged archive of old and checks that
// every row is there unchanged or within a reported loss.
func checkOlder(t *testing.T, path string, frames map[uint64]string, samples map[uint64]float64) {
	t.Helper()
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a, err := OpenOlder(t.Context(), path, nil)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	haveF, haveS := map[uint64]bool{}, map[uint64]bool{}
	err = a.Frames(t.Context(), "s1", FrameFilter{}, func(f ingest.Frame) error {
		if frames[f.N] != string(f.Bytes) {
			t.Errorf("frame %d is changed", f.N)
		}
		haveF[f.N] = true
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range readSamples(t, a, Query{}) {
		if p, _ := m.Values.Get("pressure_pa"); p != samples[m.N] {
			t.Errorf("sample %d is changed", m.N)
		}
		haveS[m.N] = true
	}
	missing, silent := 0, 0
	look := func(table string, n uint64, have bool) {
		if have {
			return
		}
		missing++
		for _, l := range a.Lost() {
			if l.Table == table && l.Note == "" && n > l.From && (l.To == 0 || n < l.To) {
				return
			}
		}
		silent++
	}
	for n := range frames {
		look("frames", n, haveF[n])
	}
	for n := range samples {
		look("samples", n, haveS[n])
	}
	t.Logf("%d of %d rows are lost: %v", missing, len(frames)+len(samples), a.Lost())
	if silent > 0 || missing == 0 || missing > (len(frames)+len(samples))/2 {
		t.Errorf("%d of %d rows are missing, %d without being reported", missing, len(frames)+len(samples), silent)
	}
	temp := a.temp
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(temp); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s is left behind: %v", temp, err)
	}
	after, err := os.ReadFile(path)
	if err != nil || string(after) != string(before) {
		t.Errorf("the damaged file is not as it was: %v", err)
	}
}

// A damaged archive whose rows are not packed yet is read as far as it can be,
// before and after Open has tried to bring it up to date.
func TestDamagedOlderVersion(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	path := largeOld(t, 20_000)
	frames, samples := oldRowsOf(t, path)
	// SQLite file format, section 1.6: 10 is a leaf of an index, as which a table
	// without row numbers is stored.
	damagePages(t, path, 3, func(b byte) bool { return b == 10 })
	checkOlder(t, path, frames, samples)

	if w, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrDamaged) {
		t.Fatalf("open: %v", err)
	} else if err == nil {
		w.Close()
	}
	if _, err := OpenReadOnly(path); !errors.Is(err, ErrOlder) {
		t.Fatalf("after it was tried: %v", err)
	}
	checkOlder(t, path, frames, samples)
}

// The same of one whose packing was interrupted.
func TestDamagedHalfPacked(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	path := largeOld(t, 20_000)
	frames, samples := oldRowsOf(t, path)
	db := rawDB(t, path)
	if err := migrate(t.Context(), db, path); err != nil {
		t.Fatal(err)
	}
	a := &Archive{path: path, w: db, codec: newCodec(t)}
	for _, step := range []func(context.Context, *inserter) (int, error){packFrames, packSamples} {
		err := a.write(t.Context(), "pack", func(in *inserter) error { _, err := step(t.Context(), in); return err })
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(a.ins.close(), db.Close()); err != nil {
		t.Fatal(err)
	}
	damagePages(t, path, 3, func(b byte) bool { return b == 10 })
	if w, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrDamaged) {
		t.Fatalf("open: %v", err)
	} else if err == nil {
		w.Close()
	}
	checkOlder(t, path, frames, samples)
}

func TestCutOlderVersion(t *testing.T) {
	path := largeOld(t, 8_000)
	frames, samples := oldRowsOf(t, path)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, whole[:len(whole)*3/4/4096*4096], 0o644); err != nil {
		t.Fatal(err)
	}
	checkOlder(t, path, frames, samples)
	small := fixture(t, "v1.sql", 1)
	if whole, err = os.ReadFile(small); err != nil {
		t.Fatal(err)
	}
	for _, cut := range []int{1, 100, 512, 4095, 4096, 4097, 8192, 20000, 40000, len(whole) - 4096, len(whole) - 1} {
		path := filepath.Join(t.TempDir(), FileName)
		if err := os.WriteFile(path, whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		a, err := OpenOlder(t.Context(), path, nil)
		if err != nil {
			if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNotArchive) {
				t.Errorf("cut at %d: %v", cut, err)
			}
			continue
		}
		if len(a.Lost()) == 0 {
			t.Errorf("cut at %d: nothing is reported as lost", cut)
		}
		a.Close()
	}
}

// Without room for the copy the error names the folder and the mend.
func TestNoRoomForCopy(t *testing.T) {
	dir := t.TempDir()
	l := startTeller("a.db", time.Hour, nil)
	defer l.stop()
	s := &salvager{path: largeOld(t, 3000), to: filepath.Join(dir, "copy", FileName), teller: l}
	if err := os.Mkdir(filepath.Dir(s.to), 0o700); err != nil {
		t.Fatal(err)
	}
	err := s.open()
	if err == nil {
		_, err = s.dst.Exec("PRAGMA max_page_count = 40")
	}
	if err != nil {
		t.Fatal(err)
	}
	err = s.copyAll(t.Context())
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), dir+" has no room for a copy; set TMPDIR") {
		t.Errorf("error %v", err)
	}
	if err := s.close(); err != nil {
		t.Error(err)
	}
}

// stopsAfter ends itself when it has been asked so many times whether it has.
type stopsAfter struct {
	context.Context
	stop context.CancelFunc
	left atomic.Int64
}

func (c *stopsAfter) Done() <-chan struct{} {
	if c.left.Add(-1) == 0 {
		c.stop()
	}
	return c.Context.Done()
}

// Stopped at any point of the copy, it says so and calls nothing damaged, and no
// copy stays.
func TestSalvageIsStopped(t *testing.T) {
	path := largeOld(t, 300)
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	stopped := 0
	for n := int64(1); ; n += 1 + n/4 {
		ctx := &stopsAfter{}
		ctx.Context, ctx.stop = context.WithCancel(t.Context())
		ctx.left.Store(n)
		a, err := OpenOlder(ctx, path, nil)
		if err == nil {
			err = a.Close()
		} else {
			stopped++
		}
		ctx.stop()
		left, dirErr := os.ReadDir(temp)
		if dirErr != nil || len(left) > 0 {
			t.Fatalf("stopped at %d: left behind %v, %v", n, left, dirErr)
		}
		if err == nil && ctx.left.Load() > 0 {
			break // it was through before
		}
		if err != nil && (!errors.Is(err, context.Canceled) || errors.Is(err, ErrDamaged)) {
			t.Errorf("stopped at %d: %v", n, err)
		}
	}
	if stopped < 10 {
		t.Errorf("it was stopped %d times only", stopped)
	}
}
