//go:build linux

package main

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// blocked is a writer that nobody reads until it is opened.
type blocked struct {
	bytes.Buffer
	open chan struct{}
}

func (b *blocked) Write(p []byte) (int, error) { <-b.open; return b.Buffer.Write(p) }

// Writing never waits; what was too much is told, and the rest comes in order.
func TestOutbox(t *testing.T) {
	b := &blocked{open: make(chan struct{})}
	s := newOutbox()
	w := boxWriter{s, b}
	line := strings.Repeat("x", 1000)
	for i := range 3000 {
		fmt.Fprintf(w, "%04d %s\n", i, line)
	}
	begin := time.Now()
	s.close()
	if took := time.Since(begin); took > 3*outboxLeave {
		t.Errorf("the end waited %v for somebody to read", took)
	}
	close(b.open)
	<-s.done
	got := strings.Split(b.String(), "\n")
	if len(got) < 900 || len(got) > 1100 {
		t.Fatalf("%d lines came", len(got))
	}
	for i, l := range got[:len(got)-1] {
		if !strings.HasPrefix(l, fmt.Sprintf("%04d ", i)) {
			t.Fatalf("line %d is %.20q", i, l)
		}
	}
	s = newOutbox()
	w = boxWriter{s, io.Discard}
	fmt.Fprint(w, "and one that is read")
	s.close()
}

// A daemon whose log goes into a pipe that nobody reads stops within seconds.
func TestStopsWithoutAReader(t *testing.T) {
	dir := t.TempDir()
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	path := writeConfig(t, fmt.Sprintf("[station]\ndata = %q\n[web]\nlisten = \"off\"\n[[link]]\nname = \"pad\"\nudp = %q\nlayout = \"lark-bin\"\n", filepath.Join(dir, "data"), port))
	cmd := program(t.Context(), "run", path)
	var pipe [2]int
	if err := syscall.Pipe2(pipe[:], syscall.O_CLOEXEC); err != nil {
		t.Fatal(err)
	}
	defer syscall.Close(pipe[0])
	// The pipe is full before the daemon writes its first line.
	if err := syscall.SetNonblock(pipe[1], true); err != nil {
		t.Fatal(err)
	}
	fill := make([]byte, 4096)
	for {
		if _, err := syscall.Write(pipe[1], fill); err != nil {
			break
		}
	}
	if err := syscall.SetNonblock(pipe[1], false); err != nil {
		t.Fatal(err)
	}
	w := os.NewFile(uintptr(pipe[1]), "pipe")
	cmd.Stderr, cmd.Stdout = w, w
	startQuiet(t, cmd)
	_ = w.Close()
	// It is up when it listens.
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if l, err := net.ListenPacket("udp", port); err != nil {
			break
		} else if _ = l.Close(); time.Now().After(end) {
			t.Fatal("it never listens")
		}
	}
	begin := time.Now()
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case <-ended:
	case <-time.After(15 * time.Second):
		_ = cmd.Process.Kill()
		t.Fatal("it does not stop")
	}
	if took := time.Since(begin); took > 8*time.Second {
		t.Errorf("it took %v to stop", took)
	}
}

func startQuiet(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() })
}
