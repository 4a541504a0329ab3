package logimport

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// Config says how a log is to be read.
type Config struct {
	Link    string // name for the frames: the mark of where they are from
	Layout  string
	Layouts []decode.Layout // the configured ones; the built-in ones are known
	Rocket  string          // whose log it is, where the lines do not say
	// Rate is how many lines a second there are; only for a log without a clock.
	Rate float64
	// FrameLimit is as in ingest.LinkConfig.
	FrameLimit int
}

// Skip is a piece of the log that gave no sample.
type Skip struct {
	Line   int    `json:"line"`   // of a text, from 1; 0 in a binary log
	Offset int64  `json:"offset"` // bytes from the start
	Reason string `json:"reason"`
	Text   string `json:"text"` // its first bytes
}

// String says it in one line.
func (s Skip) String() string {
	where := fmt.Sprintf("byte %d", s.Offset)
	if s.Line > 0 {
		where = fmt.Sprintf("line %d", s.Line)
	}
	return fmt.Sprintf("%s: %s: %q", where, s.Reason, s.Text)
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

// Log is a log that has been read.
type Log struct {
	// Frames have Link, N and Bytes; Place fills in their times.
	Frames    []ingest.Frame
	Stretches []Stretch
	Skipped   []Skip
	Hints     []string // what a person may want to know or mend
	// Good is how many frames gave a sample, IDs are the rocket ids in them.
	Good int
	IDs  []string

	since []time.Duration // of each frame, since its stretch began
}

// ErrNoClock is returned for a layout without a clock and no rate.
var ErrNoClock = errors.New("the layout has no clock: say with --rate how many lines there are a second")

// Read reads a whole log. progress, if not nil, is told the bytes read.
func Read(ctx context.Context, data []byte, c Config, progress func(bytes uint64)) (*Log, error) {
	p, framing, err := newPeek(c)
	if err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	framer, err := ingest.NewFramer(framing, c.FrameLimit)
	if err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	r := &reader{ctx: ctx, data: data, cfg: c, peek: p, log: &Log{}, text: framing.Kind == ingest.FramingLine, lastClock: math.NaN(), lastBoot: math.NaN()}
	const step = 1 << 20
	for at := 0; at < len(data); at += step {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("read log: %w", err)
		}
		if err := framer.Push(data[at:min(at+step, len(data))], r); err != nil {
			return nil, fmt.Errorf("read log: %w", err)
		}
		if progress != nil {
			progress(uint64(at))
		}
	}
	if err := framer.End(true, r); err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	return r.log, nil
}

// reader is the framer's sink.
type reader struct {
	ctx  context.Context
	data []byte
	cfg  Config
	peek *peek
	log  *Log
	text bool

	counted   int64 // bytes in which lines have been counted
	lines     int
	lastClock float64 // s, as sent
	lastBoot  float64
	lastStep  float64
	turned    float64 // s added because the clock began again
	start     float64 // clock at the stretch's start, s
	leapt     int     // lines in a row whose clock leapt
}

// line is the number of the line at an offset; offsets only rise.
func (r *reader) line(offset int64) int {
	if !r.text {
		return 0
	}
	if offset > r.counted {
		r.lines += bytes.Count(r.data[r.counted:offset], []byte{'\n'})
		r.counted = offset
	}
	return r.lines + 1
}

const skipText = 60 // bytes of a skipped piece that are shown

func (r *reader) skip(offset int64, piece []byte, reason string) {
	r.log.Skipped = append(r.log.Skipped, Skip{r.line(offset), offset, reason, string(piece[:min(len(piece), skipText)])})
}

// Reject implements ingest.Sink.
func (r *reader) Reject(j ingest.Reject) { r.skip(j.Offset, j.Bytes, j.Reason) }

// Message implements ingest.Sink.
func (r *reader) Message(m ingest.Message) error {
	if r.text && len(bytes.TrimSpace(m.Bytes)) == 0 {
		return nil // an empty line says nothing
	}
	f := ingest.Frame{Link: r.cfg.Link, N: uint64(len(r.log.Frames)) + 1, Wire: m.Wire, Bytes: bytes.Clone(m.Bytes)}
	seen, err := r.peek.look(f)
	var rej *decode.Reject
	switch {
	case errors.As(err, &rej):
		r.skip(m.Offset, m.Bytes, rejectText(rej))
		r.add(f, r.lastSince())
		return nil
	case err != nil:
		return err
	}
	if !r.peek.clock {
		if r.cfg.Rate <= 0 {
			return ErrNoClock
		}
		seen.clock = float64(r.log.Good) / r.cfg.Rate
	}
	if r.leaps(seen) {
		r.skip(m.Offset, m.Bytes, fmt.Sprintf("its clock leaps by %.0f s", seen.clock-r.lastClock))
		return nil
	}
	r.log.Good++
	if !slices.Contains(r.log.IDs, seen.rocket) {
		r.log.IDs = append(r.log.IDs, seen.rocket)
	}
	r.place(f, seen)
	return nil
}

