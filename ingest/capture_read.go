package ingest

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"time"
)

// CaptureReader reads a capture from its start.
type CaptureReader struct {
	r    *bufio.Reader
	info CaptureInfo
	pos  int64 // bytes read as whole records, the header included
	torn bool
	err  error
	buf  []byte
	rssi float64
}

// NewCaptureReader reads the header, of a capture that may be compressed with
// Zstandard.
func NewCaptureReader(r io.Reader) (*CaptureReader, error) {
	c := &CaptureReader{r: bufio.NewReaderSize(r, 65536)}
	in, err := unpacked(c.r)
	if err != nil {
		return nil, err
	}
	if in != io.Reader(c.r) {
		c.r = bufio.NewReaderSize(in, 65536)
	}
	head := make([]byte, len(captureMagic)+6)
	n, err := io.ReadFull(c.r, head)
	switch {
	case n < len(captureMagic) || string(head[:len(captureMagic)]) != captureMagic:
		return nil, fmt.Errorf("read capture: it does not begin with %q, so it is no capture; read it as plain bytes, or name another file", captureMagic)
	case err != nil:
		return nil, errCaptureHeader
	}
	if v := binary.LittleEndian.Uint16(head[8:]); v != captureVersion {
		return nil, fmt.Errorf("read capture: its version is %d, and this padlark reads version %d; use the padlark that wrote it, or a newer one", v, captureVersion)
	}
	size := binary.LittleEndian.Uint32(head[10:])
	const damaged = "read capture: its header is damaged (%s); take another copy of the file"
	if size > captureMaxInfo {
		return nil, fmt.Errorf(damaged, "the description is too long")
	}
	rest := make([]byte, size+4)
	if _, err := io.ReadFull(c.r, rest); err != nil {
		return nil, errCaptureHeader
	}
	text := rest[:size]
	sum := crc32.Update(crc32.Checksum(head, castagnoli), castagnoli, text)
	if sum != binary.LittleEndian.Uint32(rest[size:]) {
		return nil, fmt.Errorf(damaged, "its checksum is wrong")
	}
	if err := json.Unmarshal(text, &c.info); err != nil {
		return nil, fmt.Errorf(damaged, err)
	}
	c.info.Epoch = c.info.Epoch.UTC()
	c.pos = int64(len(head) + len(rest))
	return c, nil
}

// errCaptureHeader is returned for a file that was cut in its header.
var errCaptureHeader = errors.New("read capture: it ends inside its header, so it holds nothing; delete it")

// GoOn makes a reader of what r holds from byte pos of a capture on, where a
// record begins; for one that is still being written. A reader that has ended
// goes on in the same way with what was written meanwhile.
func (c *CaptureReader) GoOn(r io.Reader, pos int64) {
	c.r.Reset(r)
	c.pos, c.torn, c.err = pos, false, nil
}

// Describe tells a reader that skips a part of the capture what the description is
// behind it.
func (c *CaptureReader) Describe(info CaptureInfo) { c.info = info }

// Pos is where the next record begins, in bytes from the capture's start.
func (c *CaptureReader) Pos() int64 { return c.pos }

// Info is the capture's description as far as it has been read.
func (c *CaptureReader) Info() CaptureInfo { return c.info }

// Torn says, once Next has returned io.EOF, whether the file ends in a record
// that was not written to its end, and where that record begins.
func (c *CaptureReader) Torn() (offset int64, torn bool) { return c.pos, c.torn }

// Record is one record of a capture: a chunk or a frame, or a note.
type Record struct {
	Chunk Chunk  // of a note only Heard
	Note  byte   // the note's kind, 0 if it is none
	Text  []byte // the note's
}

// Next is the next chunk or frame, whose bytes and RSSI are valid until the next
// call; notes are passed over. It returns io.EOF at the end, torn or not; and an
// error with the offset if the file is damaged before its end.
func (c *CaptureReader) Next() (Chunk, error) {
	for {
		k, err := c.NextRecord()
		if err != nil || k.Note == 0 {
			return k.Chunk, err
		}
	}
}

// NextRecord is the next record, as Next; what it holds is valid until the next
// call.
func (c *CaptureReader) NextRecord() (Record, error) {
	if c.err != nil {
		return Record{}, c.err
	}
	k, err := c.next()
	c.err = err
	return k, err
}

func (c *CaptureReader) next() (Record, error) {
	var length [4]byte
	n, err := io.ReadFull(c.r, length[:])
	if err != nil {
		return Record{}, c.tail(err, n)
	}
	size := binary.LittleEndian.Uint32(length[:])
	if size < captureFixed || size > captureMaxBody {
		return Record{}, c.wrong(size == 0, "a record of %d bytes cannot be", size)
	}
	need := int(size) + 4
	if cap(c.buf) < need {
		c.buf = make([]byte, max(need, 512))
	}
	c.buf = c.buf[:need]
	if n, err := io.ReadFull(c.r, c.buf); err != nil {
		return Record{}, c.tail(err, 4+n)
	}
	body := c.buf[:size]
	sum := crc32.Update(crc32.Checksum(length[:], castagnoli), castagnoli, body)
	if sum != binary.LittleEndian.Uint32(c.buf[size:]) {
		return Record{}, c.wrong(true, "a record's checksum is wrong")
	}
	k, problem := c.parse(body)
	if problem != "" {
		// The checksum is right, so this was written so: it is no torn tail.
		return Record{}, c.damage("%s", problem)
	}
	c.pos += int64(4 + need)
	return k, nil
}

