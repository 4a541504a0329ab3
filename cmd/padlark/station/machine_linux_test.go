package station

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// wakesVar makes this test program the process that a machineWatch starts.
const wakesVar = "PADLARK_WAKES"

// wakeEvery is how often that process wakes: as often as the fleet sends.
const wakeEvery = time.Second / (16 * 50)

// machineWatch notes what the machine takes for itself while something is
// measured: how late a process wakes that does nothing but sleep, and which share
// of the processors' time the host of a virtual machine has kept (steal in
// proc_stat(5)). No way through a station can be faster than that.
type machineWatch struct {
	process *exec.Cmd
	end     io.Closer
	said    io.Reader
	before  [2]float64
}

func watchMachine(b *testing.B) *machineWatch {
	b.Helper()
	w := &machineWatch{process: exec.CommandContext(b.Context(), os.Args[0]), before: stolen(b)}
	w.process.Env = append(os.Environ(), wakesVar+"=1")
	in, err := w.process.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := w.process.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := w.process.Start(); err != nil {
		b.Fatal(err)
	}
	w.end, w.said = in, out
	return w
}

func (w *machineWatch) report(b *testing.B) {
	b.Helper()
	if err := w.end.Close(); err != nil {
		b.Fatal(err)
	}
	var late []float64
	for lines := bufio.NewScanner(w.said); lines.Scan(); {
		ms, err := strconv.ParseFloat(lines.Text(), 64)
		if err != nil {
			b.Fatal(err)
		}
		late = append(late, ms)
	}
	if err := w.process.Wait(); err != nil {
		b.Fatal(err)
	}
	if len(late) == 0 {
		b.Fatal("the process that sleeps has noted nothing")
	}
	reportQuantiles(b, "wake", late)
	after := stolen(b)
	b.ReportMetric(100*(after[0]-w.before[0])/(after[1]-w.before[1]), "stolen_percent")
}

// stolen is how much of the processors' time the host has kept, and all of it,
// both in ticks since the machine's start.
func stolen(b *testing.B) (ticks [2]float64) {
	b.Helper()
	text, err := os.ReadFile("/proc/stat")
	if err != nil {
		b.Fatal(err)
	}
	first, _, _ := strings.Cut(string(text), "\n")
	// cpu user nice system idle iowait irq softirq steal guest guest_nice; the
	// last two stand in user and nice too.
	for i, f := range strings.Fields(first)[1:9] {
		n, err := strconv.ParseFloat(f, 64)
		if err != nil {
			b.Fatal(err)
		}
		if i == 7 {
			ticks[0] = n
		}
		ticks[1] += n
	}
	return ticks
}

// TestMain lets the program be the process of a machineWatch.
func TestMain(m *testing.M) {
	if os.Getenv(wakesVar) == "" {
		os.Exit(m.Run())
	}
	if err := noteWakes(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// noteWakes sleeps, notes how late it wakes (ms), and writes that when in ends.
func noteWakes(in io.Reader, out io.Writer) error {
	runtime.LockOSThread()
	ended := make(chan error, 1)
	go func() {
		_, err := io.Copy(io.Discard, in)
		ended <- err
	}()
	var late []float64
	next, err := monotonic()
	for err == nil {
		select {
		case err := <-ended:
			for _, ms := range late {
				if _, err := fmt.Fprintln(out, ms); err != nil {
					return err
				}
			}
			return err
		default:
		}
		next += wakeEvery
		at := unix.NsecToTimespec(int64(next))
		if err := unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &at, nil); err != nil && err != unix.EINTR {
			return err
		}
		var now time.Duration
		now, err = monotonic()
		late = append(late, max(0, (now-next).Seconds()*1e3))
		next = max(next, now) // what was overslept is not made up for
	}
	return err
}

func monotonic() (time.Duration, error) {
	var now unix.Timespec
	err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &now)
	return time.Duration(now.Nano()), err
}
