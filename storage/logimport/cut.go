package logimport

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"padlark/decode"
	"padlark/ingest"
)

// batchPieces is how many pieces go from one stage to the next at a time:
// enough that handing on costs nothing, few enough to stay in the cache.
const batchPieces = 2048

// piece is one message of the log.
type piece struct {
	bytes  []byte
	offset int64 // in its sender's stream
	line   int   // of its sender's text, from 1; 0 in a binary log
	wire   int
	chunk  *chunk // that its last byte came in; nil unless it is a capture
}

// sender is who sent a piece, where a capture knows it.
func (p *piece) sender() string {
	if p.chunk == nil {
		return ""
	}
	return p.chunk.peer
}

// batch goes through cutting, parsing and placing.
type batch struct {
	pieces  []piece
	dropped map[int]string // pieces that framing dropped, with the reason
	parsed  []decode.Parsed
	room    []float64              // that the values of parsed begin in
	bad     map[int]*decode.Reject // pieces that no layout knows
	ready   chan struct{}          // closed once it is parsed
	read    int64                  // bytes of the source that are behind it
}

// batches are used again where nobody keeps what was in them.
type batches chan *batch

func (free batches) get() *batch {
	b := &batch{}
	select {
	case b = <-free:
	default:
		b.pieces = make([]piece, 0, batchPieces)
	}
	*b = batch{pieces: b.pieces[:0], parsed: b.parsed[:0], room: b.room[:0], ready: make(chan struct{})}
	return b
}

func (free batches) put(b *batch) {
	select {
	case free <- b:
	default:
	}
}

// stream is one sender's bytes.
type stream struct {
	framer *ingest.Framer
	chunk  *chunk
	block  []byte // under way
	base   int64  // offset of the block

	lineEnd []byte // nil in a binary log
	lines   int    // that ended before counted
	counted int    // in the block
	open    bool   // bytes have come since the last end of a line
}

// push frames a block.
func (s *stream) push(b []byte, k *chunk, to ingest.Sink) error {
	s.lineAt(s.base + int64(len(s.block)))
	s.base += int64(len(s.block))
	s.block, s.chunk, s.counted = b, k, 0
	return s.framer.Push(b, to)
}

// end closes the stream for now: what comes next is on a line of its own.
func (s *stream) end(whole bool, to ingest.Sink) error {
	if err := s.framer.End(whole, to); err != nil {
		return err
	}
	s.lineAt(s.base + int64(len(s.block)))
	if s.open && s.lineEnd != nil {
		s.lines, s.open = s.lines+1, false
	}
	return nil
}

// lineAt is the number of the line at an offset; offsets only rise. A piece
// that began in the block before ends no line there, so what has been counted
// up to here is right for it too.
func (s *stream) lineAt(offset int64) int {
	if s.lineEnd == nil {
		return 0
	}
	if upto := int(min(offset-s.base, int64(len(s.block)))); upto > s.counted {
		part := s.block[s.counted:upto]
		s.lines += bytes.Count(part, s.lineEnd)
		s.open, s.counted = !bytes.HasSuffix(part, s.lineEnd), upto
	}
	return s.lines + 1
}

// cutter cuts the source into pieces. It is the framers' sink.
type cutter struct {
	free    batches
	now     *batch
	stream  *stream // that is being cut
	read    int64
	copy    []byte // room for messages that framing has changed
	framing ingest.Framing
	limit   int
	lineEnd []byte
	emit    func(*batch) error
}

// cut runs the source through framing.
func cut(ctx context.Context, src *Source, framing ingest.Framing, limit int, free batches, emit func(*batch) error) error {
	c := &cutter{free: free, now: free.get(), framing: framing, limit: limit, emit: emit}
	if framing.Kind == ingest.FramingLine {
		c.lineEnd = []byte{src.lineEnd}
		if framing.Ends == "cr" {
			c.lineEnd = []byte{'\r'}
		}
	}
	read := c.plain
	if src.kind == captured {
		read = c.captured
	}
	if err := read(ctx, src); err != nil {
		return err
	}
	return c.flush()
}

