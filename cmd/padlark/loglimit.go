package main

import (
	"context"
	"sync"
	"time"

	"github.com/rs/zerolog"
)

// How many lines of one kind, which is what they say without their fields, a log has
// in a time. The rest is counted.
const (
	limitLines = 60
	limitEvery = time.Minute
	limitKinds = 512 // further kinds count as one
)

// logLimit keeps what goes wrong a thousand times a second from filling the log.
type logLimit struct {
	mu    sync.Mutex
	lines map[string]int // of the present time
}

func newLogLimit() *logLimit { return &logLimit{lines: map[string]int{}} }

// Run lets a line pass, or takes it out; for zerolog.
func (l *logLimit) Run(e *zerolog.Event, _ zerolog.Level, says string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, known := l.lines[says]; !known && len(l.lines) >= limitKinds {
		says = "lines of many kinds"
	}
	if l.lines[says]++; l.lines[says] > limitLines {
		e.Discard()
	}
}

// run says each time, and at the end, how many lines of each kind were left out. log
// must not be the one that is limited.
func (l *logLimit) run(ctx context.Context, log zerolog.Logger) error {
	t := time.NewTicker(limitEvery)
	defer t.Stop()
	for {
		select {
		case <-t.C:
			l.tell(log)
		case <-ctx.Done():
			l.tell(log)
			return nil
		}
	}
}

func (l *logLimit) tell(log zerolog.Logger) {
	l.mu.Lock()
	before := l.lines
	l.lines = map[string]int{}
	l.mu.Unlock()
	for says, n := range before {
		if n > limitLines {
			log.Warn().Int("left_out", n-limitLines).Str("line", says).Msg("lines of one kind were left out of the log")
		}
	}
}
