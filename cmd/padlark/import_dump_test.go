//go:build linux

package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"

	"padlark/ingest"
	"padlark/storage/logimport"
)

// dumpConfig describes a board that sends its log when it is sent "D".
const dumpConfig = `
[station]
name = "north-field"
[[link]]
name = "pad-cable"
serial = "/dev/null"
baud = 57600
layout = "board-log"
rocket = "Teal"
[[rocket]]
name = "Teal"
[[layout]]
name = "board-log"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "Pa", decimals = 1 } ]
[layout.dump]
request = "D\r\n"
end = "END"
answer_s = 0.6
quiet_s = 0.4
`

// dumpBoard is a simulated board at the far end of a pseudo-terminal. It
// answers the first line that it is sent, and keeps all that it is sent.
type dumpBoard struct {
	port string
	got  chan []byte // all that it was sent, when the line has gone
}

func newDumpBoard(t *testing.T, answer func(far *os.File)) dumpBoard {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatalf("no pseudo-terminals: %v", err)
		}
		t.Skipf("no pseudo-terminals: %v", err)
	}
	b := dumpBoard{near.Name(), make(chan []byte, 1)}
	go func() {
		var all bytes.Buffer
		buf := make([]byte, 256)
		for answered := false; ; {
			n, err := far.Read(buf)
			all.Write(buf[:n])
			if !answered && bytes.HasSuffix(all.Bytes(), []byte("D\r\n")) {
				answered = true
				answer(far)
			}
			if err != nil {
				b.got <- all.Bytes()
				return
			}
		}
	}()
	t.Cleanup(func() {
		_ = near.Close()
		_ = far.Close()
		if sent := string(<-b.got); sent != "D\r\n" {
			t.Errorf("the board was sent %q; nothing but the request may ever be written", sent)
		}
	})
	return b
}

func boardLog(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%d,%.1f\r\n", 5000+20*i, 101325.0+float64(i%3))
	}
	return b.String()
}

