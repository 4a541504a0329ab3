package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// Saved bytes become a configuration that check accepts and that decodes them.
func TestLayoutOfAFile(t *testing.T) {
	dir := t.TempDir()
	path, config := filepath.Join(dir, "board.txt"), filepath.Join(dir, "padlark.toml")
	var text strings.Builder
	text.WriteString("t_ms,pressure_hPa,temp_C,batt_mV,servo\r\n")
	for i := range 200 {
		fmt.Fprintf(&text, "%d,%.2f,21.3,4100,%d\r\n", 1500+50*i, 986.4+0.01*float64(i%3), i/100)
	}
	if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	got := do(t, "layout", path)
	if got.code != exitOK || !strings.Contains(got.err, "200 of 200 frames can be read") {
		t.Fatalf("status %d: %s%s", got.code, got.out, got.err)
	}
	if err := os.WriteFile(config, []byte(got.out), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "check", config); strings.Contains(out, "no use") {
		t.Errorf("check says: %s", out)
	}
	tried := must(t, "check", config, "--try", path)
	for _, want := range []string{"pressure_pa 98640", "cell_v 4.1", "release_on 0", "temperature_c 21.3", "clock 1.500 s", "200 samples"} {
		if !strings.Contains(tried, want) {
			t.Errorf("no %s in:\n%s", want, tried)
		}
	}
	// A capture of two links is asked about, and one of them chosen.
	capture := filepath.Join(dir, "two.plarkcap")
	must(t, "sim", "--capture", capture)
	if got := do(t, "layout", capture); got.code != exitBad || !strings.Contains(got.err, "pad-radio") {
		t.Errorf("status %d: %s%s", got.code, got.out, got.err)
	}
	if out := must(t, "layout", capture, "--link", "pad-radio"); !strings.Contains(out, `layout = "lark-bin"`) {
		t.Errorf("of a built-in layout: %s", out)
	}
	if got := do(t, "layout", filepath.Join(dir, "nothing")); got.code != exitUsage || !strings.Contains(got.err, "no file or port") {
		t.Errorf("status %d: %s", got.code, got.err)
	}
}

// A port is listened to; what comes from it becomes a configuration for that port.
func TestLayoutOfAPort(t *testing.T) {
	board, port, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal: %v", err)
	}
	defer board.Close() //nolint:errcheck // only written to
	defer port.Close()  //nolint:errcheck // the program opens it by its name
	ctx, cancel := context.WithCancel(t.Context())
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		for i := 0; ctx.Err() == nil; i++ {
			_, _ = fmt.Fprintf(board, "%d;%.3f;%.1f\n", 20*i, 98.64+0.001*float64(i%3), 21+0.1*float64(i%2))
			select {
			case <-time.After(20 * time.Millisecond):
			case <-ctx.Done():
			}
		}
	}()
	link := filepath.Join(t.TempDir(), "board") // as rules for devices make them
	if err := os.Symlink(port.Name(), link); err != nil {
		t.Fatal(err)
	}
	var out, errw bytes.Buffer
	code := run(t.Context(), []string{"layout", link, "--baud", "9600", "--for", "1500ms"}, strings.NewReader(""), &out, &errw)
	cancel()
	<-sent
	if code != exitOK {
		t.Fatalf("status %d: %s", code, errw.String())
	}
	for _, want := range []string{fmt.Sprintf("serial = %q", link), "baud = 9600", `name = "clock", unit = "ms"`, `name = "pressure_pa", unit = "kPa"`, `separator = ";"`} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %s in:\n%s", want, out.String())
		}
	}
}

// A board is heard over whatever a link can be, and the link's lines hear it again.
func TestLayoutOfALink(t *testing.T) {
	const text = "t_ms,pressure_hPa\n100,986.40\n150,986.41\n200,986.43\n250,986.42\n300,986.40\n350,986.41\n"
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() }) //nolint:errcheck // it only listened
	served := make(chan error, 1)
	go func() {
		c, err := l.Accept()
		if err == nil {
			_, err = io.WriteString(c, text) // and it stays connected
		}
		served <- err
	}()
	file := filepath.Join(t.TempDir(), "board.txt")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want []string
	}{
		{[]string{"tcp:" + l.Addr().String(), "--for", "1s"}, exitOK, []string{fmt.Sprintf("tcp = %q\nlayout = ", l.Addr())}},
		{[]string{"-"}, exitOK, []string{"TODO where it is heard"}},
		{[]string{"command:tail -f " + file, "--for", "1s"}, exitOK, []string{fmt.Sprintf(`command = ["tail", "-f", %q]`, file)}},
		{[]string{"command:"}, exitUsage, []string{"names no program"}},
		{[]string{"mqtt:127.0.0.1:1883"}, exitUsage, []string{"topic: is missing"}},
		{[]string{"nats:boards.teal"}, exitUsage, []string{"the running station's own"}},
		{[]string{"tcp:127.0.0.1:1", "--for", "100ms"}, exitBad, []string{"nothing was heard", "127.0.0.1:1"}},
	} {
		t.Run(c.args[0], func(t *testing.T) {
			t.Parallel() // some listen for a while
			var out, errw bytes.Buffer
			code := run(t.Context(), append([]string{"layout"}, c.args...), strings.NewReader(text), &out, &errw)
			all := out.String() + errw.String()
			if code == exitOK {
				c.want = append(c.want, `name = "pressure_pa", unit = "hPa"`, "6 of 6 frames can be read")
			}
			for _, want := range c.want {
				if code != c.code || !strings.Contains(all, want) {
					t.Errorf("status %d, want %d and %s in:\n%s", code, c.code, want, all)
				}
			}
		})
	}
	t.Cleanup(func() {
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
}
