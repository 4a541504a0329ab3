package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	_ "modernc.org/sqlite" // to look into an archive as a stranger would

	"padlark/flight"
)

// process is a running padlark.
type process struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	log   *bytes.Buffer
	ended chan error
}

// startRun starts "padlark run" and waits until the log matches ready.
func startRun(t *testing.T, ready string, args ...string) *process {
	t.Helper()
	return startRunWhen(t, ready, 1, args...)
}

// startRunWhen waits for so many lines that match.
func startRunWhen(t *testing.T, ready string, times int, args ...string) *process {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	return startProcess(t, program(ctx, append([]string{"run", "-q"}, args...)...), ready, times)
}

// startProcess starts a daemon that is prepared and waits for the lines.
func startProcess(t testing.TB, cmd *exec.Cmd, ready string, times int) *process {
	t.Helper()
	if cmd.Env == nil {
		cmd.Env = append(os.Environ(), beMain+"=1")
	}
	d := &process{cmd: cmd, log: &bytes.Buffer{}, ended: make(chan error, 1)}
	pipe, err := d.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	d.lines = bufio.NewScanner(pipe)
	for range times {
		d.waitFor(t, ready)
	}
	go func() {
		for d.lines.Scan() {
			fmt.Fprintln(d.log, d.lines.Text())
		}
		d.ended <- d.cmd.Wait()
	}()
	return d
}

// waitFor reads the log up to a line that matches. A daemon that does not say it in
// three minutes is ended, so that the test shows its log.
func (d *process) waitFor(t testing.TB, pattern string) {
	t.Helper()
	late := time.AfterFunc(3*time.Minute, func() { _ = d.cmd.Process.Kill() })
	defer late.Stop()
	re := regexp.MustCompile(pattern)
	for d.lines.Scan() {
		fmt.Fprintln(d.log, d.lines.Text())
		if re.MatchString(d.lines.Text()) {
			return
		}
	}
	t.Fatalf("the daemon ended before its log said %q:\n%s", pattern, d.log)
}

// stop sends SIGTERM and returns how long the daemon took to end.
func (d *process) stop(t *testing.T) time.Duration {
	t.Helper()
	return d.end(t, syscall.SIGTERM)
}

// end is stop with another signal.
func (d *process) end(t testing.TB, by os.Signal) time.Duration {
	t.Helper()
	start := time.Now()
	if err := d.cmd.Process.Signal(by); err != nil {
		t.Fatal(err)
	}
	select {
	case err := <-d.ended:
		if err != nil {
			t.Errorf("the daemon ended with %v:\n%s", err, d.log)
		}
	case <-time.After(20 * time.Second):
		// Where it hangs shows in the stacks.
		_ = d.cmd.Process.Signal(syscall.SIGQUIT)
		<-d.ended
		t.Fatalf("the daemon has not ended 20 s after SIGTERM:\n%s", d.log)
	}
	return time.Since(start)
}

func writeConfig(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "padlark.toml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// count asks an archive with a plain SQLite connection.
func count(t *testing.T, data, query string) int {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(data, "padlark.db")+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // only read from
	var n int
	if err := db.QueryRow(query).Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

// SIGTERM ends the daemon in under two seconds with every frame committed that
// was sent before.
func TestTermCommitsEverything(t *testing.T) {
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	cfg := writeConfig(t, fmt.Sprintf(`
[station]
name = "term"
data = %q
[web]
listen = "off"
[[link]]
name = "net"
udp = %q
layout = "lark-text"
`, data, port))
	d := startRun(t, "state=up", cfg)
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	const sent = 500
	for i := range sent {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,98000,1500,3900,1000,0", i, 20*i)
		if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
			t.Fatal(err)
		}
	}
	// What the kernel has taken but the daemon has not read is not the
	// process's yet: wait until the last one shows in the archive's journal.
	awaitFrames(t, data, sent)
	if took := d.stop(t); took > 2*time.Second {
		t.Errorf("the daemon took %v to end, want less than 2 s", took)
	}
	if n := count(t, data, "SELECT COALESCE(SUM(count), 0) FROM sample_blocks"); n != sent {
		t.Errorf("%d samples in the archive, want %d", n, sent)
	}
	if n := count(t, data, "SELECT COUNT(*) FROM sessions WHERE ended_ns IS NOT NULL"); n != 1 {
		t.Errorf("%d sessions have an end, want 1", n)
	}
}

func xor(s string) byte {
	var x byte
	for i := range len(s) {
		x ^= s[i]
	}
	return x
}

// awaitFrames polls the archive until it holds n frames.
func awaitFrames(t *testing.T, data string, n int) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for got := 0; ; <-tick.C {
		if got = count(t, data, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks"); got >= n {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d frames in the archive after 20 s, want %d", got, n)
		}
	}
}

