package main

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/storage/journal"
)

// A damaged archive does not keep a station from starting: it is set aside, and a new
// one is made from the journals, compressed ones too, and from what can be read of the
// old one: what people said, and sessions that no journal has.
func TestDamagedArchiveIsMadeAnew(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	said := func(args ...string) { must(t, append(args, "--data", dir)...) }
	said("note", "Teal-1", "fill 650 mL")
	said("void", "Rust-1", "a hand on the pad")
	said("correct", "rename", "Teal-1", "Amber")
	said("time", "set", "--started", "2026-05-02T11:30:00Z")
	want := must(t, "flights", "20260613-090000-rec", "--json", "--data", dir)
	for name, c := range map[string]struct {
		damage  func(t *testing.T, data string)
		journal bool
	}{
		"a page, found by the start": {func(t *testing.T, data string) { smash(t, data, "links") }, true},
		"and there is no journal":    {func(t *testing.T, data string) { smash(t, data, "links") }, false},
	} {
		t.Run(name, func(t *testing.T) {
			data := t.TempDir()
			if err := os.CopyFS(data, os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			if !c.journal {
				if err := os.RemoveAll(filepath.Join(data, "journal")); err != nil {
					t.Fatal(err)
				}
			}
			c.damage(t, data)
			p := startRun(t, "the archive is made anew", stationOn(t, data, freePort(t)))
			p.end(t, os.Interrupt)
			if got := must(t, "flights", "20260613-090000-rec", "--json", "--data", data); got != want {
				t.Errorf("flights (-want +got):\n%s\n%s", cmp.Diff(want, got), p.log)
			}
			for _, table := range []string{"notes", "voids", "corrections"} {
				if n := count(t, data, "SELECT COUNT(*) FROM "+table); n != 1 {
					t.Errorf("%d %s, want 1\n%s", n, table, p.log)
				}
			}
			if strings.Contains(p.log.String(), "not all could be read") {
				t.Errorf("something is lost:\n%s", p.log)
			}
			wasSetAside(t, data, 1)
		})
	}
}

// An archive whose damage shows only when something is written is set aside by the
// next start. One that holds nothing, or is gone, is made from the journals.
func TestDamageIsFoundLater(t *testing.T) {
	t.Parallel() // it mostly waits
	port := freePort(t)
	d, data, cfg, sent := hundredFramesOn(t, port)
	d.end(t, os.Interrupt)
	smash(t, data, "frame_blocks")
	heard := func() (n int) {
		journals, _ := filepath.Glob(filepath.Join(data, "journal", "*.plarkcap"))
		for _, path := range journals {
			r, err := journal.Open(path, nil)
			if err != nil {
				continue // it is being begun
			}
			for e, err := r.Next(); err == nil; e, err = r.Next() {
				if e.Frame != nil {
					n++
				}
			}
			_ = r.Close()
		}
		return n
	}
	p := startRun(t, "state=up", cfg)
	before := heard()
	sendHundred(t, port, sent)
	until(t, "a hundred more are in the journal", time.Minute, func() bool { return heard() == before+100 })
	p.end(t, os.Interrupt)
	sent *= 2
	if log := p.log.String(); !strings.Contains(log, "archive is damaged") {
		t.Errorf("the damage is not told:\n%s", log)
	}
	startRun(t, "the archive is made anew", cfg).end(t, os.Interrupt)
	awaitFrames(t, data, sent)
	wasSetAside(t, data, 1)
	for _, size := range []int64{0, -1, 8192} { // empty, gone, and no archive
		path := filepath.Join(data, "padlark.db")
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if size >= 0 {
			if err := os.WriteFile(path, make([]byte, size), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		startRun(t, "the archive is made anew", cfg).end(t, os.Interrupt)
		awaitFrames(t, data, sent)
	}
	wasSetAside(t, data, 2)
	if journals, err := filepath.Glob(filepath.Join(data, "journal", "*.damaged")); err != nil || len(journals) > 0 {
		t.Errorf("journals were set aside: %v, %v", journals, err)
	}
}

// While an archive that was removed is written to, the station does not call itself
// well; the next start makes it from the journals.
func TestRemovedArchiveIsNotWell(t *testing.T) {
	t.Parallel() // it mostly waits
	port, listen := freePort(t), freeTCPPort(t)
	data := t.TempDir()
	cfg := writeConfig(t, fmt.Sprintf("[station]\nname = \"dd\"\ndata = %q\n[web]\nlisten = %q\n[[link]]\nname = \"net\"\nudp = %q\nlayout = \"lark-text\"\n", data, listen, port))
	p := startRun(t, "state=up", cfg)
	sendHundred(t, port, 0)
	awaitFrames(t, data, 100)
	alive := func() (code int, says string) {
		var out, errw bytes.Buffer
		code = run(t.Context(), []string{"alive", "http://" + listen}, nil, &out, &errw)
		return code, out.String() + errw.String()
	}
	if code, says := alive(); code != exitOK {
		t.Fatalf("before: %d, %s", code, says)
	}
	if err := os.Remove(filepath.Join(data, "padlark.db")); err != nil {
		t.Fatal(err)
	}
	if code, says := alive(); code == exitOK || !strings.Contains(says, "padlark.db has been removed") {
		t.Errorf("afterwards: %d, %s", code, says)
	}
	p.end(t, os.Interrupt)
	startRun(t, "the archive is made anew", cfg).end(t, os.Interrupt)
	awaitFrames(t, data, 100)
}

// smash overwrites the first page of a table of an archive.
func smash(t *testing.T, data, table string) {
	t.Helper()
	path := filepath.Join(data, "padlark.db")
	root, page := count(t, data, "SELECT rootpage FROM sqlite_schema WHERE name = '"+table+"'"), count(t, data, "PRAGMA page_size")
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = f.WriteAt(bytes.Repeat([]byte{0xff}, page), int64(root-1)*int64(page))
	if err = errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
}

// wasSetAside checks how many archives were.
func wasSetAside(t *testing.T, data string, want int) {
	t.Helper()
	aside, err := filepath.Glob(filepath.Join(data, "padlark.db.damaged-*[0-9]"))
	if err != nil || len(aside) != want {
		t.Errorf("set aside: %v, %v, want %d", aside, err, want)
	}
}

// stationOn is the configuration of a station without pages.
func stationOn(t *testing.T, data, port string) (path string) {
	t.Helper()
	return writeConfig(t, fmt.Sprintf("[station]\nname = \"dd\"\ndata = %q\n[web]\nlisten = \"off\"\n[[link]]\nname = \"net\"\nudp = %q\nlayout = \"lark-text\"\n", data, port))
}

// hundredFrames is a station that has archived so many.
func hundredFrames(t *testing.T) (d *process, data, cfg string, sent int) {
	t.Helper()
	return hundredFramesOn(t, freePort(t))
}

func hundredFramesOn(t *testing.T, port string) (d *process, data, cfg string, sent int) {
	t.Helper()
	data = t.TempDir()
	cfg = stationOn(t, data, port)
	d = startRun(t, "state=up", cfg)
	sendHundred(t, port, 0)
	awaitFrames(t, data, 100)
	return d, data, cfg, 100
}

// sendHundred sends so many frames, numbered from a number on.
func sendHundred(t *testing.T, port string, from int) {
	t.Helper()
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	for i := from; i < from+100; i++ {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,98000,1500,3900,1000,0", i, 20*i)
		if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
			t.Fatal(err)
		}
	}
}

// A journal that ends within a record, as after a loss of power, is told of by
// whoever reads it: the start that goes on with it, and an import.
func TestTornEndIsTold(t *testing.T) {
	d, data, cfg, _ := hundredFrames(t)
	_ = d.cmd.Process.Kill()
	<-d.ended
	journals, err := filepath.Glob(filepath.Join(data, "journal", "*.plarkcap"))
	if err != nil || len(journals) != 1 {
		t.Fatalf("journals: %v, %v", journals, err)
	}
	whole, err := os.ReadFile(journals[0])
	if err != nil {
		t.Fatal(err)
	}
	torn := filepath.Join(t.TempDir(), "torn.plarkcap")
	for _, path := range []string{torn, journals[0]} {
		if err := os.WriteFile(path, whole[:len(whole)-7], 0o644); err != nil {
			t.Fatal(err)
		}
	}
	const want = "bytes of the journal are no whole record"
	if r := do(t, "import", torn, "--data", t.TempDir()); r.code != 0 || !strings.Contains(r.err, want) {
		t.Errorf("import ends with %d: %s", r.code, r.err)
	}
	again := startRun(t, "state=up", cfg)
	again.end(t, os.Interrupt)
	if log := again.log.String(); !strings.Contains(log, want) || !strings.Contains(log, "goes on") {
		t.Errorf("the start says:\n%s", log)
	}
}
