package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"testing"
)

// A damaged archive does not keep a station from starting: it is set aside, and
// a new one is made from the journals, compressed ones too.
func TestDamagedArchiveIsMadeAnew(t *testing.T) {
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	cfg := writeConfig(t, fmt.Sprintf("[station]\nname = \"dd\"\ndata = %q\n[web]\nlisten = \"off\"\n[[link]]\nname = \"net\"\nudp = %q\nlayout = \"lark-text\"\n", data, port))
	d := startRun(t, "state=up", cfg)
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	const sent = 100
	for i := range sent {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,98000,1500,3900,1000,0", i, 20*i)
		if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
			t.Fatal(err)
		}
	}
	awaitFrames(t, data, sent)
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