// A file of frames pushed with socat through a real pseudo-terminal gives the
// flight that was flown.
func TestFramesPushedThroughPty(t *testing.T) {
	need(t, "socat")
	dir := t.TempDir()
	frames, truth := filepath.Join(dir, "frames.bin"), filepath.Join(dir, "truth.json")
	must(t, "sim", "--file", frames, "--link", "pad-radio", "--truth", truth)
	near, far := filepath.Join(dir, "near"), filepath.Join(dir, "far")
	ctx, cancel := context.WithCancel(context.Background())
	wire := exec.CommandContext(ctx, "socat", "-d", "-d", "PTY,link="+near+",rawer", "PTY,link="+far+",rawer")
	said, err := wire.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := wire.Start(); err != nil {
		t.Fatal(err)
	}
	defer wire.Wait() //nolint:errcheck // it ends by being killed
	defer cancel()
	for sc := bufio.NewScanner(said); sc.Scan() && !strings.Contains(sc.Text(), "starting data transfer loop"); {
	}
	go io.Copy(io.Discard, said) //nolint:errcheck // ends with socat
	data := filepath.Join(dir, "data")
	cfg := writeConfig(t, fmt.Sprintf(`
[station]
name = "pushed"
data = %q
[web]
listen = "off"
[[link]]
name = "pad-radio"
serial = %q
baud = 57600
layout = "lark-bin"
[[rocket]]
name = "Teal"
id = 7
[site]
elevation_m = 212
temperature_c = 17.5
`, data, far))
	d := startRun(t, "state=up", cfg)
	if out, err := exec.Command("socat", "-u", "FILE:"+frames, "FILE:"+near+",rawer").CombinedOutput(); err != nil {
		t.Fatalf("socat: %v\n%s", err, out)
	}
	await(t, data, "SELECT COUNT(*) FROM events WHERE kind = 'touchdown'")
	d.stop(t)
	flights := fromJSON[[]flight.Result](t, must(t, "flights", "--data", data, "--json"))
	text, err := os.ReadFile(truth)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range readTruthText(t, string(text)) {
		if want.Rocket != "Teal" {
			continue
		}
		if len(flights) != 1 || flights[0].ApogeeM == nil {
			t.Fatalf("flights: %+v", flights)
		}
		if e := *flights[0].ApogeeM/want.ApogeeM - 1; e > 0.03 || e < -0.03 {
			t.Errorf("apogee %.2f m, truth %.2f m", *flights[0].ApogeeM, want.ApogeeM)
		}
		if e := *flights[0].TimeToApogeeS - want.TimeToApogeeS; e > 0.3 || e < -0.3 {
			t.Errorf("%.3f s to apogee, truth %.3f s", *flights[0].TimeToApogeeS, want.TimeToApogeeS)
		}
	}
}

// Bad input is one clear line and the right exit status; nothing is printed on
// stdout.
func TestBadInput(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	link := "[[link]]\nname = \"a\"\nudp = \":0\"\nlayout = \"lark-bin\"\n"
	junkDB := filepath.Join(dir, "junk")
	if err := os.MkdirAll(junkDB, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(junkDB, "padlark.db"), bytes.Repeat([]byte("not a database "), 500), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says []string
	}{
		{"no configuration", []string{"run", filepath.Join(dir, "none.toml")}, 2, []string{"none.toml", "check --example"}},
		{"unknown key", []string{"run", file("key.toml", link+"colour = \"teal\"\n")}, 2, []string{"key.toml:5:1", "colour"}},
		{"unknown unit", []string{"check", file("unit.toml", strings.Replace(link, "lark-bin", "x", 1)+
			"[[layout]]\nname = \"x\"\nframing = \"line\"\nform = \"delimited\"\nrocket = 1\nfields = [ { name = \"pressure_pa\", unit = \"torr\" } ]\n")}, 2, []string{"unit.toml:", "torr", "hPa"}},
		{"no archive", []string{"flights", "--data", filepath.Join(dir, "nowhere")}, 2, []string{"nowhere"}},
		{"not an archive", []string{"flights", "--data", junkDB}, 1, []string{"padlark.db"}},
		{"no such session", []string{"events", "--data", demoDir(t), "1999"}, 2, []string{"1999", "padlark sessions"}},
		{"no such command", []string{"fly"}, 2, []string{"fly"}},
		{"bad speed", []string{"replay", "--data", dir, "--speed", "fast"}, 2, []string{"--speed", "max"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := do(t, c.args...)
			if r.code != c.code || r.out != "" {
				t.Errorf("exit status %d with output %q, want %d and none; error: %s", r.code, r.out, c.code, r.err)
			}
			for _, s := range c.says {
				if !strings.Contains(r.err, s) {
					t.Errorf("error %q does not say %q", r.err, s)
				}
			}
		})
	}
}
