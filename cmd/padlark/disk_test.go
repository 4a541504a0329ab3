//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"padlark/bus"
	"padlark/flight"
)

// listener hears what the station says live.
type listener struct {
	mu     sync.Mutex
	states int
	alarms []flight.Alarm
	nc     *nats.Conn
}

func listen(t *testing.T, addr string) *listener {
	t.Helper()
	nc, err := nats.Connect("nats://"+addr, nats.RetryOnFailedConnect(true), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	l := &listener{nc: nc}
	_, err1 := nc.Subscribe("padlark.*.state.>", func(*nats.Msg) { l.mu.Lock(); l.states++; l.mu.Unlock() })
	_, err2 := nc.Subscribe("padlark.*.alarm.>", func(m *nats.Msg) {
		a, err := (bus.Msg{Kind: bus.Alarm, Data: m.Data}).Alarm()
		if err == nil && a.Kind == "disk-full" {
			l.mu.Lock()
			l.alarms = append(l.alarms, a)
			l.mu.Unlock()
		}
	})
	if err := errors.Join(err1, err2, nc.Flush()); err != nil {
		t.Fatal(err)
	}
	return l
}

func (l *listener) heard() (states int, alarms []flight.Alarm) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.states, append([]flight.Alarm(nil), l.alarms...)
}

// until polls a condition.
func until(t *testing.T, what string, limit time.Duration, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(limit)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatalf("not within %v: %s", limit, what)
		}
		<-tick.C
	}
}

// smallDisk mounts a file system in memory of so many megabytes.
func smallDisk(t *testing.T, megabytes int) string {
	t.Helper()
	needDisk(t)
	dir := t.TempDir()
	sh(t, "mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm", megabytes), "padlark-test", dir)
	t.Cleanup(func() {
		until(t, "the file system is left", 10*time.Second, func() bool { return exec.Command("umount", dir).Run() == nil })
	})
	return dir
}

