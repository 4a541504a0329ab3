package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"
)

// A layout with one field too few is told in the terminal within seconds, with
// the line as text and hex and the way to mend it; once it is read again that is
// told too.
func TestRefusedFramesAreTold(t *testing.T) {
	to := freePort(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	cmd := program(ctx, "run", writeConfig(t, fmt.Sprintf(`
[station]
data = %q
[web]
listen = "off"
[[link]]
name = "pad"
udp = %q
layout = "mine"
[[layout]]
name = "mine"
framing = "line"
form = "delimited"
rocket = 1
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa" }, { name = "temperature_c" }, { name = "cell_v", unit = "mV" } ]
`, t.TempDir(), to)))
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = io.Discard
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("udp", to)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	extra := make(chan string, 1)
	extra <- ",0"
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		tail := ""
		for i := 0; ctx.Err() == nil; i++ {
			select {
			case tail = <-extra:
			default:
			}
			_, _ = fmt.Fprintf(conn, "%d,1013.25,21.3,4100%s\r\n", 1500+200*i, tail) // nobody listens at first
			select {
			case <-time.After(200 * time.Millisecond):
			case <-ctx.Done():
			}
		}
	}()
	var text strings.Builder
	lines := bufio.NewScanner(out)
	await := func(want string) {
		t.Helper()
		for lines.Scan() {
			fmt.Fprintln(&text, lines.Text())
			if n := len([]rune(lines.Text())); n > columns && !strings.Contains(lines.Text(), "id-1") {
				t.Errorf("%d columns: %s", n, lines.Text())
			}
			if strings.Contains(lines.Text(), want) {
				return
			}
		}
		t.Fatalf("it never said %q:\n%s", want, text.String())
	}
	start := time.Now()
	await("5 fields where the layout has 4")
	if took := time.Since(start); took > 10*time.Second {
		t.Errorf("it took %v", took)
	}
	await("1013.25,")
	await("padlark layout")
	extra <- ""
	await("is read again")
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	for lines.Scan() { // it ends with the process
		fmt.Fprintln(&text, lines.Text())
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("%v\n%s", err, text.String())
	}
	cancel()
	<-sent
	if !strings.Contains(text.String(), "2c 31 30 31 33 2e 32 35 2c") {
		t.Errorf("no hex beside the text:\n%s", text.String())
	}
}
