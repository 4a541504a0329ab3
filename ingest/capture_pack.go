package ingest

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// A packed capture holds the same bytes as a capture, in columns, in which they
// compress to a third: what stands before it, its records in blocks, and what is
// behind the last whole record. It is meant to be compressed. Numbers are LEB128
// varints but the CRC, which is little-endian.
//
//	magic "PLARKPAK", version 1 (1 byte), then parts until the end:
//
//	0, length, bytes            as they are
//	count of records, from 1    CRC-32C (4 bytes) over what follows, then each
//	                            column with its length in bytes:
//	  heads    of a record: link, flags, length of the peer's name (4 bytes),
//	           and 1 if it is a frame whose parts are in the columns, else 0
//	  lengths  of the record's body
//	  heard    less that of the record before, zigzag
//	  numbers  of a frame: its number less that of the link's frame before less
//	           1, zigzag; passed less heard; bytes on the wire
//	  rest     of a frame: RSSI and rate, if flagged; of another record: all
//	           behind heard
//	  bytes    of the frames, by link and length in the order in which these
//	           come up: a byte k, then if k is 255 one frame after the other;
//	           else the first bytes of all frames, their second ones and so on,
//	           those from the k-th on less that of the last frame with the same
//	           first k bytes
//
// Lengths and CRCs of the records are made anew when it is unpacked.
const (
	packMagic   = "PLARKPAK\x01"
	packRecords = 4096    // in a block
	packBytes   = 1 << 20 // of records in a block, about
	packPlain   = 255     // frames that are not taken apart
	packKeyMost = 4
)

// PackCapture reads a capture and writes it packed.
func PackCapture(w io.Writer, capture io.Reader) error {
	p := packer{r: bufio.NewReaderSize(capture, 1<<16), w: bufio.NewWriterSize(w, 1<<16)}
	if err := p.run(); err != nil {
		return fmt.Errorf("pack capture: %w", err)
	}
	return nil
}

type packer struct {
	r    *bufio.Reader
	w    *bufio.Writer
	list []packed
	raw  []byte // the bytes of list
}

// packed is one record, taken apart.
type packed struct {
	head   [5]byte
	body   int // its length
	heard  int64
	number [3]uint64 // of a frame
	rest   []byte
	bytes  []byte // of a frame
}

func (p *packer) run() error {
	if _, err := p.w.WriteString(packMagic); err != nil {
		return err
	}
	head := make([]byte, 14)
	n, err := io.ReadFull(p.r, head)
	if err != nil {
		return p.tail(head[:n], err)
	}
	text := make([]byte, min(binary.LittleEndian.Uint32(head[10:]), captureMaxInfo)+4)
	n, err = io.ReadFull(p.r, text)
	if err != nil {
		return p.tail(append(head, text[:n]...), err)
	}
	if err := p.plain(append(head, text...)); err != nil {
		return err
	}
	for {
		whole, err := p.record()
		if err != nil {
			return p.tail(whole, err)
		}
		if len(p.list) == packRecords || len(p.raw) >= packBytes {
			if err := p.flush(); err != nil {
				return err
			}
		}
	}
}

// errTorn says that no record begins here.
var errTorn = errors.New("no whole record")

// record takes the next one; with an error, what was read of it.
func (p *packer) record() ([]byte, error) {
	start := len(p.raw)
	b := append(p.raw, 0, 0, 0, 0)
	n, err := io.ReadFull(p.r, b[start:])
	if err != nil {
		return b[start : start+n], err
	}
	size := int(binary.LittleEndian.Uint32(b[start:]))
	if size < captureFixed || size > captureMaxBody {
		return b[start:], errTorn
	}
	b = append(b, make([]byte, size+4)...)
	n, err = io.ReadFull(p.r, b[start+4:])
	if err != nil {
		return b[start : start+4+n], err
	}
	end := len(b) - 4
	if crc32.Checksum(b[start:end], castagnoli) != binary.LittleEndian.Uint32(b[end:]) {
		return b[start:], errTorn
	}
	p.raw = b
	p.list = append(p.list, takeApart(b[start+4:end]))
	return nil, nil
}

// takeApart makes columns of a record's body.
func takeApart(body []byte) packed {
	k := packed{body: len(body), heard: int64(binary.LittleEndian.Uint64(body[4:]))}
	copy(k.head[:], body[:4])
	k.rest = body[captureFixed:]
	flags := body[2]
	if flags&flagFrame == 0 || flags&flagNote != 0 || body[3] != 0 {
		return k
	}
	at := captureFixed
	if flags&flagRSSI != 0 {
		at += 8
	}
	if at > len(body) {
		return k
	}
	if flags&flagBaud != 0 {
		_, n := shortUvarint(body[at:])
		if n == 0 {
			return k
		}
		at += n
	}
	before := at
	for i := range k.number {
		v, n := shortUvarint(body[at:])
		if n == 0 {
			return k
		}
		k.number[i], at = v, at+n
	}
	k.head[4], k.rest, k.bytes = 1, body[captureFixed:before], body[at:]
	return k
}

