//go:build linux

package main

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/nats-io/nats.go"

	"padlark/bus"
)

// Whatever slows the daemon down, the counts are equal in the end. The long
// form is PADLARK_TROUBLE_S=60.
func TestSlowedDown(t *testing.T) {
	onlyInCI(t)
	span := time.Duration(numberFrom(t, "PADLARK_TROUBLE_S", 4)) * time.Second
	for name, trouble := range map[string]func(t *testing.T, data string, during func()){
		"archive busy": archiveBusy,
		"no CPU left":  noCPULeft,
	} {
		t.Run(name, func(t *testing.T) {
			data, udp := t.TempDir(), freePort(t)
			p := startRun(t, "state=up", fieldConfig(t, "slow", data, udp, ""))
			boards := startBoards(t, udp, 8, 20)
			await(t, data, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks")
			trouble(t, data, func() { <-time.After(span) })
			sent := boards.halt()
			awaitFrames(t, data, len(sent))
			p.stop(t)
			wantOnce(t, data, sent)
			t.Logf("%d frames, all kept", len(sent))
		})
	}
}

// archiveBusy holds the archive's write lock as another program might.
func archiveBusy(t *testing.T, data string, during func()) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(data, "padlark.db")+"?_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // nothing is written
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	during()
	if _, err := db.Exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
}

// noCPULeft runs four endless loops beside the daemon.
func noCPULeft(t *testing.T, _ string, during func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var loops []*exec.Cmd
	for range 4 {
		c := exec.CommandContext(ctx, "sh", "-c", "while :; do :; done")
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		loops = append(loops, c)
	}
	during()
	cancel()
	for _, c := range loops {
		_ = c.Wait() // killed
	}
}

// A disk that takes 1 MB/s: each write of a page of 4 kB waits 4 ms, and each
// fsync 100 ms, by strace, which can delay system calls.
func TestSlowDisk(t *testing.T) {
	onlyInCI(t)
	need(t, "strace")
	data, udp := t.TempDir(), freePort(t)
	cfg := fieldConfig(t, "slow-disk", data, udp, "")
	args := []string{"-f", "-D", "-qq", "--seccomp-bpf", "-o", "/dev/null", "-e", "trace=pwrite64,fsync,fdatasync",
		"-e", "inject=pwrite64:delay_exit=4000", "-e", "inject=fsync,fdatasync:delay_exit=100000", os.Args[0], "run", "-q", cfg}
	p := startProcess(t, exec.Command("strace", args...), "state=up", 1)
	boards := startBoards(t, udp, 8, 20)
	<-time.After(time.Duration(numberFrom(t, "PADLARK_TROUBLE_S", 4)) * time.Second)
	sent := boards.halt()
	awaitFrames(t, data, len(sent))
	p.stop(t)
	wantOnce(t, data, sent)
	t.Logf("%d frames, all kept", len(sent))
}

// Binary garbage at the full rate of the line, as from a device at another
// baud rate, is said in plain words; what comes after it is heard. (A cable
// that is pulled and a port that the system names anew are tested in ingest.)
func TestGarbageAtFullRate(t *testing.T) {
	board, port, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminals here:", err)
	}
	defer board.Close() //nolint:errcheck // the test ends
	defer port.Close()  //nolint:errcheck // the daemon has it open by itself
	data, tcp := t.TempDir(), freeTCPPort(t)
	p := startRun(t, "state=up", writeConfig(t, fmt.Sprintf(`
[station]
name = "garbage"
data = %q
[web]
listen = "off"
[bus]
listen = %q
[[link]]
name = "wire"
serial = %q
baud = 115200
layout = "lark-text"
`, data, tcp, port.Name())))
	nc, err := nats.Connect("nats://" + tcp)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	var hint atomic.Value
	hint.Store("")
	if _, err := nc.Subscribe("padlark.*.health.>", func(m *nats.Msg) {
		if h, err := (bus.Msg{Kind: bus.Health, Data: m.Data}).Health(); err == nil {
			hint.Store(h.Hint)
		}
	}); err != nil {
		t.Fatal(err)
	}
	// 11520 bytes a second is what 115200 baud carries.
	junk := make([]byte, 1152)
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for range 25 {
		_, _ = rand.Read(junk)
		if _, err := board.Write(junk); err != nil {
			t.Fatal(err)
		}
		<-tick.C
	}
	until(t, "the baud rate is doubted", 10*time.Second, func() bool { return strings.Contains(hint.Load().(string), "115200 baud") })
	t.Log(hint.Load())
	if _, err := board.Write([]byte("\r\n")); err != nil {
		t.Fatal(err)
	}
	sent := map[mark]time.Time{}
	for i := range 200 {
		m := mark{1, i}
		sent[m] = time.Now()
		if _, err := board.Write(numbered(m, time.Duration(i)*20*time.Millisecond, 98000)); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "every frame after it is a sample", 20*time.Second, func() bool { return count(t, data, "SELECT COALESCE(SUM(count), 0) FROM sample_blocks") == len(sent) })
	until(t, "the doubt is gone", 20*time.Second, func() bool { return hint.Load() == "" })
	p.stop(t)
}

// A second daemon on one data folder ends with one line and exit status 1.
func TestSecondDaemon(t *testing.T) {
	data := t.TempDir()
	p := startRun(t, "state=up", fieldConfig(t, "first", data, freePort(t), ""))
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	out, err := program(ctx, "run", fieldConfig(t, "second", data, freePort(t), "")).CombinedOutput()
	var exit *exec.ExitError
	if e, ok := err.(*exec.ExitError); ok {
		exit = e
	}
	if exit == nil || exit.ExitCode() != 1 {
		t.Errorf("ended with %v, want exit status 1", err)
	}
	if lines := strings.Split(strings.TrimSpace(string(out)), "\n"); len(lines) != 1 ||
		!strings.Contains(lines[0], fmt.Sprintf("in use by another padlark (process %d)", p.cmd.Process.Pid)) {
		t.Errorf("it said:\n%s", out)
	}
	p.stop(t)
}
