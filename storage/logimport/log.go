package logimport

import (
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

	link    string
	chunks  []chunk
	batches []*batch
	frames  int
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

// Len is how many frames there are.
func (l *Log) Len() int { return l.frames }

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

// Walk goes through the frames in the order of the log and gives each its
// times, from the bases of the stretches.
type Walk struct {
	log     *Log
	session string
	epoch   time.Time
	batch   int
	at      int // in the batch
	n       int // frames so far
	stretch int
	passed  int64
}

// Walk begins at the first frame.
func (l *Log) Walk(session string, epoch time.Time) *Walk {
	// From 1 on: a Passed of 0 means that nothing has passed yet.
	return &Walk{log: l, session: session, epoch: epoch, stretch: -1}
}

// Len is how many frames there are in all.
func (w *Walk) Len() int { return w.log.frames }

// Next writes the next frame into f; ok is false after the last. p is what it
// says, nil if it gave no sample.
func (w *Walk) Next(f *ingest.Frame) (p *decode.Parsed, ok bool) {
	l := w.log
	for w.batch < len(l.batches) && w.at == len(l.batches[w.batch].kept) {
		w.batch, w.at = w.batch+1, 0
	}
	if w.batch == len(l.batches) {
		return nil, false
	}
	b := l.batches[w.batch]
	k := &b.kept[w.at]
	for w.stretch+1 < len(l.Stretches) && l.Stretches[w.stretch+1].First <= w.n {
		w.stretch++
	}
	w.at++
	w.n++
	mono := int64(k.since)
	if w.stretch >= 0 {
		mono += int64(l.Stretches[w.stretch].Base)
	}
	w.passed = max(w.passed+1, mono)
	*f = ingest.Frame{
		Session: w.session, Link: l.link, N: uint64(w.n), Heard: w.epoch.Add(time.Duration(mono)),
		Mono: mono, Passed: w.passed, Wire: k.wire, Bytes: k.bytes,
	}
	if k.chunk >= 0 {
		c := &l.chunks[k.chunk]
		f.Baud, f.RSSI = c.baud, c.rssi
	}
	if k.good {
		p = &b.parsed[k.piece]
	}
	return p, true
}

// Frames are all frames with their times.
func (l *Log) Frames(session string, epoch time.Time) []ingest.Frame {
	out := make([]ingest.Frame, 0, l.frames)
	var f ingest.Frame
	for w := l.Walk(session, epoch); ; {
		if _, ok := w.Next(&f); !ok {
			return out
		}
		out = append(out, f)
	}
}