// shortUvarint reads a varint that could not be shorter; n is 0 for any other.
func shortUvarint(b []byte) (v uint64, n int) {
	v, n = binary.Uvarint(b)
	if n <= 0 || len(binary.AppendUvarint(nil, v)) != n {
		return 0, 0
	}
	return v, n
}

// tail writes what is left when no record follows: what was read, and all behind
// it.
func (p *packer) tail(read []byte, why error) error {
	read = bytes.Clone(read)
	if err := p.flush(); err != nil {
		return err
	}
	switch {
	case errors.Is(why, io.EOF), errors.Is(why, io.ErrUnexpectedEOF), errors.Is(why, errTorn):
	default:
		return why
	}
	for buf := make([]byte, 1<<15); ; {
		if err := p.plain(read); err != nil {
			return err
		}
		n, err := p.r.Read(buf)
		if n == 0 && errors.Is(err, io.EOF) {
			return p.w.Flush()
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		read = buf[:n]
	}
}

func (p *packer) plain(b []byte) error {
	if len(b) == 0 {
		return nil
	}
	_, err := p.w.Write(append(binary.AppendUvarint([]byte{0}, uint64(len(b))), b...))
	return err
}

// flush writes the block of the records that were taken.
func (p *packer) flush() error {
	if len(p.list) == 0 {
		return nil
	}
	var heads, lengths, heard, numbers, rest []byte
	last, links := int64(0), map[uint16]uint64{}
	for i := range p.list {
		k := &p.list[i]
		heads = append(heads, k.head[:]...)
		lengths = binary.AppendUvarint(lengths, uint64(k.body))
		heard = binary.AppendVarint(heard, k.heard-last)
		last = k.heard
		rest = append(rest, k.rest...)
		if k.head[4] == 1 {
			link := binary.LittleEndian.Uint16(k.head[:])
			numbers = binary.AppendVarint(numbers, int64(k.number[0]-links[link]-1))
			links[link] = k.number[0]
			numbers = binary.AppendUvarint(numbers, k.number[1])
			numbers = binary.AppendUvarint(numbers, k.number[2])
		}
	}
	var columns []byte
	for _, group := range frameGroups(p.list) {
		columns = appendGroup(columns, group)
	}
	var all []byte
	for _, c := range [][]byte{heads, lengths, heard, numbers, rest, columns} {
		all = append(binary.AppendUvarint(all, uint64(len(c))), c...)
	}
	// Over the columns and not the records: each of these ends with its own CRC,
	// and a CRC over that is the same whatever they hold.
	out := binary.AppendUvarint(nil, uint64(len(p.list)))
	out = append(binary.LittleEndian.AppendUint32(out, crc32.Checksum(all, castagnoli)), all...)
	p.list, p.raw = p.list[:0], p.raw[:0]
	_, err := p.w.Write(out)
	return err
}

// frameGroups are the bytes of the frames of one link and length, each group in
// order and the groups in the order in which they come up.
func frameGroups(list []packed) [][][]byte {
	type kind struct {
		link uint16
		n    int
	}
	at := map[kind]int{}
	var out [][][]byte
	for i := range list {
		k := &list[i]
		if k.head[4] == 0 {
			continue
		}
		key := kind{binary.LittleEndian.Uint16(k.head[:]), len(k.bytes)}
		g, known := at[key]
		if !known {
			g = len(out)
			at[key], out = g, append(out, nil)
		}
		out[g] = append(out[g], k.bytes)
	}
	return out
}

// appendGroup appends frames of one length in the way that leaves the most
// zeros; where these are few, as in text whose fields move, as they are.
func appendGroup(b []byte, rows [][]byte) []byte {
	width := len(rows[0])
	best, most := packPlain, len(rows)*width/4
	for key := range min(packKeyMost, width) + 1 {
		before, zeros := sameKey(rows, key), 0
		for r, k := range before {
			for i := key; i < width && k >= 0; i++ {
				if rows[r][i] == rows[k][i] {
					zeros++
				}
			}
		}
		if zeros > most {
			best, most = key, zeros
		}
	}
	b = append(b, byte(best))
	if best == packPlain {
		return append(b, bytes.Join(rows, nil)...)
	}
	before := sameKey(rows, best)
	for i := range width {
		for r, row := range rows {
			v := row[i]
			if k := before[r]; k >= 0 && i >= best {
				v -= rows[k][i]
			}
			b = append(b, v)
		}
	}
	return b
}

// sameKey says for each row which is the last one before it with the same first
// bytes, -1 if there is none.
func sameKey(rows [][]byte, key int) []int {
	last := map[[packKeyMost]byte]int{}
	out := make([]int, len(rows))
	for r, row := range rows {
		var k [packKeyMost]byte
		copy(k[:], row[:key])
		out[r] = -1
		if at, ok := last[k]; ok {
			out[r] = at
		}
		last[k] = r
	}
	return out
}
