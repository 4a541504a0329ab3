package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A damaged archive does not keep a station from starting: it is set aside, and
// a new one is made from the journals, compressed ones too.
func TestDamagedArchiveIsMadeAnew(t *testing.T) {
	d, data, cfg, sent := hundredFrames(t)
	d.end(t, os.Interrupt)
	if err := os.WriteFile(filepath.Join(data, "padlark.db"), make([]byte, 8192), 0o644); err != nil {
		t.Fatal(err)
	}
	startRun(t, "state=up", cfg).end(t, os.Interrupt)
	awaitFrames(t, data, sent)
	if aside, err := filepath.Glob(filepath.Join(data, "padlark.db.damaged-*")); err != nil || len(aside) == 0 {
		t.Errorf("set aside: %v, %v", aside, err)
	}
}

// hundredFrames is a station that has archived so many.
func hundredFrames(t *testing.T) (d *process, data, cfg string, sent int) {
	t.Helper()
	port := freePort(t)
	data, sent = t.TempDir(), 100
	cfg = writeConfig(t, fmt.Sprintf("[station]\nname = \"dd\"\ndata = %q\n[web]\nlisten = \"off\"\n[[link]]\nname = \"net\"\nudp = %q\nlayout = \"lark-text\"\n", data, port))
	d = startRun(t, "state=up", cfg)
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	for i := range sent {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,98000,1500,3900,1000,0", i, 20*i)
		if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
			t.Fatal(err)
		}
	}
	awaitFrames(t, data, sent)
	return d, data, cfg, sent
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
