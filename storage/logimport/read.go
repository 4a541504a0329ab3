package logimport

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/decode"
	"padlark/ingest"
)

// Config says how a log is to be read.
type Config struct {
	Link    string // name for the frames: the mark of where they are from
	Layout  string
	Layouts []decode.Layout // the configured ones; the built-in ones are known
	Rockets []decode.RocketID
	Rocket  string // whose log it is, where the lines do not say
	// Rate is how many lines a second there are; only for a log without a clock.
	Rate float64
	// FrameLimit is as in ingest.LinkConfig.
	FrameLimit int
	// OnSkip, if set, is told of everything that is skipped, in order, from one
	// goroutine.
	OnSkip func(Skip)
	// OnRead, if set, is told how many bytes have been read.
	OnRead func(bytes int64)
}

// ErrNoClock is returned for a layout without a clock and no rate.
var ErrNoClock = errors.New("the layout has no clock: say with --rate how many lines there are a second")

// Read goes through a whole log: one goroutine cuts it into pieces, some parse
// them, and one puts them on the time line, in order, so that the result is
// always the same. It keeps no line: Each goes through them again.
func Read(ctx context.Context, src *Source, c Config) (*Log, error) {
	l := &Log{src: src, cfg: c, Heard: src.kind == captured, Begins: src.Begins}
	if src.Hint != "" {
		l.Hints = append(l.Hints, src.Hint)
	}
	r, err := newReader(l, nil)
	if err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	if err := r.run(ctx); err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	return l, nil
}

func (c *Config) decoder() (*decode.Decoder, error) {
	return decode.New(decode.Config{
		Layouts: c.Layouts, Rockets: c.Rockets,
		Links: []decode.LinkLayouts{{Link: c.Link, Layouts: []string{c.Layout}, Rocket: c.Rocket}},
	})
}

// layoutOf finds the layout among the configured and the built-in ones.
func layoutOf(c Config) (decode.Layout, error) {
	built, err := decode.Builtin()
	if err != nil {
		return decode.Layout{}, err
	}
	all := decode.Join(built, c.Layouts)
	i := slices.IndexFunc(all, func(l decode.Layout) bool { return l.Name == c.Layout })
	if i >= 0 {
		return all[i], nil
	}
	var names []string
	for _, l := range all {
		names = append(names, l.Name)
	}
	return decode.Layout{}, fmt.Errorf("there is no layout %q; known are: %s", c.Layout, strings.Join(names, ", "))
}

// Form is what the layout says of the log.
func (c Config) Form() (f Form, err error) {
	l, err := layoutOf(c)
	f.Text = l.Framing.Kind == ingest.FramingLine
	// A checksum is that of the line as it stands there.
	f.Commas = f.Text && l.Separator != "" && !strings.Contains(l.Separator, ",") && l.Checksum.Kind == ""
	return f, err
}

// reader is one pass through a log.
type reader struct {
	src      *Source
	cfg      Config
	framing  ingest.Framing
	decoders []*decode.Decoder // one for each goroutine that parses

	log     *Log // of this pass
	out     func(k *kept) error
	free    batches // nil if out keeps what is in them
	clocked bool    // the layout has a clock
	skips   skips
	line    timeline
	wait    []waiting // a line whose clock is doubtful, and what came since
}

// kept is a piece that has become a frame.
type kept struct {
	piece *piece
	since time.Duration  // since its stretch began
	said  *decode.Parsed // nil if it gave no sample
}

// newReader makes a pass that fills l and hands each frame to out, if it is set.
func newReader(l *Log, out func(k *kept) error) (*reader, error) {
	layout, err := layoutOf(l.cfg)
	if err != nil {
		return nil, err
	}
	r := &reader{src: l.src, cfg: l.cfg, framing: layout.Framing, log: l, out: out, skips: skips{log: l, tell: l.cfg.OnSkip}}
	if out == nil {
		r.free = make(batches, 8)
	}
	r.decoders = make([]*decode.Decoder, min(runtime.GOMAXPROCS(0), 4))
	for i := range r.decoders {
		if r.decoders[i], err = l.cfg.decoder(); err != nil {
			return nil, err
		}
	}
	if err := r.readHeaders(); err != nil {
		return nil, err
	}
	d := r.decoders[0]
	r.clocked = d.HasClock(l.cfg.Link)
	r.line = timeline{log: l, guarded: d.Protected(l.cfg.Link) || !r.clocked, lastClock: math.NaN(), lastBoot: math.NaN(), lastSeq: math.NaN()}
	return r, nil
}

// errRead ends a pass that has read enough.
var errRead = errors.New("enough has been read")

// readHeaders lets every decoder know what lines near the log's beginning say of
// all others: the names of the columns.
func (r *reader) readHeaders() error {
	err := cut(context.Background(), r.src, r.framing, r.cfg.FrameLimit, make(batches), func(b *batch) error {
		for _, p := range b.pieces {
			for _, d := range r.decoders {
				if !d.Learn(r.cfg.Link, p.bytes) {
					break
				}
			}
		}
		return errRead
	})
	if errors.Is(err, errRead) {
		return nil
	}
	return err
}