func (c *cutter) newStream() (*stream, error) {
	f, err := ingest.NewFramer(c.framing, c.limit)
	return &stream{framer: f, lineEnd: c.lineEnd}, err
}

func (c *cutter) plain(ctx context.Context, src *Source) error {
	var err error
	if c.stream, err = c.newStream(); err != nil {
		return err
	}
	_, err = src.blocks(ctx, func(b []byte, _ *chunk) error {
		if err := c.stream.push(b, nil, c); err != nil {
			return err
		}
		c.read += int64(len(b))
		return c.flushFull()
	})
	if err != nil {
		return err
	}
	return c.stream.end(true, c)
}

// captured frames a capture as a receiver does: each sender by itself.
func (c *cutter) captured(ctx context.Context, src *Source) error {
	senders := map[string]*stream{}
	_, err := src.blocks(ctx, func(b []byte, k *chunk) error {
		s := senders[k.peer]
		if s == nil {
			var err error
			if s, err = c.newStream(); err != nil {
				return err
			}
			senders[k.peer] = s
		}
		c.stream = s
		c.read += int64(len(b))
		if err := s.push(b, k, c); err != nil {
			return err
		}
		if k.end != ingest.EndNone {
			if k.peer != "" {
				delete(senders, k.peer)
			}
			if err := s.end(k.end == ingest.EndWhole, c); err != nil {
				return err
			}
		}
		return c.flushFull()
	})
	if err != nil {
		return err
	}
	// A capture is cut off where the recording ended.
	for _, peer := range slices.Sorted(maps.Keys(senders)) {
		c.stream = senders[peer]
		if err := c.stream.end(false, c); err != nil {
			return err
		}
	}
	return nil
}

// Message implements ingest.Sink.
func (c *cutter) Message(m ingest.Message) error {
	c.add(m.Bytes, m.Offset, m.Wire)
	return c.flushFull()
}

// Reject implements ingest.Sink. It cannot hand a batch on; that comes with the
// next message or at the end of the block.
func (c *cutter) Reject(j ingest.Reject) {
	if c.now.dropped == nil {
		c.now.dropped = map[int]string{}
	}
	c.now.dropped[len(c.now.pieces)] = j.Reason
	c.add(j.Bytes[:min(len(j.Bytes), skipText)], j.Offset, 0)
}

func (c *cutter) add(b []byte, offset int64, wire int) {
	c.now.pieces = append(c.now.pieces, piece{c.own(b, offset), offset, c.stream.lineAt(offset), wire, c.stream.chunk})
}

// own gives bytes that stay: the block's own where framing has left the message
// in its place, else a copy.
func (c *cutter) own(b []byte, offset int64) []byte {
	if len(b) == 0 {
		return []byte{}
	}
	block := c.stream.block
	if at := offset - c.stream.base; at >= 0 && at < int64(len(block)) && &block[at] == &b[0] {
		return b[:len(b):len(b)]
	}
	if cap(c.copy)-len(c.copy) < len(b) {
		c.copy = make([]byte, 0, max(1<<16, len(b)))
	}
	from := len(c.copy)
	c.copy = append(c.copy, b...)
	return c.copy[from:len(c.copy):len(c.copy)]
}

// flushFull hands on a batch that is full.
func (c *cutter) flushFull() error {
	if len(c.now.pieces) < batchPieces {
		return nil
	}
	return c.flush()
}

func (c *cutter) flush() error {
	b := c.now
	b.read = c.read
	c.now = c.free.get()
	return c.emit(b)
}

// parse reads every piece of the batch.
func (b *batch) parse(d *decode.Decoder, link string) error {
	b.parsed = slices.Grow(b.parsed[:0], len(b.pieces))[:len(b.pieces)]
	clear(b.parsed)
	room := b.room[:0] // one piece of memory for all values
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
				b.room = make([]float64, 0, n*(len(b.pieces)-i))
				room = append(b.room, p.Values...)
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
