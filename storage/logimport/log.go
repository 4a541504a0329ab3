package logimport

import (
	"context"
	"encoding/hex"
	"fmt"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// Log is a log that has been read.
type Log struct {
	// Stretches are its runs of lines on one clock.
	Stretches []Stretch
	// Skipped are the first pieces that gave no sample; Bad says how many
	// pieces there are in all. Config.OnSkip has heard of each.
	Skipped []Skip
	Bad     int
	Hints   []string // what a person may want to know or mend
	// Good is how many frames gave a sample, IDs are the rocket ids in them.
	Good int
	IDs  []uint32
	// Heard says that the times are those at which the bytes were heard, from
	// Begins on, and not made of the board's clock.
	Heard  bool
	Begins time.Time

	src    *Source
	cfg    Config
	frames int
}

// Stretch is a run of lines on one clock: from a start of the board to its next.
type Stretch struct {
	First, Frames int
	Length        time.Duration
	// Base is when it begins, since the epoch. Read puts a minute between
	// stretches, since the log does not say how long the board was off.
	Base time.Duration
}

// pause is put between stretches.
const pause = time.Minute

// End is when the last frame is, since the epoch.
func (l *Log) End() time.Duration {
	if n := len(l.Stretches); n > 0 {
		return l.Stretches[n-1].Base + l.Stretches[n-1].Length
	}
	return 0
}

// Of is the stretch of a time since the epoch, -1 if there is none.
func (l *Log) Of(at time.Duration) int {
	for i, s := range l.Stretches {
		if at >= s.Base-pause/2 && at <= s.Base+s.Length+pause/2 {
			return i
		}
	}
	return -1
}

// sum ends the names of the sessions made of the log: the same log gives the same.
func (l *Log) sum() string { return hex.EncodeToString(l.src.Sum[:4]) }

// Misfit says in words why the first lines of a text do not fit the layout,
// and the mend; empty if that cannot be told.
func (l *Log) Misfit() string { return l.src.misfit(l.cfg) }

// Each goes through the frames in the order of the log and gives each its
// times, from the bases of the stretches. It reads the source anew. said is
// what the frame says, nil if it gave no sample; fn may keep its values and the
// frame's bytes, not f itself. An error of fn ends it and is returned as it is.
func (l *Log) Each(ctx context.Context, session string, epoch time.Time, fn func(f *ingest.Frame, said *decode.Parsed) error) error {
	again := &Log{src: l.src, cfg: l.cfg, Heard: l.Heard, Begins: l.Begins}
	again.cfg.OnSkip, again.cfg.OnRead = nil, nil // they have been told
	passed := int64(0)                            // the first passes at 1 or later: a Passed of 0 means that nothing has passed yet
	r, err := newReader(again, func(k *kept) error {
		mono := int64(k.since)
		if n := len(again.Stretches); n > 0 && n <= len(l.Stretches) {
			mono += int64(l.Stretches[n-1].Base)
		}
		passed = max(passed+1, mono)
		f := ingest.Frame{
			Session: session, Link: l.cfg.Link, N: uint64(again.frames), Heard: epoch.Add(time.Duration(mono)),
			Mono: mono, Passed: passed, Wire: k.piece.wire, Bytes: k.piece.bytes,
		}
		if c := k.piece.chunk; c != nil {
			f.Baud, f.RSSI = c.baud, c.rssi
		}
		return fn(&f, k.said)
	})
	if err != nil {
		return fmt.Errorf("read log: %w", err)
	}
	if err := r.run(ctx); err != nil {
		return err
	}
	if again.frames != l.frames || again.Good != l.Good {
		return fmt.Errorf("the log changed while it was read (%d lines, then %d): import it again once nothing writes to it", l.frames, again.frames)
	}
	return nil
}
