//go:build unix

package callout

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// said collects on a virtual clock what a speaker says, and when.
type said struct {
	start time.Time
	lines []string
}

// fakeSpeaker is a speaker whose commands take as long as the text tells
// ("3s words") and that notes when each began and whether it was cut.
func fakeSpeaker() (*Speaker, *said) {
	log := &said{start: time.Now()}
	s := NewSpeaker(Config{Command: []string{"unused"}}, nil)
	s.prepare = func([]string) *reserve { return nil }
	s.run = func(ctx context.Context, text string) error {
		took, words, _ := strings.Cut(text, " ")
		d, err := time.ParseDuration(took)
		if err != nil {
			return err
		}
		log.lines = append(log.lines, fmt.Sprintf("%v %s", time.Since(log.start), words))
		select {
		case <-time.After(d):
			return nil
		case <-ctx.Done():
			log.lines = append(log.lines, fmt.Sprintf("%v cut: %s", time.Since(log.start), words))
			return ctx.Err()
		}
	}
	return s, log
}

// What is more urgent goes before a command, and a command that is cut before
// it began still ends.
func TestSpeakerLetsOthersGoFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, log := fakeSpeaker()
		s.Before = func(ctx context.Context) {
			select {
			case <-time.After(5 * time.Millisecond):
			case <-ctx.Done():
			}
		}
		ctx, stop := context.WithCancel(t.Context())
		gone := make(chan error, 1)
		go func() { gone <- s.Run(ctx) }()
		s.Offer(Call{Text: "1s liftoff"}, 0)
		time.Sleep(2 * time.Second) // of the virtual clock
		s.Offer(Call{Text: "1s apogee"}, 0)
		time.Sleep(2 * time.Millisecond)
		stop()
		if err := <-gone; err != nil {
			t.Error(err)
		}
		want := []string{"5ms liftoff", "2.002s apogee", "2.002s cut: apogee"}
		if diff := cmp.Diff(want, log.lines); diff != "" {
			t.Errorf("said (-want +got):\n%s", diff)
		}
	})
}

func TestSpeakerRanksAndInterrupts(t *testing.T) {
	type offer struct {
		after time.Duration // since the offer before
		rank  Rank
		text  string
	}
	for _, c := range []struct {
		name   string
		offers []offer
		want   []string
	}{
		{"one after the other", []offer{{0, Moment, "300ms liftoff"}, {0, Number, "300ms fifty"}},
			[]string{"0s liftoff", "300ms fifty"}},
		{"a warning interrupts a number", []offer{{0, Number, "3s fifty"}, {200 * time.Millisecond, Warning, "1s look up"}},
			[]string{"0s fifty", "200ms cut: fifty", "200ms look up"}},
		{"a warning interrupts a moment", []offer{{0, Moment, "3s liftoff"}, {200 * time.Millisecond, Warning, "1s look up"}},
			[]string{"0s liftoff", "200ms cut: liftoff", "200ms look up"}},
		{"a moment interrupts a number but no moment", []offer{{0, Number, "3s fifty"}, {time.Millisecond, Moment, "500ms apogee"}, {time.Millisecond, Moment, "500ms release"}},
			[]string{"0s fifty", "1ms cut: fifty", "1ms apogee", "501ms release"}},
		{"nothing interrupts a warning but a warning, and that within its second",
			[]offer{{0, Warning, "3s Teal"}, {0, Moment, "1s apogee"}, {100 * time.Millisecond, Warning, "1s Rust"}},
			[]string{"0s Teal", "800ms cut: Teal", "800ms Rust"}}, // the apogee is stale by then
		{"dropped rather than late", []offer{{0, Moment, "2s liftoff"}, {0, Moment, "1s apogee"}},
			[]string{"0s liftoff"}},
		{"a command that hangs is ended", []offer{{0, Moment, "1h liftoff"}, {7500 * time.Millisecond, Moment, "1s apogee"}},
			[]string{"0s liftoff", "8s cut: liftoff", "8s apogee"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, log := fakeSpeaker()
				ctx, cancel := context.WithCancel(t.Context())
				ended := make(chan error)
				go func() { ended <- s.Run(ctx) }()
				for _, o := range c.offers {
					time.Sleep(o.after) // virtual time
					s.Offer(Call{Rank: o.rank, Text: o.text}, 0)
					synctest.Wait()
				}
				time.Sleep(10 * time.Second)
				cancel()
				if err := <-ended; err != nil {
					t.Errorf("run: %v", err)
				}
				if d := cmp.Diff(c.want, log.lines); d != "" {
					t.Errorf("(-want +got):\n%s", d)
				}
			})
		})
	}
}

