//go:build unix

package ingest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// A named pipe can have one writer after another, and holds nothing up.
func TestNamedPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Skipf("no named pipes here: %v", err)
	}
	r := start(t, LinkConfig{Name: "pipe", File: path}, lines, Env{})
	r.state(StateWaiting, "has no writer: start the program that writes to it")
	// The writers come at any moment of the reader's looks, and none of them waits.
	for i := range 20 {
		line := fmt.Sprint("line ", i)
		w, err := os.OpenFile(path, os.O_WRONLY|unix.O_NONBLOCK, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.WriteString(line + "\n"); err != nil {
			t.Fatal(err)
		}
		r.frame(line)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	// A pipe that is made anew under the same name is found.
	if err := errors.Join(os.Remove(path), unix.Mkfifo(path, 0o600)); err != nil {
		t.Fatal(err)
	}
	w, err := os.OpenFile(path, os.O_WRONLY, 0) // waits for the reader
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close() //nolint:errcheck // the test is over
	if _, err := w.WriteString("the last line\n"); err != nil {
		t.Fatal(err)
	}
	r.frame("the last line")
	r.stop()
}
