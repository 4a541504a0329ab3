package main

import (
	"context"
	"io"
	"strings"
	"sync"
	"time"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/flight"
)

// redrawEvery is how often the terminal's lines are brought up to date.
const redrawEvery = 100 * time.Millisecond

// view shows what the bus says as lines on a terminal, and lets log lines pass
// between them. Its methods are safe for concurrent use.
type view struct {
	mu    sync.Mutex
	lines *lines
	log   io.Writer
}

// newView shows rockets on out; what is written to the view itself goes to log.
func newView(out, log io.Writer) *view { return &view{lines: newLines(out), log: log} }

// Write lets a log line pass: the block of rockets is drawn again below it.
func (v *view) Write(p []byte) (int, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.lines.big {
		v.lines.note = strings.TrimSpace(string(p))
		return len(p), nil
	}
	v.lines.erase()
	n, err := v.log.Write(p)
	v.lines.redraw()
	return n, err
}

// follow shows the bus until ctx ends. Of what is recorded, events tell how far
// the stream has come.
func (v *view) follow(ctx context.Context, b *bus.Bus, recorded bool) error {
	kinds := []bus.Kind{bus.State, bus.Alarm, bus.Standing, bus.Ticks, bus.Health}
	if recorded {
		kinds = append(kinds, bus.Event)
	}
	v.mu.Lock()
	v.lines.hold = recorded
	v.mu.Unlock()
	stop, err := b.Subscribe(kinds, v.take)
	if err != nil {
		return err
	}
	defer stop()
	t := time.NewTicker(redrawEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			v.mu.Lock()
			v.lines.release(time.Time{})
			v.lines.redraw()
			v.mu.Unlock()
			return nil
		case <-t.C:
			v.mu.Lock()
			v.lines.redraw()
			v.mu.Unlock()
		}
	}
}

// reconfigure shows the rockets and links of another configuration.
func (v *view) reconfigure(cfg *config.Config) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.lines.rockets, v.lines.links = cfg.Rockets, cfg.Links
}

// forget takes what is shown off, because it is not known any more.
func (v *view) forget() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.lines.now, v.lines.states, v.lines.alarms = time.Time{}, map[string]flight.State{}, nil
	v.lines.redraw()
}

func (v *view) take(m bus.Msg) {
	v.mu.Lock()
	defer v.mu.Unlock()
	switch m.Kind {
	case bus.State:
		if st, err := m.State(); err == nil {
			v.lines.state(st)
		}
	case bus.Alarm:
		if a, err := m.Alarm(); err == nil {
			v.lines.alarm(a)
		}
	case bus.Standing:
		if a, err := m.Standing(); err == nil {
			v.lines.standing(a)
		}
	case bus.Ticks:
		if t, err := m.Tick(); err == nil {
			v.lines.tick(t.Epoch.Add(time.Duration(t.Mono)))
		}
	case bus.Health:
		if h, err := m.Health(); err == nil {
			v.lines.health(h)
		}
	case bus.Event:
		if e, err := m.Event(); err == nil {
			v.lines.release(e.CalledAt)
		}
	}
}
