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
	OnRead func(bytes uint64)
}

// ErrNoClock is returned for a layout without a clock and no rate.
var ErrNoClock = errors.New("the layout has no clock: say with --rate how many lines there are a second")

// Read reads a whole log: one goroutine cuts it into pieces, some parse them,
// and one puts them on the time line, in order, so that the result is always
// the same. Each piece is parsed once.
func Read(ctx context.Context, src Source, c Config) (*Log, error) {
	framing, err := framingOf(c)
	if err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	workers := min(runtime.GOMAXPROCS(0), 4)
	decoders := make([]*decode.Decoder, workers)
	for i := range decoders {
		if decoders[i], err = c.decoder(); err != nil {
			return nil, fmt.Errorf("read log: %w", err)
		}
	}
	r := newReader(&src, c, framing, decoders[0])
	todo, order := make(chan *batch, workers), make(chan *batch, 2*workers)
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(todo)
		defer close(order)
		return cut(ctx, &src, framing, c.FrameLimit, func(b *batch) error {
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
	for _, d := range decoders {
		g.Go(func() error {
			for b := range todo {
				if err := b.parse(d, c.Link); err != nil {
					return err
				}
				close(b.ready)
			}
			return nil
		})
	}
	g.Go(func() error { return r.collect(ctx, order) })
	if err := g.Wait(); err != nil {
		return nil, fmt.Errorf("read log: %w", err)
	}
	return r.log, nil
}

func (c *Config) decoder() (*decode.Decoder, error) {
	return decode.New(decode.Config{
		Layouts: c.Layouts, Rockets: c.Rockets,
		Links: []decode.LinkLayouts{{Link: c.Link, Layouts: []string{c.Layout}, Rocket: c.Rocket}},
	})
}

func framingOf(c Config) (ingest.Framing, error) {
	built, err := decode.Builtin()
	if err != nil {
		return ingest.Framing{}, err
	}
	all := slices.Concat(built, c.Layouts)
	i := slices.IndexFunc(all, func(l decode.Layout) bool { return l.Name == c.Layout })
	if i >= 0 {
		return all[i].Framing, nil
	}
	var names []string
	for _, l := range all {
		names = append(names, l.Name)
	}
	return ingest.Framing{}, fmt.Errorf("there is no layout %q; known are: %s", c.Layout, strings.Join(names, ", "))
}

// reader takes the parsed pieces in order.
type reader struct {
	src     *Source
	cfg     Config
	log     *Log
	text    bool
	clocked bool // the layout has a clock
	skips   skips
	line    timeline
	counted int64 // bytes in which lines have been counted
	lines   int
}

func newReader(src *Source, c Config, framing ingest.Framing, d *decode.Decoder) *reader {
	l := &Log{link: c.Link, chunks: src.chunks, Heard: src.chunks != nil, Begins: src.Begins}
	if src.Hint != "" {
		l.Hints = append(l.Hints, src.Hint)
	}
	return &reader{
		src: src, cfg: c, log: l, text: framing.Kind == ingest.FramingLine, clocked: d.HasClock(c.Link),
		skips: skips{log: l, tell: c.OnSkip},
		line:  timeline{log: l, guarded: d.Protected(c.Link), lastClock: math.NaN(), lastBoot: math.NaN()},
	}
}

func (r *reader) collect(ctx context.Context, order <-chan *batch) error {
	for b := range order {
		select {
		case <-b.ready:
		case <-ctx.Done():
			return ctx.Err()
		}
		if err := r.take(b); err != nil {
			return err
		}
		if r.cfg.OnRead != nil {
			r.cfg.OnRead(uint64(b.read))
		}
	}
	r.skips.flush()
	return nil
}

// take makes frames of a batch.
func (r *reader) take(b *batch) error {
	b.kept = make([]kept, 0, len(b.pieces))
	for i := range b.pieces {
		p := &b.pieces[i]
		if reason, dropped := b.dropped[i]; dropped {
			r.skip(p, reason, "")
			continue
		}
		if r.text && len(bytes.TrimSpace(p.bytes)) == 0 {
			continue // an empty line says nothing
		}
		k := kept{bytes: p.bytes, wire: p.wire, chunk: p.chunk, piece: int32(i)}
		if rej := b.bad[i]; rej != nil {
			r.skip(p, rej.Reason, rej.Detail)
			k.since = r.line.here(p.chunk)
			r.keep(b, k)
			continue
		}
		said := &b.parsed[i]
		clock := said.ClockUs * 1e-6
		if !r.clocked {
			if r.cfg.Rate <= 0 && !r.log.Heard {
				return ErrNoClock
			}
			clock = float64(r.log.Good) / r.cfg.Rate
		}
		since, detail := r.line.place(said, clock, p.chunk)
		if detail != "" {
			r.skip(p, "its clock leaps", detail)
			continue
		}
		r.log.Good++
		if said.HasID && !slices.Contains(r.log.IDs, said.ID) {
			r.log.IDs = append(r.log.IDs, said.ID)
		}
		k.since, k.good = since, true
		r.keep(b, k)
	}
	b.pieces, b.dropped, b.bad = nil, nil, nil
	r.log.batches = append(r.log.batches, b)
	return nil
}

func (r *reader) keep(b *batch, k kept) {
	b.kept = append(b.kept, k)
	r.line.add(k.since)
}

func (r *reader) skip(p *piece, reason, detail string) {
	r.skips.add(r.lineOf(p.offset), p.offset, p.bytes, reason, detail, r.log.Good)
}

// lineOf is the number of the line at an offset; offsets only rise.
func (r *reader) lineOf(offset int64) int {
	if !r.text {
		return 0
	}
	offset = min(offset, int64(len(r.src.Data)))
	if offset > r.counted {
		r.lines += bytes.Count(r.src.Data[r.counted:offset], []byte{'\n'})
		r.counted = offset
	}
	return r.lines + 1
}
