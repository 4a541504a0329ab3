package callout

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"
)

// shortestWarning is how long a warning is heard at least before the next one
// may cut it: long enough for "look up", short enough for the next to start
// within its second.
const shortestWarning = 800 * time.Millisecond

// Speaker says calls by running a command for each, one at a time. Offer may
// be called from any goroutine; Run must be running for anything to be said.
type Speaker struct {
	// Before, if set before Run, is called before each command, from a goroutine
	// of its own: to start a program keeps a small computer busy for some
	// milliseconds, and what is more urgent goes first. It must return soon, and
	// when ctx ends.
	Before func(ctx context.Context)

	silent  bool // there is no command
	command []string
	prepare func(command []string) *reserve
	spare   *reserve // of Run; nil if there is none just now
	run     func(ctx context.Context, text string) error
	longest time.Duration
	report  func(error)

	mu    sync.Mutex
	queue queue
	said  uint64
	wake  chan struct{}
}

// NewSpeaker makes a speaker. Report is told of each change between a command
// that works and one that does not (nil error: it works again); it is called
// from Run's goroutine and may be nil.
func NewSpeaker(cfg Config, report func(error)) *Speaker {
	if report == nil {
		report = func(error) {}
	}
	longest := 8 * time.Second
	if cfg.LongestS > 0 {
		longest = time.Duration(cfg.LongestS * float64(time.Second))
	}
	return &Speaker{
		silent: len(cfg.Command) == 0, command: cfg.Command, prepare: newReserve,
		run:     func(ctx context.Context, text string) error { return speak(ctx, cfg.Command, text) },
		longest: longest, report: report, wake: make(chan struct{}, 1),
	}
}

// Offer hands over a call that became known age ago (0 for just now). It never
// blocks; what cannot be said in time is dropped and counted.
func (s *Speaker) Offer(c Call, age time.Duration) {
	if s.silent {
		return
	}
	s.mu.Lock()
	s.queue.push(c, time.Now(), age)
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Count is how many calls were said, and why others were not.
func (s *Speaker) Count() (said uint64, drops Drops) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.said, s.queue.Drops
}

// saying is a command at work.
type saying struct {
	call  Call
	since time.Time
	stop  context.CancelFunc
	done  chan error // receives once, when the process is gone
	cut   bool
	// reserve is the process that was used since none could be started.
	reserve *reserve
}

// Run says what is offered until the context ends. It returns nil then, after
// the last process is gone.
func (s *Speaker) Run(ctx context.Context) error {
	var now *saying
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	failing := false
	if !s.silent {
		s.spare = s.prepare(s.command)
	}
	defer func() { s.spare.close() }()
	for {
		wait := s.step(ctx, &now)
		timer.Reset(wait)
		var done chan error
		if now != nil {
			done = now.done
		}
		select {
		case <-ctx.Done():
			if now != nil {
				now.stop()
				<-now.done
			}
			return nil
		case err := <-done:
			now.stop()
			failing = s.ended(now, err, failing)
			if now.reserve != nil || s.spare == nil && !s.silent {
				s.spare = s.prepare(s.command) // as soon as there is room again
			}
			now = nil
		case <-s.wake:
		case <-timer.C:
		}
	}
}

// step starts or interrupts as the queue demands, and says after how long to
// look again.
func (s *Speaker) step(ctx context.Context, now **saying) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	t := time.Now()
	head, ok := s.queue.head(t)
	if !ok {
		return time.Hour
	}
	if cur := *now; cur != nil {
		if cur.cut {
			return time.Hour // it is on its way out; done will wake us
		}
		wait, cut := interrupts(head.Call, cur.call, t.Sub(cur.since))
		if !cut {
			return time.Hour
		}
		if wait > 0 {
			return wait
		}
		cur.cut = true
		s.queue.Drops.Cut++
		cur.stop()
		return time.Hour
	}
	s.queue.pop()
	s.said++
	*now = s.start(ctx, head.Call, t)
	return time.Hour
}

// interrupts says whether a waiting call may cut the one being said, and after
// how long.
func interrupts(next, cur Call, spoken time.Duration) (wait time.Duration, cut bool) {
	switch {
	case next.Rank == Warning && cur.Rank == Warning:
		return max(0, shortestWarning-spoken), true
	case next.Rank == Warning, cur.Rank == Number && next.Rank < Number:
		return 0, true
	}
	return 0, false
}

// start runs the command for a call. The goroutine that waits for the process
// ends with it; Run waits for that.
func (s *Speaker) start(ctx context.Context, c Call, t time.Time) *saying {
	ctx, stop := context.WithTimeout(ctx, s.longest)
	p := &saying{call: c, since: t, stop: stop, done: make(chan error, 1)}
	spare := s.spare
	go func() {
		if s.Before != nil {
			s.Before(ctx)
		}
		err := s.run(ctx, c.Text)
		if exhausted(err) && spare != nil {
			p.reserve = spare
			err = spare.speak(ctx, s.command[0], c.Text)
		}
		p.done <- err
	}()
	return p
}

// speak runs one command to its end, or until the context ends.
func speak(ctx context.Context, command []string, text string) error {
	cmd := newCommand(ctx, command)
	cmd.Stdin = strings.NewReader(text + "\n")
	var words tail
	cmd.Stderr = &words
	err := cmd.Start()
	if err == nil {
		// Refused, the command is as good, and what must be quick a little later.
		_ = usualSlices(cmd.Process.Pid)
		err = cmd.Wait()
	}
	if err != nil {
		if hint := words.String(); hint != "" {
			return fmt.Errorf("run callout command %q: %w: %s", command[0], err, hint)
		}
		return fmt.Errorf("run callout command %q: %w", command[0], err)
	}
	return nil
}

// ended judges how a command ended and tells of changes.
func (s *Speaker) ended(p *saying, err error, failing bool) bool {
	switch {
	case p.cut || errors.Is(err, context.Canceled):
		return failing
	case err != nil && !failing:
		s.report(err)
	case err == nil && failing:
		s.report(nil)
	}
	return err != nil
}

// tail keeps the last bytes of what a command complains about.
type tail struct{ b []byte }

// tailSize bounds what is kept of a command's complaints, in bytes.
const tailSize = 256

func (t *tail) Write(p []byte) (int, error) {
	t.b = append(t.b, p...)
	if over := len(t.b) - tailSize; over > 0 {
		t.b = append(t.b[:0], t.b[over:]...)
	}
	return len(p), nil
}

func (t *tail) String() string { return strings.TrimSpace(string(t.b)) }