func dumpFiles(t *testing.T, answer func(far *os.File)) (port, config, dir string) {
	t.Helper()
	dir = t.TempDir()
	config = filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(config, []byte(dumpConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	return newDumpBoard(t, answer).port, config, filepath.Join(dir, "data")
}

// keptDump is the only capture in a folder, and its bytes.
func keptDump(t *testing.T, dir string) (path string, data []byte) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "dump-Teal-*.plarkcap"))
	if err != nil || len(found) != 1 {
		t.Fatalf("%d captures in %s, %v", len(found), dir, err)
	}
	f, err := os.Open(found[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // only read from
	r, err := ingest.NewCaptureReader(f)
	if err != nil {
		t.Fatal(err)
	}
	for {
		c, err := r.Next()
		if err == io.EOF {
			return found[0], data
		}
		if err != nil {
			t.Fatal(err)
		}
		data = append(data, c.Bytes...)
	}
}

func TestImportFromBoard(t *testing.T) {
	const lines = 400
	port, config, dir := dumpFiles(t, func(far *os.File) { fmt.Fprint(far, boardLog(lines)+"END\r\n") })
	r := do(t, "import", "serial:"+port, "--layout", "board-log", "--rocket", "Teal", "-c", config, "--data", dir, "--json")
	if r.code != exitOK {
		t.Fatalf("exit %d: %s", r.code, r.err)
	}
	d := fromJSON[logimport.Done](t, r.out)
	if d.Samples != lines || d.Bad != 0 || len(d.Hints) != 0 {
		t.Errorf("%d samples, skipped %v, %q", d.Samples, d.Skipped, d.Hints)
	}
	path, kept := keptDump(t, dir)
	if want := boardLog(lines) + "END"; string(kept) != want {
		t.Errorf("%d bytes kept, want %d", len(kept), len(want))
	}
	// The file that was kept gives the same session.
	again := fromJSON[logimport.Done](t, must(t, "import", path, "--layout", "board-log", "--rocket", "Teal", "-c", config, "--data", dir, "--json"))
	if again.Samples != lines || again.Bad != 0 {
		t.Errorf("again: %d samples, %d skipped", again.Samples, again.Bad)
	}
}

// The configured link on the port gives its rate, and its name is enough.
func TestImportFromConfiguredLink(t *testing.T) {
	for _, byName := range []bool{true, false} {
		port, config, dir := dumpFiles(t, func(far *os.File) { fmt.Fprint(far, boardLog(20)+"END\r\n") })
		text := strings.Replace(dumpConfig, "/dev/null", port, 1)
		if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		name := port
		if byName {
			name = "pad-cable"
		}
		r := do(t, "import", "serial:"+name, "--layout", "board-log", "--rocket", "Teal", "-c", config, "--data", dir, "--json")
		if r.code != exitOK || fromJSON[logimport.Done](t, r.out).Samples != 20 || !strings.Contains(r.err, "asking "+port+" at 57600 baud") {
			t.Errorf("serial:%s: exit %d: %s", name, r.code, r.err)
		}
	}
}

// A dump that goes silent before its end mark is read as far as it came.
func TestImportFromBoardTorn(t *testing.T) {
	port, config, dir := dumpFiles(t, func(far *os.File) { fmt.Fprint(far, boardLog(100)+"7000,") })
	r := do(t, "import", "serial:"+port, "--layout", "board-log", "--rocket", "Teal", "-c", config, "--data", dir, "--json")
	d := fromJSON[logimport.Done](t, r.out)
	if r.code != exitOK || d.Samples != 101 {
		t.Errorf("exit %d, %d samples: %s", r.code, d.Samples, r.err)
	}
	if !strings.Contains(r.err, "torn") || !strings.Contains(r.err, "END") || len(d.Hints) != 1 {
		t.Errorf("it does not say that the dump is torn: %s", r.err)
	}
	if _, kept := keptDump(t, dir); string(kept) != boardLog(100)+"7000," {
		t.Errorf("%d bytes kept", len(kept))
	}
}

func TestImportFromBoardTrouble(t *testing.T) {
	t.Run("no answer", func(t *testing.T) {
		port, config, dir := dumpFiles(t, func(*os.File) {})
		r := do(t, "import", "serial:"+port, "--layout", "board-log", "--rocket", "Teal", "-c", config, "--data", dir, "--baud", "9600")
		for _, want := range []string{port, "no answer", "9600 baud", "see that the board is on"} {
			if r.code != exitBad || !strings.Contains(r.err, want) {
				t.Errorf("exit %d, want %q: %s", r.code, want, r.err)
			}
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "dump-*")); len(left) != 0 {
			t.Errorf("an empty capture is left: %v", left)
		}
	})
	dir := t.TempDir()
	config := filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(config, []byte(dumpConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want string
		code int
		args []string
	}{
		{"is no port: to read a file leave serial: before it out", exitBad, []string{"serial:" + config, "--layout", "board-log", "-c", config}},
		{"the port is missing behind serial:", exitBad, []string{"serial:", "--layout", "board-log", "-c", config}},
		{`is built in and does not say how to ask`, exitUsage, []string{"serial:/dev/nothing", "--layout", "lark-text", "-c", config}},
		{"/dev/nothing is not there", exitBad, []string{"serial:/dev/nothing", "--layout", "board-log", "-c", config}},
		{"there is no layout", exitUsage, []string{"serial:/dev/nothing", "--layout", "other", "-c", config}},
		{"--config FILE", exitUsage, []string{"serial:/dev/nothing", "--layout", "board-log"}},
	} {
		r := do(t, append([]string{"import", "--rocket", "Teal", "--data", filepath.Join(dir, "data")}, c.args...)...)
		if r.code != c.code || !strings.Contains(r.err, c.want) {
			t.Errorf("import %v: exit %d, want %d and %q; it says %s", c.args, r.code, c.code, c.want, r.err)
		}
	}
}