func rejectText(r *decode.Reject) string {
	text := r.Reason
	if r.Detail != "" {
		text += " (" + r.Detail + ")"
	}
	return text
}

func (r *reader) add(f ingest.Frame, since time.Duration) {
	r.log.Frames = append(r.log.Frames, f)
	r.log.since = append(r.log.since, since)
	if n := len(r.log.Stretches); n > 0 {
		s := &r.log.Stretches[n-1]
		s.Frames++
		s.Length = max(s.Length, since)
	}
}

func (r *reader) lastSince() time.Duration {
	if n := len(r.log.since); n > 0 {
		return r.log.since[n-1]
	}
	return 0
}

const (
	reorder  = 0.5    // s that a line may be older than the one before
	leapMost = 3600.0 // s that a log may pause without a checksum to vouch for it
	leapRow  = 3      // lines that agree make a leap believed
)

// leaps says whether a line's clock is so far ahead that it is damaged.
func (r *reader) leaps(s seen) bool {
	if r.peek.guarded || math.IsNaN(s.clock) || math.IsNaN(r.lastClock) || s.clock-r.lastClock < leapMost {
		r.leapt = 0
		return false
	}
	r.leapt++
	return r.leapt < leapRow
}

// place puts a frame on the time line.
func (r *reader) place(f ingest.Frame, s seen) {
	if math.IsNaN(s.clock) {
		r.add(f, r.lastSince())
		return
	}
	step := s.clock - r.lastClock
	reboot := !math.IsNaN(s.boot) && !math.IsNaN(r.lastBoot) && s.boot != r.lastBoot
	switch {
	case math.IsNaN(r.lastClock):
		r.begin(s.clock)
	case reboot:
		r.begin(s.clock)
	case step < -reorder:
		if w := wrapOf(r.peek.wraps, -step, r.lastStep); w > 0 {
			r.turned += w
			r.log.Hints = append(r.log.Hints, fmt.Sprintf("the clock starts again after %g s (sample %d); the time goes on", w, f.N))
		} else {
			r.begin(s.clock)
		}
	case step > 0:
		r.lastStep = step
	}
	if !math.IsNaN(s.boot) {
		r.lastBoot = s.boot
	}
	r.lastClock = s.clock
	r.add(f, time.Duration(math.Round((s.clock+r.turned-r.start)*1e6))*time.Microsecond)
}

// begin opens a stretch.
func (r *reader) begin(clock float64) {
	var base time.Duration
	if n := len(r.log.Stretches); n > 0 {
		last := r.log.Stretches[n-1]
		base = last.Base + last.Length + pause
	}
	r.start, r.turned = clock, 0
	r.log.Stretches = append(r.log.Stretches, Stretch{First: len(r.log.Frames), Base: base})
}

// wrapOf is the turn of a clock that fell by so much, 0 if it is none: what is
// left of the turn must be about one step.
func wrapOf(wraps []float64, fell, step float64) float64 {
	for _, w := range wraps {
		if left := w - fell; left >= 0 && left <= max(3*step, 0.2) {
			return w
		}
	}
	return 0
}

// Place gives every frame its times, from the bases of the stretches. Frames
// pass in the order of the log.
func (l *Log) Place(session string, epoch time.Time) {
	// From 1 on: a Passed of 0 means that nothing has passed yet.
	k, passed := -1, int64(0)
	for i := range l.Frames {
		for k+1 < len(l.Stretches) && l.Stretches[k+1].First <= i {
			k++
		}
		f := &l.Frames[i]
		f.Session = session
		f.Mono = int64(l.since[i])
		if k >= 0 {
			f.Mono += int64(l.Stretches[k].Base)
		}
		passed = max(passed+1, f.Mono)
		f.Passed = passed
		f.Heard = epoch.Add(time.Duration(f.Mono))
	}
}

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
