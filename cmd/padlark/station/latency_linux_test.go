package station

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/sys/unix"
)

// TestShortSlices: all threads ask for short slices, those that come later too.
// Linux before 6.12 takes the request and forgets it (sched_setattr(2)).
func TestShortSlices(t *testing.T) {
	if err := shortSlices(); err != nil {
		t.Fatal(err)
	}
	own := make(chan *unix.SchedAttr)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
		attr, err := unix.SchedGetAttr(0, 0)
		if err != nil {
			t.Error(err)
		}
		own <- attr
	}()
	switch attr := <-own; {
	case attr == nil:
	case attr.Runtime == slice:
	case olderThan(t, 6, 12):
		t.Logf("this kernel knows no slices: %d ns", attr.Runtime)
	default:
		t.Errorf("a thread's slice is %d ns, want %d", attr.Runtime, slice)
	}
}

func olderThan(t *testing.T, major, minor int) bool {
	t.Helper()
	var name unix.Utsname
	if err := unix.Uname(&name); err != nil {
		t.Fatal(err)
	}
	var got [2]int
	release := unix.ByteSliceToString(name.Release[:])
	if _, err := fmt.Sscanf(release, "%d.%d", &got[0], &got[1]); err != nil {
		t.Fatalf("the kernel's release %q: %v", release, err)
	}
	return got[0] < major || got[0] == major && got[1] < minor
}

// The runtime keeps to a quarter of the machine, or of its share of it, and to what is
// enough everywhere.
func TestMemoryFitsMachine(t *testing.T) {
	for mb, want := range map[uint64]int64{0: 68, 128: 48, 256: 64, 384: 68, 8192: 68} {
		if got := memoryLimit(mb << 20); got != want<<20 {
			t.Errorf("%d MB: %d MB, want %d", mb, got>>20, want)
		}
	}
	if memory() == 0 {
		t.Error("the machine's memory is not known")
	}
	root := t.TempDir()
	for path, text := range map[string]string{"self": "0::/field/padlark\n", "field/memory.max": "268435456\n", "field/padlark/memory.max": "max\n"} {
		if err := errors.Join(os.MkdirAll(filepath.Dir(filepath.Join(root, path)), 0o755), os.WriteFile(filepath.Join(root, path), []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Join(root, "field/padlark"), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := shareOf(filepath.Join(root, "self"), root); got != 256<<20 {
		t.Errorf("the control group's bound is read as %d", got)
	}
	if got := shareOf(filepath.Join(root, "none"), root); got != math.MaxUint64 {
		t.Errorf("without control groups: %d", got)
	}
}
