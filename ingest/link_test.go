package ingest

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"
)

// patience is how long a test waits for what should come at once.
const patience = 10 * time.Second

// running is a receiver at work, with what it says and hears.
type running struct {
	*Receiver
	t      *testing.T
	frames chan Frame
	states chan LinkState
	done   chan error
	cancel context.CancelFunc
}

// start runs a receiver until the test ends or stop is called.
func start(t *testing.T, cfg LinkConfig, framing Framing, env Env) *running {
	t.Helper()
	r := &running{t: t, frames: make(chan Frame, 4096), states: make(chan LinkState, 4096), done: make(chan error, 1)}
	if env.Clock.now == nil {
		env.Clock = StartClock()
	}
	env.Log = zerolog.New(zerolog.NewTestWriter(t))
	env.OnState = func(_ string, s LinkState) { r.states <- s }
	var err error
	if r.Receiver, err = NewReceiver(cfg, framing, env); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel = cancel
	go func() {
		r.done <- r.Run(ctx, func(f Frame) error {
			select {
			case r.frames <- f:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
		close(r.done)
	}()
	t.Cleanup(func() { cancel(); <-r.done })
	return r
}

// stop cancels, and checks that Run returns nil soon: no read may hold it.
func (r *running) stop() {
	r.t.Helper()
	asked := time.Now()
	r.cancel()
	r.ended(nil)
	if took := time.Since(asked); took > time.Second {
		r.t.Errorf("it took %v to stop", took)
	}
}

// ended waits for Run to return this.
func (r *running) ended(want error) {
	r.t.Helper()
	select {
	case err := <-r.done:
		if !errors.Is(err, want) {
			r.t.Errorf("Run returned %v, want %v", err, want)
		}
	case <-time.After(patience):
		r.t.Fatal("Run does not return")
	}
}

// state waits for the next change of state.
func (r *running) state(state, words string) {
	r.t.Helper()
	select {
	case s := <-r.states:
		if s.State != state || !strings.Contains(s.Words, words) {
			r.t.Fatalf("state %q (%s), want %q (%s)", s.State, s.Words, state, words)
		}
	case <-time.After(patience):
		r.t.Fatalf("no change of state, want %q (%s)", state, words)
	}
}

// frame waits for the next frame.
func (r *running) frame(want string) Frame {
	r.t.Helper()
	select {
	case f := <-r.frames:
		if string(f.Bytes) != want {
			r.t.Fatalf("frame %q, want %q", f.Bytes, want)
		}
		return f
	case <-time.After(patience):
		r.t.Fatalf("no frame, want %q; health: %+v", want, r.Health())
	}
	panic("not reached")
}

// words waits until the words of the present state hold something.
func (r *running) words(want string) {
	r.t.Helper()
	for deadline := time.Now().Add(patience); ; {
		h := r.Health()
		if strings.Contains(h.Words, want) {
			return
		}
		if time.Now().After(deadline) {
			r.t.Fatalf("the words are %q, want %q in them", h.Words, want)
		}
		time.Sleep(time.Millisecond) // Health has no event to wait for
	}
}

func TestPause(t *testing.T) {
	var p pause
	for _, want := range []time.Duration{200, 400, 800, 1600, 3200, 5000, 5000} {
		if got := p.next(); got != want*time.Millisecond {
			t.Errorf("pause %v, want %v ms", got, want)
		}
	}
	if p.reset(); p.next() != firstPause {
		t.Error("reset does not go back to the first pause")
	}
}

// People are told of a change once; a reason that stays changed is told too,
// but not two that take turns.
func TestReporter(t *testing.T) {
	var told []string
	r := &reporter{
		name: "pad-radio", stats: newStats("pad-radio", kindSerial, StartClock(), source{}),
		env: Env{Log: zerolog.Nop(), OnState: func(_ string, s LinkState) { told = append(told, s.State+" "+s.Words) }},
	}
	for _, s := range []struct{ state, words string }{
		{StateWaiting, "a"}, {StateWaiting, "a"}, {StateWaiting, "b"}, {StateWaiting, "a"}, {StateWaiting, "b"}, {StateWaiting, "b"}, {StateWaiting, "b"},
		{StateUp, "open"}, {StateWaiting, "b"}, {StateWaiting, "b"}, {StateUp, "open"},
	} {
		r.set(s.state, s.words)
	}
	want := "waiting a|waiting b|up open|waiting b|up open"
	if got := strings.Join(told, "|"); got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	if h := r.stats.Health(); h.Restarts != 1 || h.State != StateUp {
		t.Errorf("%d restarts and state %q, want 1 and up", h.Restarts, h.State)
	}
}

// A link by itself gives chunks.
func TestNewLink(t *testing.T) {
	l, err := NewLink(LinkConfig{Name: "bench", File: writeFile(t, []byte("one\ntwo"))}, Env{Clock: StartClock(), Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	var got string
	var end End
	if err := l.Run(context.Background(), func(c Chunk) error {
		if c.Link != l.Name() {
			t.Errorf("a chunk of %q, want %q", c.Link, l.Name())
		}
		got, end = got+string(c.Bytes), c.End
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if got != "one\ntwo" || end != EndWhole {
		t.Errorf("%q, ended %v", got, end)
	}
	_, err = NewLink(LinkConfig{Name: "bench"}, Env{})
	wantConfigError(t, err, "serial", "is missing")
}
