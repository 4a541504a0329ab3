//go:build unix

package callout

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
)

// With no descriptor left a call is said all the same, by the process that was
// kept ready; and with room again there is another one.
func TestReserveSpeaks(t *testing.T) {
	said := filepath.Join(t.TempDir(), "said")
	s := NewSpeaker(Config{Command: []string{"/bin/sh", "-c", `cat >> "$0"; echo said >> "$0"`, said}}, func(err error) {
		if err != nil {
			t.Errorf("report: %v", err)
		}
	})
	ctx, cancel := context.WithCancel(t.Context())
	g, gctx := errgroup.WithContext(ctx)
	heard := func(n int) {
		t.Helper()
		for end := time.Now().Add(5 * time.Second); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
			if b, _ := os.ReadFile(said); strings.Count(string(b), "said\n") == n {
				return
			}
		}
		b, _ := os.ReadFile(said)
		t.Fatalf("said %q, want %d calls", b, n)
	}
	g.Go(func() error { return s.Run(gctx) })
	s.Offer(Call{Rank: Warning, Text: "one"}, 0)
	heard(1)
	// Take every descriptor there is.
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	low := limit
	low.Cur = 64
	if err := syscall.Setrlimit(syscall.RLIMIT_NOFILE, &low); err != nil {
		t.Skipf("descriptors cannot be limited: %v", err)
	}
	defer func() { _ = syscall.Setrlimit(syscall.RLIMIT_NOFILE, &limit) }()
	var taken []int
	for {
		fd, err := syscall.Open("/dev/null", syscall.O_RDONLY|syscall.O_CLOEXEC, 0)
		if err != nil {
			break
		}
		taken = append(taken, fd)
	}
	s.Offer(Call{Rank: Warning, Text: "two"}, 0)
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		if n, _ := s.Count(); n == 2 || time.Now().After(end) {
			break
		}
	}
	// The file is read by its size, since opening it needs a descriptor.
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		if st, err := os.Stat(said); err == nil && st.Size() == int64(len("one\nsaid\ntwo\nsaid\n")) || time.Now().After(end) {
			break
		}
	}
	for _, fd := range taken {
		_ = syscall.Close(fd)
	}
	heard(2)
	s.Offer(Call{Rank: Warning, Text: "three"}, 0)
	heard(3)
	cancel()
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(said); string(b) != "one\nsaid\ntwo\nsaid\nthree\nsaid\n" {
		t.Errorf("said %q", b)
	}
}
