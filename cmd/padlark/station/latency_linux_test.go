package station

import (
	"fmt"
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

func TestHeapFitsMachine(t *testing.T) {
	for gb, want := range map[float64]int{0: 200, 0.5: 200, 0.93: 200, 0.97: 400, 1.9: 800, 8: 800} {
		if got := gcPercent(uint64(gb * (1 << 30))); got != want {
			t.Errorf("%g GiB: %d %%, want %d", gb, got, want)
		}
	}
	if memory() == 0 {
		t.Error("the machine's memory is not known")
	}
}
