package station

import (
	"os/exec"
	"runtime"
	"strings"
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
	release, err := exec.Command("uname", "-r").Output()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) (n int) {
		for _, c := range s {
			n = 10*n + int(c-'0')
		}
		return n
	}
	parts := strings.SplitN(string(release), ".", 3)
	got := []int{number(parts[0]), number(strings.FieldsFunc(parts[1], func(c rune) bool { return c < '0' || c > '9' })[0])}
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
