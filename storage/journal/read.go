package journal

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// Decoder turns frames into samples; its error is a *decode.Reject where the
// frame is no sample.
type Decoder interface {
	Decode(f ingest.Frame) (decode.Sample, error)
}

// reconfigurer is a Decoder that can go on with another configuration, whose text
// it is given; any other goes on as it is.
type reconfigurer interface {
	Reconfigure(config string) error
}

// Reader reads a journal from its start.
type Reader struct {
	c       *ingest.CaptureReader
	path    string
	file    *os.File
	decoder Decoder       // nil: frames are not decoded
	ended   time.Duration // of the note that ends the session, 0 if more came after it
	lost    uint64
}

// Open opens a journal, compressed or not, without locking it. The caller closes
// it. decoder, if not nil, must be fresh: it gets every frame in order.
func Open(path string, decoder Decoder) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	r := &Reader{path: path, file: f, decoder: decoder}
	if r.c, err = ingest.NewCaptureReader(f); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), r.Close())
	}
	return r, nil
}

// GoOnFrom skips what ends at a place or before, a place where a record ends; what
// the decoder would have learnt of it, it must know, and info is the description at
// that place or later. A compressed journal cannot be skipped in.
func (r *Reader) GoOnFrom(place int64, info ingest.CaptureInfo) error {
	r.c.Describe(info)
	if _, err := r.file.Seek(place, io.SeekStart); err != nil {
		return fmt.Errorf("%s: %w", r.path, err)
	}
	r.c.GoOn(r.file, place)
	return nil
}

// Close closes the file.
func (r *Reader) Close() error { return r.file.Close() }

// Info is the journal's description as far as it has been read.
func (r *Reader) Info() ingest.CaptureInfo { return r.c.Info() }

// Pos is where the next record begins, in bytes of the uncompressed journal.
func (r *Reader) Pos() int64 { return r.c.Pos() }

// Torn says, at the end, how many bytes follow the last whole record, as after a loss
// of power; 0 in a compressed journal.
func (r *Reader) Torn() int64 {
	st, err := r.file.Stat()
	if err != nil {
		return 0
	}
	return max(0, st.Size()-r.Pos())
}

// Ended is when the session ended in good order, 0 if nothing says so: no such note
// has been read, or a later start went on with the session.
func (r *Reader) Ended() time.Duration { return r.ended }

// Lost is how many records so far found no room when they came.
func (r *Reader) Lost() uint64 { return r.lost }

// Next is the next entry; it owns what it points to. It returns io.EOF at the
// end, torn or not, and an error with the offset where the file is damaged
// before it.
func (r *Reader) Next() (storage.Entry, error) {
	for {
		rec, err := r.c.NextRecord()
		if errors.Is(err, io.EOF) {
			return storage.Entry{}, io.EOF
		} else if err != nil {
			return storage.Entry{}, fmt.Errorf("%s: %w", r.path, err)
		}
		e, err := r.entry(&rec)
		if err != nil {
			return e, fmt.Errorf("%s: record that ends at byte %d: %w", r.path, r.c.Pos(), err)
		}
		if e.Frame != nil || e.Event != nil || e.Alarm != nil || e.Change != nil {
			e.Seq = uint64(r.c.Pos())
			return e, nil
		}
	}
}

// entry makes of a record what it stands for; nothing of one that is only about
// the journal.
func (r *Reader) entry(rec *ingest.Record) (e storage.Entry, err error) {
	switch rec.Note {
	case 0:
		f := r.frame(&rec.Chunk)
		e.Frame, r.ended = &f, 0 // it has been gone on with
		err = r.decode(&e)
	case noteEvent:
		e.Event = &flight.Event{}
		err = json.Unmarshal(rec.Text, e.Event)
	case noteAlarm:
		e.Alarm = &flight.Alarm{}
		err = json.Unmarshal(rec.Text, e.Alarm)
	case ingest.NoteChange:
		info := r.c.Info()
		e.Change = &storage.Change{Session: info.Session, At: int64(rec.Chunk.Heard), Info: info}
		r.ended = 0
		if d, ok := r.decoder.(reconfigurer); ok {
			err = d.Reconfigure(info.Config)
		}
	case noteEnd:
		r.ended = rec.Chunk.Heard
	case noteLost:
		n, _ := binary.Uvarint(rec.Text)
		r.lost += n
	}
	// A note of a later version's kind is passed over.
	return e, err
}

// frame is a record's frame, with bytes of its own.
func (r *Reader) frame(k *ingest.Chunk) ingest.Frame {
	info := r.c.Info()
	f := ingest.Frame{
		Session: info.Session, Link: k.Link, N: k.Framed.N,
		Heard: info.Epoch.Add(k.Heard), Mono: int64(k.Heard), Passed: int64(k.Framed.Passed),
		Wire: k.Framed.Wire, Baud: k.Baud, Bytes: append([]byte(nil), k.Bytes...),
	}
	if k.RSSI != nil {
		v := *k.RSSI
		f.RSSI = &v
	}
	return f
}

func (r *Reader) decode(e *storage.Entry) error {
	if r.decoder == nil {
		return nil
	}
	s, err := r.decoder.Decode(*e.Frame)
	var rej *decode.Reject
	switch {
	case errors.As(err, &rej):
		e.Reject = &decode.Rejected{Session: e.Frame.Session, Link: e.Frame.Link, N: e.Frame.N, Reject: *rej}
	case err != nil:
		return err
	default:
		e.Sample = &s
		if d, ok := r.decoder.(interface{ More() []decode.Sample }); ok {
			e.More = d.More()
		}
	}
	return nil
}
