package block

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// ErrDamaged is returned for a block that is not what was written.
var ErrDamaged = errors.New("block is damaged")

// ErrTooLarge is returned for rows that no block can hold.
var ErrTooLarge = errors.New("rows are too many or too wide for a block")

// Bounds of a block.
const (
	// maxRows is how many rows a block may have. Writers make much smaller ones.
	maxRows = 1 << 16
	// maxBytes is how many bytes the frames of a block may have together.
	maxBytes = 64 << 20
	// maxColumns is how many columns a block may have.
	maxColumns = 1 << 12
	// maxValues is how many values, rows times columns, a block may have: a
	// column of one value repeated takes twelve bytes, and memory for all rows.
	maxValues = maxBytes / 8
)

const (
	version     = 1
	kindFrames  = 'F'
	kindSamples = 'S'
	namedColumn = 255
	trailer     = 4 // bytes of the sum
)

// packLeast is the shortest column that is tried to be compressed: what is
// shorter gains nothing.
const packLeast = 64

// castagnoli is the polynomial of CRC-32C, which processors compute by
// themselves (RFC 3720, appendix B.4).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Codec writes and reads blocks. It is safe for concurrent use. Close gives its
// memory back.
type Codec struct {
	enc   *zstd.Encoder
	dec   *zstd.Decoder
	pool  sync.Pool // of *writer
	views sync.Pool // of *View
}

// NewCodec makes a codec.
func NewCodec() (*Codec, error) {
	// A block is compressed as one piece in the caller's goroutine. Its columns
	// are short, so a small window costs nothing and spares memory.
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderCRC(false),
		zstd.WithWindowSize(128<<10), zstd.WithLowerEncoderMem(true), zstd.WithSingleSegment(true))
	if err != nil {
		return nil, fmt.Errorf("make block codec: %w", err)
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderMaxMemory(maxBytes), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		return nil, fmt.Errorf("make block codec: %w", err)
	}
	return &Codec{enc: enc, dec: dec}, nil
}

// Close ends the use of the codec.
func (c *Codec) Close() error {
	c.dec.Close()
	return c.enc.Close()
}

// writer puts a block together: the directory grows in head, the columns in
// body.
type writer struct {
	c       *Codec
	head    []byte
	body    []byte
	columns int
	// Memory that is used again.
	scratch, packed []byte
	floating        floatScratch
}

// column adds a column that fill appends. A channel that has no id gives its
// name.
//
// most is the length up to which compression is tried.
func (w *writer) column(id byte, name string, most int, fill func([]byte) []byte) {
	w.scratch = fill(w.scratch[:0])
	raw := w.scratch
	w.head = append(w.head, id)
	if id == namedColumn {
		w.head = binary.AppendUvarint(w.head, uint64(len(name)))
		w.head = append(w.head, name...)
	}
	w.columns++
	if len(raw) >= packLeast && len(raw) <= most {
		w.packed = w.c.enc.EncodeAll(raw, w.packed[:0])
		if len(w.packed) < len(raw)-len(raw)/16 {
			w.head = append(w.head, 1)
			w.head = binary.AppendUvarint(w.head, uint64(len(raw)))
			w.head = binary.AppendUvarint(w.head, uint64(len(w.packed)))
			w.body = append(w.body, w.packed...)
			return
		}
	}
	w.head = append(w.head, 0)
	w.head = binary.AppendUvarint(w.head, uint64(len(raw)))
	w.body = append(w.body, raw...)
}

// finish returns the whole block.
func (w *writer) finish(kind byte, rows int) []byte {
	out := make([]byte, 0, 2+2*binary.MaxVarintLen32+len(w.head)+len(w.body)+trailer)
	out = append(out, kind, version)
	out = binary.AppendUvarint(out, uint64(rows))
	out = binary.AppendUvarint(out, uint64(w.columns))
	out = append(out, w.head...)
	out = append(out, w.body...)
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, castagnoli))
}

// column is an entry of the directory.
type column struct {
	id     byte
	name   string // of a channel
	packed bool
	raw    int    // bytes before compression
	stored []byte // part of the block
}