// fill writes somebody else's file until only so many bytes are free.
func fill(t *testing.T, dir string, leave int64) (remove func()) {
	t.Helper()
	path := filepath.Join(dir, "photographs")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // its contents do not matter
	piece := make([]byte, 64<<10)
	for {
		var st syscall.Statfs_t
		if err := syscall.Statfs(dir, &st); err != nil {
			t.Fatal(err)
		}
		left := int64(st.Bavail)*st.Bsize - leave
		if left <= 0 {
			break
		}
		if _, err := f.Write(piece[:min(left, int64(len(piece)))]); err != nil {
			break // full to the last byte
		}
	}
	return func() {
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
}

// A full disk is a clear alarm; the watcher goes on; when there is room again
// so does the recording, and what the journal kept meanwhile is in the archive.
// Before that the journals of earlier sessions have been given up. Then once more
// with not a single byte left, where even the journal has to wait.
func TestDiskFull(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	dir := smallDisk(t, 128)
	data, udp, tcp := filepath.Join(dir, "data"), freePort(t), freeTCPPort(t)
	cfg := fieldConfig(t, "full", data, udp, fmt.Sprintf("[bus]\nlisten = %q\n", tcp))
	// With another configuration a session is another one.
	startRun(t, "state=up", fieldConfig(t, "full", data, udp, "")).stop(t)
	p := startRun(t, "state=up", cfg)
	var earlier []string
	until(t, "the earlier session's journal is compressed", 20*time.Second, func() bool {
		earlier, _ = filepath.Glob(filepath.Join(data, "journal", "*.zst"))
		return len(earlier) == 1
	})
	t.Cleanup(func() {
		if t.Failed() {
			_ = p.cmd.Process.Kill()
			<-p.ended
			t.Logf("the daemon's log:\n%s", p.log)
		}
	})
	l := listen(t, tcp)
	boards := startBoards(t, udp, 8, 20)
	frames := func() int { return count(t, data, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks") }
	until(t, "first frames archived", 20*time.Second, func() bool { return frames() > 300 })

	remove := fill(t, dir, 40<<20)
	until(t, "the earlier journal is given up", 20*time.Second, func() bool {
		_, err := os.Stat(earlier[0])
		return errors.Is(err, os.ErrNotExist)
	})
	if _, alarms := l.heard(); len(alarms) > 0 {
		t.Errorf("alarm while there was still room: %+v", alarms)
	}
	for _, left := range []int64{20 << 20, 0} {
		t.Run(fmt.Sprintf("%d MB left", left>>20), func(t *testing.T) {
			before, _ := l.heard()
			_, old := l.heard()
			remove()
			remove = fill(t, dir, left)
			full := time.Now()
			until(t, "recording stops", 20*time.Second, func() bool {
				n := frames()
				<-time.After(1500 * time.Millisecond) // longer than a commit may wait
				return frames() == n
			})
			if left > 0 {
				until(t, "the alarm is up", 20*time.Second, func() bool { _, a := l.heard(); return len(a) > len(old) && a[len(a)-1].Active })
				before, _ = l.heard()
				until(t, "the watcher goes on", 10*time.Second, func() bool { n, _ := l.heard(); return n > before+20 })
			}
			remove()
			n := frames()
			until(t, "recording goes on", time.Minute, func() bool { return frames() > n+300 })
			until(t, "the alarm has cleared", 20*time.Second, func() bool { _, a := l.heard(); return len(a) > len(old)+1 && !a[len(a)-1].Active })
			_, alarms := l.heard()
			t.Logf("full for %v; %d states shown meanwhile; alarm: %s", time.Since(full).Round(time.Millisecond), before, alarms[len(old)].Reason)
			remove = func() {}
		})
	}
	sent := boards.halt()
	until(t, "all frames archived", 30*time.Second, func() bool { return frames() >= len(sent) })
	p.stop(t)
	wantOnce(t, data, sent)
	t.Logf("%d frames, none lost", len(sent))
}

// A start on a disk without a byte of room goes on with the session,
// shows its rockets and says what is wrong; when there is room the archive has it
// all, without another start.
func TestStartOnFullDisk(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	dir := smallDisk(t, 128)
	data, udp, tcp := filepath.Join(dir, "data"), freePort(t), freeTCPPort(t)
	cfg := fieldConfig(t, "full", data, udp, fmt.Sprintf("[bus]\nlisten = %q\n", tcp))
	first := startRun(t, "state=up", cfg)
	frames := func() int { return count(t, data, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks") }
	boards := startBoards(t, udp, 8, 20)
	until(t, "first frames archived", 20*time.Second, func() bool { return frames() > 100 })
	before := len(boards.halt())
	l := listen(t, tcp)
	first.stop(t)
	remove := fill(t, dir, 0)

	p := startRun(t, "state=up", cfg)
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the daemon's log:\n%s", p.log)
		}
	})
	boards = startBoards(t, udp, 8, 20)
	until(t, "the alarm is up", 20*time.Second, func() bool { _, a := l.heard(); return len(a) > 0 && a[len(a)-1].Active })
	shown, _ := l.heard()
	until(t, "rockets are shown", 20*time.Second, func() bool { n, _ := l.heard(); return n > shown+20 })
	remove()
	until(t, "the alarm has cleared", time.Minute, func() bool { _, a := l.heard(); return !a[len(a)-1].Active })
	all := before + len(boards.halt())
	until(t, "all frames archived", time.Minute, func() bool { return frames() >= all })
	p.stop(t)
	if n := frames(); n != all {
		t.Errorf("%d frames in the archive, %d were sent", n, all)
	}
	if n := count(t, data, "SELECT COUNT(*) FROM sessions WHERE config <> '' AND ended_ns IS NOT NULL"); n != 1 {
		t.Errorf("%d whole sessions in the archive, want one", n)
	}
	if log := p.log.String(); !strings.Contains(log, "the disk is full, not even the archive can be opened") || !strings.Contains(log, "goes on") {
		t.Errorf("the log does not tell:\n%s", log)
	}
}