// pipe makes a named pipe and a reader of its lines. The pipe is opened for
// reading and writing, so that it never ends while the test reads.
func pipe(t *testing.T) (path string, lines *bufio.Reader) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "heard")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatalf("make a named pipe: %v", err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatalf("open the pipe: %v", err)
	}
	t.Cleanup(func() { f.Close() })
	return path, bufio.NewReader(f)
}

// run starts a speaker and gives the function that ends it and waits.
func run(t *testing.T, cfg Config, report func(error)) (*Speaker, func()) {
	t.Helper()
	s := NewSpeaker(cfg, report)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- s.Run(ctx) }()
	return s, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("run: %v", err)
		}
	}
}

// A real command hears the text on its standard input; a warning ends it, and
// the process is gone before the warning starts.
func TestRealCommandIsInterruptedByAWarning(t *testing.T) {
	path, lines := pipe(t)
	s, end := run(t, Config{Command: []string{"sh", "-c", `exec >>"$0"; echo $$; cat; read hang <"$0.never"`, path}}, nil)
	defer end()
	if err := syscall.Mkfifo(path+".never", 0o600); err != nil {
		t.Fatal(err)
	}
	line := func() string {
		l, err := lines.ReadString('\n')
		if err != nil {
			t.Fatalf("read what was said: %v", err)
		}
		return strings.TrimSpace(l)
	}
	s.Offer(Call{Rank: Number, Text: "Teal 50"}, 0)
	first, err := strconv.Atoi(line())
	if err != nil {
		t.Fatal(err)
	}
	if got := line(); got != "Teal 50" {
		t.Fatalf("the command heard %q, want %q", got, "Teal 50")
	}
	// The command hangs now. Only the interruption lets the warning be said.
	s.Offer(Call{Rank: Warning, Text: "look up! Teal ballistic, 3 seconds"}, 0)
	second := line()
	if got := line(); got != "look up! Teal ballistic, 3 seconds" {
		t.Fatalf("the command heard %q", got)
	}
	if second == strconv.Itoa(first) {
		t.Error("the same process said both")
	}
	if err := syscall.Kill(first, 0); !errors.Is(err, syscall.ESRCH) {
		t.Errorf("process %d still there when the warning was said: %v", first, err)
	}
	if said, drops := s.Count(); said != 2 || drops.Cut != 1 {
		t.Errorf("said %d, cut %d; want 2 and 1", said, drops.Cut)
	}
}

// From Offer to the command's standard input: the p99 must stay far inside the
// callout's second.
func TestOfferReachesTheCommandSoon(t *testing.T) {
	path, lines := pipe(t)
	s, end := run(t, Config{Command: []string{"sh", "-c", `cat >>"$0"`, path}}, nil)
	defer end()
	worst := time.Duration(0)
	for i := range 50 {
		at := time.Now()
		s.Offer(Call{Rank: Warning, Text: fmt.Sprint(i)}, 0)
		l, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		if strings.TrimSpace(l) != fmt.Sprint(i) {
			t.Fatalf("heard %q, want %d", l, i)
		}
		worst = max(worst, time.Since(at))
	}
	t.Logf("slowest of 50: %v", worst)
	if worst > lateness {
		t.Errorf("slowest of 50 took %v, more than %v", worst, lateness)
	}
}

// A command that fails is told of once, with what it said, and so is its
// recovery.
func TestFailingCommandIsReportedOnce(t *testing.T) {
	flag := filepath.Join(t.TempDir(), "works")
	path, lines := pipe(t)
	reports := make(chan error, 8)
	s, end := run(t, Config{Command: []string{"sh", "-c", `read x; if [ -e "$0" ]; then e=0; else e=3; echo no sound device >&2; fi; echo "$x" >>"$1"; exit $e`, flag, path}},
		func(err error) { reports <- err })
	say := func(text string) {
		s.Offer(Call{Rank: Moment, Text: text}, 0)
		if l, err := lines.ReadString('\n'); err != nil || strings.TrimSpace(l) != text {
			t.Fatalf("heard %q, %v; want %q", l, err, text)
		}
	}
	say("one")
	err := <-reports
	if err == nil || !strings.Contains(err.Error(), "no sound device") {
		t.Errorf("report %v, want what the command complained of", err)
	}
	say("two")
	if err := os.WriteFile(flag, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	say("three")
	if err := <-reports; err != nil {
		t.Errorf("second report %v, want nil: it works again", err)
	}
	end()
	if n := len(reports); n != 0 {
		t.Errorf("%d more reports", n)
	}
}

func TestMissingCommandIsReported(t *testing.T) {
	reports := make(chan error, 1)
	s, end := run(t, Config{Command: []string{filepath.Join(t.TempDir(), "nothing-here")}}, func(err error) { reports <- err })
	defer end()
	s.Offer(Call{Rank: Moment, Text: "one"}, 0)
	if err := <-reports; !errors.Is(err, os.ErrNotExist) {
		t.Errorf("report %v, want that the file does not exist", err)
	}
}