// directory is an opened block: what it holds, nothing unpacked yet.
type directory struct {
	rows    int
	columns []column
}

// open checks a block's sum and lengths and reads its directory. The directory
// shares data.
func open(data []byte, kind byte) (*directory, error) {
	if len(data) < 4+trailer {
		return nil, fmt.Errorf("%w: it has %d bytes", ErrDamaged, len(data))
	}
	body := data[:len(data)-trailer]
	if got, want := crc32.Checksum(body, castagnoli), binary.LittleEndian.Uint32(data[len(body):]); got != want {
		return nil, fmt.Errorf("%w: its sum is %08x, it says %08x", ErrDamaged, got, want)
	}
	if body[0] != kind || body[1] != version {
		return nil, fmt.Errorf("%w: it is of kind %q, version %d", ErrDamaged, body[0], body[1])
	}
	r := reader{b: body[2:]}
	d := &directory{rows: r.number(maxRows)}
	n := r.number(maxColumns)
	if d.rows*n > maxValues {
		r.fail("%d rows of %d columns are more than %d values", d.rows, n, maxValues)
	}
	sizes := make([]int, 0, min(n, 64))
	for range n {
		c := column{id: r.byte()}
		switch {
		case c.id == namedColumn:
			c.name = string(r.bytes(r.number(len(body))))
		case int(c.id) < len(ids):
			c.name = ids[c.id]
		}
		c.packed = r.byte() == 1
		if c.packed {
			c.raw = r.number(maxBytes)
		}
		size := r.number(len(body))
		if !c.packed {
			c.raw = size
		}
		d.columns, sizes = append(d.columns, c), append(sizes, size)
		if r.err != nil {
			break
		}
	}
	for i := range d.columns {
		d.columns[i].stored = r.bytes(sizes[i])
	}
	if r.err == nil && len(r.b) > 0 {
		r.fail("%d bytes are left over", len(r.b))
	}
	return d, r.err
}

// find is the column with an id; nil if the block has none.
func (d *directory) find(id byte) *column {
	for i := range d.columns {
		if d.columns[i].id == id {
			return &d.columns[i]
		}
	}
	return nil
}

// unpack gives a column's bytes, at most limit of them. What it returns is
// valid until buf is used again.
func (c *Codec) unpack(col *column, limit int, buf *[]byte) ([]byte, error) {
	if col.raw > limit {
		return nil, fmt.Errorf("%w: a column has %d bytes, at most %d are possible", ErrDamaged, col.raw, limit)
	}
	if !col.packed {
		return col.stored, nil
	}
	if cap(*buf) < col.raw {
		*buf = make([]byte, 0, col.raw)
	}
	// The capacity is the limit of what the decoder writes.
	out, err := c.dec.DecodeAll(col.stored, (*buf)[:0:col.raw])
	if err != nil || len(out) != col.raw {
		return nil, fmt.Errorf("%w: a column of %d bytes cannot be unpacked", ErrDamaged, col.raw)
	}
	return out, nil
}

// reader takes bytes apart; after the first error it gives zeros.
type reader struct {
	b   []byte
	err error
}

func (r *reader) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("%w: "+format, append([]any{ErrDamaged}, args...)...)
		r.b = nil
	}
}

func (r *reader) byte() byte {
	if len(r.b) == 0 {
		r.fail("it ends too early")
		return 0
	}
	b := r.b[0]
	r.b = r.b[1:]
	return b
}

func (r *reader) bytes(n int) []byte {
	if n < 0 || n > len(r.b) {
		r.fail("it ends too early")
		return nil
	}
	out := r.b[:n:n]
	r.b = r.b[n:]
	return out
}

// number reads a length of at most limit.
func (r *reader) number(limit int) int {
	v, n := binary.Uvarint(r.b)
	if n <= 0 || v > uint64(limit) {
		r.fail("a length is over %d", limit)
		return 0
	}
	r.b = r.b[n:]
	return int(v)
}
