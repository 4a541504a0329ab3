package logimport

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// batchPieces is how many pieces go from one stage to the next at a time:
// enough that handing on costs nothing, few enough to stay in the cache.
const batchPieces = 2048

// piece is one message of the log.
type piece struct {
	bytes  []byte
	offset int64 // in the log
	wire   int
	chunk  int32 // that its last byte came in; -1 unless it is a capture
}

// kept is a piece that has become a frame.
type kept struct {
	bytes []byte
	since time.Duration
	wire  int
	chunk int32
	piece int32 // index of what it says, in batch.parsed
	good  bool
}

// batch goes through cutting, parsing and placing.
type batch struct {
	pieces  []piece
	dropped map[int]string // pieces that framing dropped, with the reason
	parsed  []decode.Parsed
	bad     map[int]*decode.Reject // pieces that no layout knows
	ready   chan struct{}          // closed once it is parsed
	kept    []kept
	read    int // bytes of the source that are behind it
}

func newBatch() *batch {
	return &batch{pieces: make([]piece, 0, batchPieces), ready: make(chan struct{})}
}

// cutter cuts the source into pieces. It is the framers' sink.
type cutter struct {
	src   *Source
	now   *batch
	chunk int32
	read  int
	copy  []byte // room for messages that framing has changed
	emit  func(*batch) error
}

// cut runs the source through framing.
func cut(ctx context.Context, src *Source, framing ingest.Framing, limit int, emit func(*batch) error) error {
	c := &cutter{src: src, now: newBatch(), chunk: -1, emit: emit}
	var err error
	if src.chunks == nil {
		err = c.plain(ctx, framing, limit)
	} else {
		err = c.captured(ctx, framing, limit)
	}
	if err != nil {
		return err
	}
	return c.flush()
}

func (c *cutter) plain(ctx context.Context, framing ingest.Framing, limit int) error {
	framer, err := ingest.NewFramer(framing, limit)
	if err != nil {
		return err
	}
	const step = 1 << 20
	for at := 0; at < len(c.src.Data); at += step {
		if err := ctx.Err(); err != nil {
			return err
		}
		c.read = at
		if err := framer.Push(c.src.Data[at:min(at+step, len(c.src.Data))], c); err != nil {
			return err
		}
	}
	return framer.End(true, c)
}

// captured frames a capture as a receiver does: each sender by itself.
func (c *cutter) captured(ctx context.Context, framing ingest.Framing, limit int) error {
	framers := map[string]*ingest.Framer{}
	for i := range c.src.chunks {
		k := &c.src.chunks[i]
		if err := ctx.Err(); err != nil {
			return err
		}
		c.chunk = int32(i)
		f := framers[k.peer]
		if f == nil {
			var err error
			if f, err = ingest.NewFramer(framing, limit); err != nil {
				return err
			}
			framers[k.peer] = f
		}
		data := c.src.Data[c.read:k.upto]
		c.read = k.upto
		if err := f.Push(data, c); err != nil {
			return err
		}
		if k.end == ingest.EndNone {
			continue
		}
		if err := f.End(k.end == ingest.EndWhole, c); err != nil {
			return err
		}
		if k.peer != "" {
			delete(framers, k.peer)
		}
	}
	// A capture is cut off where the recording ended.
	for _, peer := range slices.Sorted(maps.Keys(framers)) {
		if err := framers[peer].End(false, c); err != nil {
			return err
		}
	}
	return nil
}

// Message implements ingest.Sink.
func (c *cutter) Message(m ingest.Message) error {
	c.add(m.Bytes, m.Offset, m.Wire)
	if len(c.now.pieces) < batchPieces {
		return nil
	}
	return c.flush()
}

// Reject implements ingest.Sink.
func (c *cutter) Reject(j ingest.Reject) {
	if c.now.dropped == nil {
		c.now.dropped = map[int]string{}
	}
	c.now.dropped[len(c.now.pieces)] = j.Reason
	c.add(j.Bytes[:min(len(j.Bytes), skipText)], j.Offset, 0)
}

func (c *cutter) add(b []byte, offset int64, wire int) {
	c.now.pieces = append(c.now.pieces, piece{c.own(b, offset), offset, wire, c.chunk})
}

// own gives bytes that stay: the log's own where framing has left the message
// in its place, else a copy.
func (c *cutter) own(b []byte, offset int64) []byte {
	if len(b) == 0 {
		return []byte{}
	}
	d := c.src.Data
	if offset < int64(len(d)) && &d[offset] == &b[0] {
		return b[:len(b):len(b)]
	}
	if cap(c.copy)-len(c.copy) < len(b) {
		c.copy = make([]byte, 0, max(1<<16, len(b)))
	}
	from := len(c.copy)
	c.copy = append(c.copy, b...)
	return c.copy[from:len(c.copy):len(c.copy)]
}

func (c *cutter) flush() error {
	b := c.now
	b.read = c.read
	c.now = newBatch()
	return c.emit(b)
}

// parse reads every piece of the batch.
func (b *batch) parse(d *decode.Decoder, link string) error {
	b.parsed = make([]decode.Parsed, len(b.pieces))
	var room []float64 // one piece of memory for all values
	for i := range b.pieces {
		if _, dropped := b.dropped[i]; dropped {
			continue
		}
		p := &b.parsed[i]
		p.Values = room
		err := d.Parse(link, b.pieces[i].bytes, p)
		var rej *decode.Reject
		switch {
		case err == nil:
			n := len(p.Values)
			if cap(room) < n {
				room = make([]float64, 0, n*(len(b.pieces)-i))
				room = append(room, p.Values...)
				p.Values = room
			}
			p.Values = p.Values[:n:n]
			room = room[n:n]
		case errors.As(err, &rej):
			if b.bad == nil {
				b.bad = map[int]*decode.Reject{}
			}
			b.bad[i] = rej
			*p = decode.Parsed{}
		default:
			return fmt.Errorf("parse byte %d: %w", b.pieces[i].offset, err)
		}
	}
	return nil
}