const tooShort = "a record is shorter than its fields"

// parse takes a body apart whose checksum is right.
func (c *CaptureReader) parse(b []byte) (out Record, problem string) {
	le := binary.LittleEndian
	link, flags, peer := int(le.Uint16(b)), b[2], int(b[3])
	heard := time.Duration(le.Uint64(b[4:]))
	b = b[captureFixed:]
	if flags&flagNote != 0 {
		return Record{Chunk: Chunk{Heard: heard}, Note: byte(peer), Text: b}, c.note(byte(peer), b)
	}
	if link >= len(c.info.Links) {
		return out, fmt.Sprintf("a record is of link %d, and the header has %d", link, len(c.info.Links))
	}
	k := Chunk{Link: c.info.Links[link].Name, Baud: c.info.Links[link].Baud, Heard: heard, Datagram: flags&flagDatagram != 0}
	if flags&flagRSSI != 0 {
		if len(b) < 8 {
			return out, tooShort
		}
		c.rssi = math.Float64frombits(le.Uint64(b))
		k.RSSI, b = &c.rssi, b[8:]
	}
	switch {
	case flags&flagWhole != 0:
		k.End = EndWhole
	case flags&flagCut != 0:
		k.End = EndCut
	}
	if len(b) < peer {
		return out, tooShort
	}
	k.Peer, k.Bytes = string(b[:peer]), b[peer:]
	if flags&flagFrame != 0 {
		ok := flags&^(flagRSSI|flagBaud) == flagFrame && peer == 0
		if !ok {
			return out, "a frame has what only a chunk has"
		}
		if flags&flagBaud != 0 {
			baud, n := binary.Uvarint(k.Bytes)
			if n <= 0 || baud > math.MaxInt32 {
				return out, "a frame's rate cannot be"
			}
			k.Baud, k.Bytes = int(baud), k.Bytes[n:]
		}
		if k.Framed, k.Bytes, ok = parseFramed(heard, k.Bytes); !ok {
			return out, "a frame's number, time or size cannot be"
		}
	}
	return Record{Chunk: k}, ""
}

// note takes in what a note says of the capture itself.
func (c *CaptureReader) note(kind byte, text []byte) (problem string) {
	switch kind {
	case 0:
		return "a note is of no kind"
	case NoteChange:
		var change CaptureChange
		if err := json.Unmarshal(text, &change); err != nil {
			return "a note of another configuration cannot be read"
		}
		info := c.info.Changed(change)
		if len(info.Links) > math.MaxUint16 {
			return "there are too many links"
		}
		c.info = info
	}
	return ""
}

// parseFramed reads what stands before a frame's bytes.
func parseFramed(heard time.Duration, b []byte) (f Framed, rest []byte, ok bool) {
	var v [3]uint64
	for i := range v {
		n := 0
		if v[i], n = binary.Uvarint(b); n <= 0 {
			return f, nil, false
		}
		b = b[n:]
	}
	f = Framed{N: v[0], Passed: heard + time.Duration(v[1]), Wire: int(v[2])}
	return f, b, f.N > 0 && v[1] <= math.MaxInt64 && f.Passed >= heard && v[2] <= math.MaxInt32
}

// tail sorts out a read that failed after n bytes of a record.
func (c *CaptureReader) tail(err error, n int) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		c.torn = n > 0
		return io.EOF
	}
	return fmt.Errorf("read capture at byte %d: %w", c.pos, err)
}

// wrong sorts out a record that is not right. If nothing but zeros comes after
// it, it is what a power cut leaves; else the file is damaged.
func (c *CaptureReader) wrong(maybeTail bool, format string, args ...any) error {
	if maybeTail {
		zeros, err := c.onlyZeros()
		if err != nil {
			return fmt.Errorf("read capture at byte %d: %w", c.pos, err)
		}
		if zeros {
			c.torn = true
			return io.EOF
		}
	}
	return c.damage(format, args...)
}

func (c *CaptureReader) damage(format string, args ...any) error {
	return fmt.Errorf("read capture at byte %d: %s; the file is damaged from there on, what is before it was read; take another copy of the file",
		c.pos, fmt.Sprintf(format, args...))
}

// onlyZeros says whether the rest of the input is zeros, or nothing.
func (c *CaptureReader) onlyZeros() (bool, error) {
	buf := make([]byte, 4096)
	for {
		n, err := c.r.Read(buf)
		if len(bytes.Trim(buf[:n], "\x00")) > 0 {
			return false, nil
		}
		if errors.Is(err, io.EOF) {
			return true, nil
		}
		if err != nil {
			return false, err
		}
	}
}
