package logimport

import (
	"bytes"
	"compress/flate"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
	"os"
	"time"

	"padlark/ingest"
)

// Source is the bytes of a log, and when they were heard if that is known. It
// is read anew for each pass and never held as a whole, so the file must not
// change meanwhile.
type Source struct {
	// Begins is when the first byte was heard; zero for a log that only its
	// board's clock dates.
	Begins time.Time
	// Hint says what a person may want to know: why it was read only in part,
	// or what was read otherwise than it stands there.
	Hint string
	// Size is how many bytes of log there are, Sum is their SHA-256.
	Size int64
	Sum  [sha256.Size]byte

	open    opener
	packed  bool
	kind    sourceKind
	lineEnd byte
	tail    []byte // the last bytes
}

type sourceKind int

const (
	plainBytes sourceKind = iota
	captured              // its chunks say when they were heard
	dumped                // a capture whose times say nothing
)

// chunk is one read of a captured link.
type chunk struct {
	since    time.Duration // when it was heard, since Begins
	peer     string
	baud     int
	rssi     *float64
	datagram bool
	end      ingest.End
}

// dumpKind is the kind of link in a capture of a log that a board handed over:
// its times are those of handing over, and say nothing of the flight.
const dumpKind = "dump"

const (
	blockBytes = 256 << 10 // of a log that are read at a time
	tailBytes  = 4096      // at its end that are kept for TrimEnd
)

// Spool keeps what comes on stdin in a file without a name, in a folder that is made if
// it is not there: a log is read more than once. It is gone once it is closed.
func Spool(in io.Reader, dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("make the folder for what comes on stdin: %w", err)
	}
	f, err := os.CreateTemp(dir, "import-*.tmp")
	if err != nil {
		return nil, fmt.Errorf("make a file for what comes on stdin: %w", err)
	}
	_ = os.Remove(f.Name()) // where that cannot be while it is open, it stays
	if _, err := io.Copy(f, in); err != nil {
		return nil, errors.Join(fmt.Errorf("keep what comes on stdin: %w", err), f.Close())
	}
	return f, nil
}

// OpenFile opens a log as its layout says; the mark at the end of a dump is no
// part of it.
func OpenFile(ctx context.Context, f *os.File, c Config) (*Source, error) {
	form, err := c.Form()
	if err != nil {
		return nil, err
	}
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	s, err := Open(ctx, f, st.Size(), form)
	if err != nil {
		return nil, err
	}
	if l, err := layoutOf(c); err == nil && l.Dump != nil {
		if plan, err := l.Dump.Plan(); err == nil {
			s.TrimEnd(plan.End)
		}
	}
	return s, nil
}

// Open finds out what a file is, a log or a capture, and reads it once through
// for its size and sum. What comes before the damaged place of a capture or of
// a packed file is read, and the hint says so.
func Open(ctx context.Context, r io.ReaderAt, size int64, form Form) (*Source, error) {
	s := &Source{Size: math.MaxInt64, lineEnd: '\n'}
	if err := s.sniff(r, size, form); err != nil {
		return nil, err
	}
	if err := s.scan(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

// scan is the first pass.
func (s *Source) scan(ctx context.Context) error {
	if s.kind == captured {
		if err := s.scanHead(); err != nil {
			return err
		}
	}
	c := scanner{sum: sha256.New()}
	hint, err := s.blocks(ctx, c.take)
	if err != nil {
		return err
	}
	switch {
	case c.size > 0:
	case s.kind != plainBytes:
		return errors.New("this capture holds no bytes")
	case s.packed:
		return errors.New("it is packed, and nothing is in it")
	default:
		return errors.New("it is empty")
	}
	if hint != "" {
		s.Hint = hint
	}
	s.Size, s.tail = c.size, c.tail
	c.sum.Sum(s.Sum[:0])
	if !c.lf {
		s.lineEnd = '\r'
	}
	return nil
}

// scanHead reads a capture up to its first chunk.
func (s *Source) scanHead() error {
	in, err := s.open()
	if err != nil {
		return err
	}
	r, err := ingest.NewCaptureReader(in)
	if err != nil {
		return err
	}
	links := r.Info().Links
	if n := len(links); n > 1 {
		return fmt.Errorf("this capture has %d links: run it as a session with padlark run and file = in the [[link]]s", n)
	}
	if len(links) == 1 && links[0].Kind == dumpKind {
		s.kind = dumped
		return nil
	}
	if k, err := r.Next(); err == nil {
		s.Begins = r.Info().Epoch.Add(k.Heard)
	}
	return nil // the pass that follows says what is wrong
}

type scanner struct {
	sum  hash.Hash
	size int64
	lf   bool
	tail []byte
}

func (c *scanner) take(b []byte, _ *chunk) error {
	c.sum.Write(b) //nolint:errcheck // a hash gives no error
	c.size += int64(len(b))
	c.lf = c.lf || bytes.IndexByte(b, '\n') >= 0
	c.tail = append(c.tail, b[max(0, len(b)-tailBytes):]...)
	c.tail = append(c.tail[:0], c.tail[max(0, len(c.tail)-tailBytes):]...)
	return nil
}

// TrimEnd takes the mark at the end of a dump off.
func (s *Source) TrimEnd(mark []byte) {
	if len(mark) == 0 || s.kind == captured {
		return
	}
	mark = bytes.TrimSpace(mark)
	if d := bytes.TrimRight(s.tail, "\r\n"); len(mark) > 0 && bytes.HasSuffix(d, mark) {
		s.Size -= int64(len(s.tail) - len(d) + len(mark))
	}
}

// blocks is a pass: it calls fn with the bytes in order, up to Size. The bytes
// are fn's own. The chunk is that of a capture, else nil. hint says why a
// capture was read only in part.
func (s *Source) blocks(ctx context.Context, fn func(b []byte, k *chunk) error) (hint string, err error) {
	r, err := s.open()
	if err != nil {
		return "", err
	}
	plain := func(b []byte) error { return fn(b, nil) }
	if s.kind == plainBytes {
		return s.plainHint(readBlocks(ctx, io.LimitReader(r, s.Size), plain))
	}
	c, err := ingest.NewCaptureReader(r)
	if err != nil {
		return "", err
	}
	in := &chunks{r: c}
	if s.kind == captured {
		return in.each(ctx, fn)
	}
	err = readBlocks(ctx, io.LimitReader(in, s.Size), plain)
	return in.hint, err
}

// plainHint makes a hint of the error that a packed file gives where it is cut
// off or damaged.
func (s *Source) plainHint(err error) (string, error) {
	var bad flate.CorruptInputError
	switch {
	case !s.packed:
	case errors.Is(err, errCut):
		return "the packed file is cut off; what is before that was read", nil
	case errors.As(err, &bad), errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader):
		return fmt.Sprintf("the packed file is damaged (%v); what is before that was read: take another copy of it", err), nil
	}
	return "", err
}

// errCut says that the reader itself ended in the middle of something.
var errCut = errors.New("the file is cut off")

func readBlocks(ctx context.Context, r io.Reader, fn func(b []byte) error) error {
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		b := make([]byte, blockBytes) // new each time: the pieces stay in it
		n, err := fill(r, b)
		if n > 0 {
			if err := fn(b[:n:n]); err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.Is(err, io.ErrUnexpectedEOF):
			return errCut
		case err != nil:
			return err
		}
	}
}

// fill is io.ReadFull, with the reader's own errors: an early end is io.EOF.
func fill(r io.Reader, b []byte) (n int, err error) {
	for n < len(b) && err == nil {
		var k int
		k, err = r.Read(b[n:])
		n += k
	}
	return n, err
}