// run makes the pass and waits for its goroutines.
func (r *reader) run(ctx context.Context) error {
	todo, order := make(chan *batch, len(r.decoders)), make(chan *batch, 2*len(r.decoders))
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(todo)
		defer close(order)
		return cut(ctx, r.src, r.framing, r.cfg.FrameLimit, r.free, func(b *batch) error {
			for _, to := range []chan *batch{order, todo} {
				select {
				case to <- b:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		})
	})
	for _, d := range r.decoders {
		g.Go(func() error {
			for b := range todo {
				if err := b.parse(d, r.cfg.Link); err != nil {
					return err
				}
				close(b.ready)
			}
			return nil
		})
	}
	g.Go(func() error { return r.collect(ctx, order) })
	return g.Wait()
}

func (r *reader) collect(ctx context.Context, order <-chan *batch) error {
	for b := range order {
		select {
		case <-b.ready:
		case <-ctx.Done():
			return ctx.Err()
		}
		for i := range b.pieces {
			if err := r.take(b, i); err != nil {
				return err
			}
		}
		if r.cfg.OnRead != nil {
			r.cfg.OnRead(b.read)
		}
		r.free.put(b)
	}
	if r.line.first() { // the only line that gave a sample
		if err := r.settleAll(); err != nil {
			return err
		}
	} else if err := r.giveUp(); err != nil {
		return err
	}
	r.skips.flush()
	return nil
}

// take makes a frame of a piece, unless it must wait for the next to tell
// whether the clock of the one that waits first is right.
func (r *reader) take(b *batch, i int) error {
	w := waiting{piece: b.pieces[i], rej: b.bad[i]}
	w.dropped = b.dropped[i]
	if w.dropped == "" && w.rej == nil {
		if w.piece.line > 0 && len(bytes.TrimSpace(w.piece.bytes)) == 0 {
			return nil // an empty line says nothing
		}
		w.said = &b.parsed[i]
		if says(w.said) {
			if err := r.clockOf(&w); err != nil {
				return err
			}
		} else {
			w.dropped, w.said = "nothing is measured in it", nil
		}
	}
	if len(r.wait) > 0 {
		return r.decide(w)
	}
	if w.said != nil && r.line.doubtful(w.mark) {
		r.hold(w)
		return nil
	}
	return r.settle(&w)
}

// says is whether a line holds anything.
func says(p *decode.Parsed) bool {
	return !math.IsNaN(p.ClockUs) || slices.ContainsFunc(p.Values, func(v float64) bool { return !math.IsNaN(v) })
}

// clockOf fills in the mark of a line.
func (r *reader) clockOf(w *waiting) error {
	w.mark = mark{clock: w.said.ClockUs * 1e-6, boot: w.said.Boot, seq: w.said.Seq}
	if !r.clocked {
		if r.cfg.Rate <= 0 && !r.log.Heard {
			return ErrNoClock
		}
		w.mark.clock = float64(r.log.Good) / r.cfg.Rate
	}
	return nil
}

// waiting is a piece that has not become a frame yet.
type waiting struct {
	piece   piece
	dropped string // why it gives none, if so
	detail  string
	rej     *decode.Reject // why no layout knows it, if so
	said    *decode.Parsed
	mark
}

// waitMost is how many pieces wait for a line that tells.
const waitMost = 1000

// hold lets a line wait, beyond the life of its batch.
func (r *reader) hold(w waiting) {
	if w.said != nil && r.free != nil {
		said := *w.said
		said.Values = nil // nobody asks for them in a pass whose batches are used again
		w.said = &said
	}
	r.wait = append(r.wait, w)
}

// decide takes the line after a doubtful one.
func (r *reader) decide(w waiting) error {
	if w.said == nil || math.IsNaN(w.clock) {
		if len(r.wait) < waitMost {
			r.hold(w)
			return nil
		}
		if err := r.giveUp(); err != nil {
			return err
		}
		return r.settle(&w)
	}
	if !r.line.vouches(r.wait[0].mark, w.mark) {
		if err := r.giveUp(); err != nil {
			return err
		}
		if r.line.doubtful(w.mark) {
			r.hold(w)
			return nil
		}
		return r.settle(&w)
	}
	if err := r.settleAll(); err != nil {
		return err
	}
	return r.settle(&w)
}

// giveUp says that the line that waits first has a wrong clock.
func (r *reader) giveUp() error {
	if len(r.wait) == 0 {
		return nil
	}
	first := &r.wait[0]
	first.dropped, first.detail = "its clock leaps, and the next line does not follow it", r.line.off(first.mark)
	return r.settleAll()
}

func (r *reader) settleAll() error {
	all := r.wait
	r.wait = nil
	for i := range all {
		if err := r.settle(&all[i]); err != nil {
			return err
		}
	}
	return nil
}

// settle makes a frame of a piece whose place is sure, or skips it.
func (r *reader) settle(w *waiting) error {
	p := &w.piece
	switch {
	case w.dropped != "":
		r.skips.add(p, w.dropped, w.detail)
		return nil
	case w.rej != nil:
		if w.rej.Kind != decode.Heading {
			r.skips.add(p, w.rej.Reason, w.rej.Detail)
		}
		return r.keep(&kept{piece: p, since: r.line.here(p.chunk)})
	}
	since := r.line.place(w.said, w.mark, p.chunk)
	r.log.Good++
	if w.said.HasID && !slices.Contains(r.log.IDs, w.said.ID) {
		r.log.IDs = append(r.log.IDs, w.said.ID)
	}
	return r.keep(&kept{p, since, w.said})
}

func (r *reader) keep(k *kept) error {
	r.line.add(k.since)
	if r.out == nil {
		return nil
	}
	return r.out(k)
}
