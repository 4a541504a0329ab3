package logimport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"padlark/ingest"
)

// chunks reads a capture up to its end or its first damaged place.
type chunks struct {
	r    *ingest.CaptureReader
	hint string // why it was read only in part
	left []byte // of the chunk that Read gives out

	some  bool
	first time.Duration
	since time.Duration // of the chunk before
}

func (c *chunks) next() (ingest.Chunk, error) {
	k, err := c.r.Next()
	switch {
	case err == nil:
		return k, nil
	case !errors.Is(err, io.EOF):
		c.hint = err.Error()
	default:
		if at, torn := c.r.Torn(); torn {
			c.hint = fmt.Sprintf("the capture is torn at byte %d; what is before it was read", at)
		}
	}
	return k, io.EOF
}

// Read implements io.Reader: the bytes without their times.
func (c *chunks) Read(b []byte) (int, error) {
	for len(c.left) == 0 {
		k, err := c.next()
		if err != nil {
			return 0, err
		}
		c.left = k.Bytes
	}
	n := copy(b, c.left)
	c.left = c.left[n:]
	return n, nil
}

// each calls fn with each chunk, whose bytes are fn's own.
func (c *chunks) each(ctx context.Context, fn func(b []byte, k *chunk) error) (hint string, err error) {
	for {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		k, err := c.next()
		if err != nil {
			return c.hint, nil //nolint:nilerr // the end, or what the hint says
		}
		if err := fn(slices.Clone(k.Bytes), c.timed(k)); err != nil {
			return "", err
		}
	}
}

func (c *chunks) timed(in ingest.Chunk) *chunk {
	if !c.some {
		c.some, c.first = true, in.Heard
	}
	c.since = max(c.since, in.Heard-c.first)
	k := &chunk{since: c.since, peer: in.Peer, baud: in.Baud, datagram: in.Datagram, end: in.End}
	if in.Datagram {
		// The borders are the sender's own: nothing is left for the next.
		k.peer = ""
		if k.end == ingest.EndNone {
			k.end = ingest.EndWhole
		}
	}
	if in.RSSI != nil {
		v := *in.RSSI
		k.rssi = &v
	}
	return k
}
