package logimport

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"padlark/ingest"
)

// Source is the bytes of a log, and when they were heard if that is known.
type Source struct {
	Data []byte
	// Begins is when the first byte was heard; zero for a log that only its
	// board's clock dates.
	Begins time.Time
	// Hint says what is wrong with a capture that was read only in part.
	Hint string

	chunks []chunk // nil unless it is a capture
}

// chunk is one read of a captured link.
type chunk struct {
	upto     int           // its bytes end here in Data
	since    time.Duration // when it was heard, since Begins
	peer     string
	baud     int
	rssi     *float64
	datagram bool
	end      ingest.End
}

// Plain is a source without times.
func Plain(data []byte) Source { return Source{Data: data} }

// DumpKind is the kind of link in a capture of a log that a board handed over:
// its times are those of handing over, and say nothing of the flight.
const DumpKind = "dump"

// TrimEnd takes the mark at the end of a dump off.
func (s *Source) TrimEnd(mark []byte) {
	if len(mark) == 0 || s.chunks != nil {
		return
	}
	mark = bytes.TrimSpace(mark)
	if d := bytes.TrimRight(s.Data, "\r\n"); len(mark) > 0 && bytes.HasSuffix(d, mark) {
		s.Data = d[:len(d)-len(mark)]
	}
}

// Captured reads a capture of one link. What comes before a damaged place is
// read, and the hint says so.
func Captured(data []byte) (Source, error) {
	r, err := ingest.NewCaptureReader(bytes.NewReader(data))
	if err != nil {
		return Source{}, err
	}
	if n := len(r.Info().Links); n > 1 {
		return Source{}, fmt.Errorf("this capture has %d links: run it as a session with padlark run and file = in the [[link]]s", n)
	}
	s := Source{Data: make([]byte, 0, len(data)), chunks: []chunk{}}
	var first time.Duration
	for {
		c, err := r.Next()
		if errors.Is(err, io.EOF) {
			if at, torn := r.Torn(); torn {
				s.Hint = fmt.Sprintf("the capture is torn at byte %d; what is before it was read", at)
			}
			break
		}
		if err != nil {
			s.Hint = err.Error()
			break
		}
		if len(s.chunks) == 0 {
			first, s.Begins = c.Heard, r.Info().Epoch.Add(c.Heard)
		}
		s.add(c, first)
	}
	if links := r.Info().Links; len(links) == 1 && links[0].Kind == DumpKind {
		s.chunks, s.Begins = nil, time.Time{}
	}
	if len(s.Data) == 0 {
		return Source{}, errors.New("this capture holds no bytes")
	}
	return s, nil
}

func (s *Source) add(c ingest.Chunk, first time.Duration) {
	k := chunk{since: c.Heard - first, peer: c.Peer, baud: c.Baud, datagram: c.Datagram, end: c.End}
	if n := len(s.chunks); n > 0 {
		k.since = max(k.since, s.chunks[n-1].since)
	}
	if c.Datagram {
		// The borders are the sender's own: nothing is left for the next.
		k.peer = ""
		if k.end == ingest.EndNone {
			k.end = ingest.EndWhole
		}
	}
	if c.RSSI != nil {
		v := *c.RSSI
		k.rssi = &v
	}
	s.Data = append(s.Data, c.Bytes...)
	k.upto = len(s.Data)
	s.chunks = append(s.chunks, k)
}
