package sqlite

import (
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"padlark/ingest"
	"padlark/storage"
)

// TestChangesOfVersion: an archive is brought through all steps that it lacks,
// each once, one that is interrupted goes on, and readers refuse it until then.
func TestChangesOfVersion(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	steps := []string{"CREATE TABLE wind (mps REAL)", "INSERT INTO wind VALUES (4.5)"}
	bring := func(steps []string) error {
		db := rawDB(t, path)
		return errors.Join(migrate(t.Context(), db, path, steps), db.Close())
	}
	for _, n := range []int{0, 0, 1, 2, 2} {
		if err := bring(steps[:n]); err != nil {
			t.Fatal(err)
		}
	}
	if got := shell(t, path, "SELECT count(*), sum(mps) FROM wind"); got != "1|4.5" {
		t.Errorf("after two steps: %s", got)
	}
	if err := bring(append(steps, "CREATE TABLE wind (again REAL)")); err == nil {
		t.Error("a step that cannot be done is no error")
	}
	if got := shell(t, path, "PRAGMA user_version"); got != strconv.Itoa(firstVersion+2) {
		t.Errorf("after a step that failed: version %s", got)
	}
	if err := mustBePresent(path, firstVersion+len(changes())-1); !errors.Is(err, ErrOlder) {
		t.Errorf("for reading: %v", err)
	}
}

func TestTrialVersionIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	db := rawDB(t, path)
	_, err := db.Exec("CREATE TABLE frames (n INTEGER); PRAGMA application_id = 0x504C524B; PRAGMA user_version = 1")
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	_, open := Open(t.Context(), path, Options{})
	_, read := OpenReadOnly(path)
	_, beside := OpenBeside(path)
	for _, err := range []error{open, read, beside} {
		if !errors.Is(err, ErrNotArchive) || !strings.Contains(err.Error(), "trial version") {
			t.Errorf("%v", err)
		}
	}
}

func TestNewerVersionIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	a, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	db := rawDB(t, path)
	if _, err := db.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	for name, open := range map[string]func() (*Archive, error){
		"Open":         func() (*Archive, error) { return Open(t.Context(), path, Options{}) },
		"OpenReadOnly": func() (*Archive, error) { return OpenReadOnly(path) },
	} {
		_, err := open()
		if !errors.Is(err, errNewer) || !strings.Contains(err.Error(), "version 99") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// filled makes a closed archive of n frames and samples in many commits, all of
// it in the main file.
func filled(t *testing.T, n int) string { return filledBy(t, n, 100) }

func filledBy(t *testing.T, n, commit int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), FileName)
	a, err := Open(t.Context(), path, Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	var r Rows
	for i := 1; i <= n; i++ {
		f, m := testFrame("pad-radio", uint64(i)), testSample("Teal", "pad-radio", uint64(i))
		f.Passed += rand.Int64N(1e6) // what cannot be packed, so that blocks have some size
		m.Passed = f.Passed
		r.Frames, r.Samples = append(r.Frames, f), append(r.Samples, m)
		if i%commit == 0 || i == n {
			if err := a.WriteRows(t.Context(), r); err != nil {
				t.Fatal(err)
			}
			r = Rows{From: uint64(i)}
		}
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestSalvageDamagedMiddle(t *testing.T) {
	const n = 40_000
	// SQLite file format, section 1.6: byte 0 of a b-tree page is its kind; 13 is
	// a leaf of a table, 10 one of an index. Other pages here carry on the data of
	// a block.
	for name, kind := range map[string]func(byte) bool{
		"leaf":     func(b byte) bool { return b == 13 },
		"overflow": func(b byte) bool { return b == 0 },
	} {
		t.Run(name, func(t *testing.T) {
			path := filledBy(t, n, map[string]int{"leaf": 100, "overflow": 5000}[name])
			damagePages(t, path, 3, kind)
			checkSalvage(t, path, n)
			refuseDamaged(t, path)
		})
	}
	t.Run("index", func(t *testing.T) {
		path := filled(t, n)
		root := 0
		db := rawDB(t, path)
		if err := db.QueryRow(`SELECT rootpage FROM sqlite_schema WHERE name = 'sqlite_autoindex_frame_blocks_1'`).Scan(&root); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 4096 {
			b[(root-1)*4096+i] = 0xa5
		}
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		// The blocks themselves are whole, so nothing is lost.
		a, err := OpenReadOnly(path)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		if got := readFrames(t, a, storage.Query{}); len(got) != n || got[n-1].N != n {
			t.Errorf("%d frames without the index", len(got))
		}
		if lost := a.Lost(); len(lost) > 0 {
			t.Errorf("lost: %v", lost)
		}
	})
}

// damagePages fills some pages in the second half of a file with nonsense.
func damagePages(t *testing.T, path string, count int, kind func(byte) bool) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	killed := 0
	for at := len(b) / 2 / page * page; at < len(b) && killed < count; at += 7 * page {
		for at < len(b) && !kind(b[at]) {
			at += page
		}
		if at < len(b) {
			for i := range 1024 {
				b[at+i] = 0xa5
			}
			killed++
		}
	}
	if killed != count {
		t.Fatalf("damaged %d pages of %d", killed, len(b)/page)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// refuseDamaged checks that the daemon does not pass over damage.
func refuseDamaged(t *testing.T, path string) {
	t.Helper()
	w, err := Open(t.Context(), path, Options{})
	if err != nil {
		if !errors.Is(err, ErrDamaged) {
			t.Fatalf("open damaged: %v", err)
		}
		return
	}
	defer w.Close()
	err = w.Frames(t.Context(), storage.Query{Session: "s1", Recorded: true}, func(ingest.Frame) error { return nil })
	err2 := w.Samples(t.Context(), storage.Query{}, ignoreSample)
	if err = errors.Join(err, err2); !errors.Is(err, ErrDamaged) {
		t.Errorf("reading a damaged archive for writing: %v", err)
	}
}

// checkSalvage reads what is left and checks that every row is either there,
// unchanged, or within a reported loss.
func checkSalvage(t *testing.T, path string, n int) {
	t.Helper()
	a, err := OpenReadOnly(path)
	if err != nil {
		t.Fatalf("open read only: %v", err)
	}
	defer a.Close()
	have := map[string]map[uint64]bool{"frames": {}, "samples": {}}
	changed, silent := 0, 0
	err = a.Frames(t.Context(), storage.Query{Session: "s1", Recorded: true}, func(f ingest.Frame) error {
		if want := testFrame("pad-radio", f.N); f.Mono != want.Mono || string(f.Bytes) != string(want.Bytes) {
			changed++
		}
		have["frames"][f.N] = true
		return nil
	})
	if err != nil {
		t.Fatalf("read frames: %v", err)
	}
	for _, s := range readSamples(t, a, storage.Query{}) {
		have["samples"][s.N] = true
	}
	lost := a.Lost()
	if len(lost) == 0 {
		t.Error("nothing is reported as lost")
	}
	missing := 0
	for table, rows := range have {
		for i := uint64(1); i <= uint64(n); i++ {
			if rows[i] {
				continue
			}
			missing++
			told := false
			for _, l := range lost {
				told = told || l.Table == table && i > l.From && (l.To == 0 || i < l.To)
			}
			if !told {
				silent++
			}
		}
	}
	if changed > 0 || silent > 0 {
		t.Errorf("%d rows changed, %d missing without being reported; reported: %v", changed, silent, lost)
	}
	t.Logf("%d of %d rows lost: %v", missing, 2*n, lost)
	if missing == 0 || missing > n {
		t.Errorf("%d of %d rows missing", missing, 2*n)
	}
}

func TestSalvageTruncated(t *testing.T) {
	const n = 40_000
	path := filled(t, n)
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	// Cut between pages and within one.
	for _, cut := range []int64{st.Size() * 3 / 4 / 4096 * 4096, st.Size()*2/3/4096*4096 + 1000} {
		if err := os.Truncate(path, cut); err != nil {
			t.Fatal(err)
		}
		if w, err := Open(t.Context(), path, Options{}); !errors.Is(err, ErrDamaged) {
			t.Errorf("open cut to %d: %v", cut, err)
			if err == nil {
				w.Close()
			}
		}
		checkSalvage(t, path, n)
	}
}

// TestCutAnywhere opens a file cut at every kind of place: it may be refused with
// a clear error or give what is left, but nothing else.
func TestCutAnywhere(t *testing.T) {
	path := filled(t, 300)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, cut := range []int{1, 15, 16, 99, 100, 101, 511, 512, 4095, 4096, 4097, 8192, 20000, len(whole) - 4096, len(whole) - 1} {
		if err := os.WriteFile(path, whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		a, err := OpenReadOnly(path)
		if err != nil {
			if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNotArchive) {
				t.Errorf("cut at %d: %v", cut, err)
			}
			continue
		}
		if _, err := a.Sessions(t.Context()); err != nil && !errors.Is(err, ErrDamaged) {
			t.Errorf("cut at %d: sessions: %v", cut, err)
		}
		err = a.Frames(t.Context(), storage.Query{Session: "s1", Recorded: true}, func(ingest.Frame) error { return nil })
		if err != nil && !errors.Is(err, ErrDamaged) && !errors.Is(err, storage.ErrNoSession) {
			t.Errorf("cut at %d: frames: %v", cut, err)
		}
		a.Close()
	}
}

// TestCopyWhileWriting copies file and log at a moment of the writing, as a
// loss of power would leave them, and opens the copy: it holds whole
// transactions only.
func TestCopyWhileWriting(t *testing.T) {
	a := openNew(t)
	stop, wrote := make(chan struct{}), make(chan struct{})
	done := make(chan error)
	go func() {
		defer close(wrote)
		n := uint64(0)
		for {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			var in []any
			for range 50 {
				n++
				in = append(in, testFrame("pad-radio", n))
			}
			if err := a.Write(t.Context(), entries(t, in...)); err != nil {
				done <- err
				return
			}
			select {
			case wrote <- struct{}{}:
			default:
			}
		}
	}()
	for i := range 10 {
		for range 1 + 3*i { // the copies are taken ever later, each soon after a commit
			<-wrote
		}
		path := filepath.Join(t.TempDir(), FileName)
		// The main file first: a checkpoint between the two copies has then moved
		// pages that the copied log still holds.
		for _, suffix := range []string{"", "-wal"} {
			b, err := os.ReadFile(a.Path() + suffix)
			if err != nil && suffix == "" {
				t.Fatal(err)
			}
			if err := os.WriteFile(path+suffix, b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		c, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatalf("copy %d: %v", i, err)
		}
		var n uint64
		err = c.Frames(t.Context(), storage.Query{Session: "s1", Recorded: true}, func(f ingest.Frame) error {
			if n++; f.N != n {
				t.Fatalf("copy %d: frame %d after %d", i, f.N, n-1)
			}
			return nil
		})
		if err != nil && !errors.Is(err, storage.ErrNoSession) {
			t.Errorf("copy %d: %v", i, err)
		}
		if n%50 != 0 {
			t.Errorf("copy %d ends within a transaction, at %d", i, n)
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	close(stop)
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// TestPageSize keeps the other tests honest about the layout they damage.
func TestPageSize(t *testing.T) {
	b, err := os.ReadFile(filled(t, 10))
	if err != nil {
		t.Fatal(err)
	}
	// SQLite file format, section 1.3: bytes 16 and 17, big-endian.
	if p := binary.BigEndian.Uint16(b[16:]); p != 4096 {
		t.Errorf("page size %d", p)
	}
}
