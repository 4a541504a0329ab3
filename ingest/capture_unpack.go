package ingest

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// errPacked is returned for a packed capture that is damaged.
var errPacked = errors.New("the packed capture is damaged")

// unpackBytes is how long a column, or the records of a block, may be.
const unpackBytes = packBytes + captureMaxBody + 1<<16

// unpacker reads a packed capture, behind its magic, as the capture that it was.
type unpacker struct {
	r    *bufio.Reader
	next []byte // unpacked and not read yet
	out  []byte
	err  error
}

func (u *unpacker) Read(b []byte) (int, error) {
	for len(u.next) == 0 {
		if u.err == nil {
			u.next, u.err = u.part()
		}
		if u.err != nil {
			return 0, u.err
		}
	}
	n := copy(b, u.next)
	u.next = u.next[n:]
	return n, nil
}

// part unpacks the next part; io.EOF is only returned between two.
func (u *unpacker) part() ([]byte, error) {
	count, err := binary.ReadUvarint(u.r)
	if errors.Is(err, io.EOF) {
		return nil, io.EOF
	}
	var out []byte
	switch {
	case err != nil:
	case count == 0:
		out, err = u.column()
	case count > packRecords:
		err = errPacked
	default:
		out, err = u.block(int(count))
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = fmt.Errorf("%w: it ends too early", errPacked)
	}
	return out, err
}

// column reads bytes with their length before them.
func (u *unpacker) column() ([]byte, error) {
	n, err := binary.ReadUvarint(u.r)
	if err != nil {
		return nil, err
	}
	if n > unpackBytes {
		return nil, errPacked
	}
	b := make([]byte, n)
	_, err = io.ReadFull(u.r, b)
	return b, err
}

func (u *unpacker) block(count int) ([]byte, error) {
	var sum [4]byte
	if _, err := io.ReadFull(u.r, sum[:]); err != nil {
		return nil, err
	}
	var columns [6]taker
	is := uint32(0)
	for i := range columns {
		b, err := u.column()
		if err != nil {
			return nil, err
		}
		columns[i] = taker{b: b}
		is = crc32.Update(is, castagnoli, binary.AppendUvarint(nil, uint64(len(b))))
		is = crc32.Update(is, castagnoli, b)
	}
	if is != binary.LittleEndian.Uint32(sum[:]) {
		return nil, errPacked
	}
	list, ok := takeColumns(count, &columns)
	if !ok {
		return nil, errPacked
	}
	out := u.out[:0]
	for i := range list {
		if len(out) > unpackBytes {
			return nil, errPacked
		}
		out = list[i].append(out)
	}
	u.out = out
	return out, nil
}

// append appends the record that it was.
func (k *packed) append(b []byte) []byte {
	start := len(b)
	b = binary.LittleEndian.AppendUint32(b, 0)
	b = append(b, k.head[:4]...)
	b = binary.LittleEndian.AppendUint64(b, uint64(k.heard))
	b = append(b, k.rest...)
	if k.head[4] == 1 {
		for _, v := range k.number {
			b = binary.AppendUvarint(b, v)
		}
	}
	return closeRecord(append(b, k.bytes...), start)
}

// takeColumns puts the records together again.
func takeColumns(count int, columns *[6]taker) ([]packed, bool) {
	heads, lengths, heard, numbers, rest, frames := &columns[0], &columns[1], &columns[2], &columns[3], &columns[4], &columns[5]
	list := make([]packed, count)
	last, links, total := int64(0), map[uint16]uint64{}, 0
	for i := range list {
		k := &list[i]
		copy(k.head[:], heads.take(5))
		k.body = int(min(lengths.unsigned(), captureMaxBody+1))
		last += heard.signed()
		k.heard = last
		left := k.body - captureFixed
		if total += k.body; left < 0 || total > unpackBytes || k.body > captureMaxBody {
			return nil, false
		}
		if k.head[4] == 0 {
			k.rest = rest.take(left)
			continue
		}
		k.rest = rest.take(rest.beforeNumbers(k.head[2]))
		left -= len(k.rest)
		link := binary.LittleEndian.Uint16(k.head[:])
		k.number[0] = links[link] + uint64(numbers.signed()) + 1
		links[link] = k.number[0]
		k.number[1], k.number[2] = numbers.unsigned(), numbers.unsigned()
		for _, v := range k.number {
			left -= len(binary.AppendUvarint(nil, v))
		}
		if left < 0 {
			return nil, false
		}
		k.bytes = make([]byte, left)
	}
	for _, rows := range frameGroups(list) {
		frames.group(rows)
	}
	ok := true
	for i := range columns {
		ok = ok && !columns[i].short && len(columns[i].b) == 0
	}
	return list, ok
}

// taker takes values off a column; short is set when there are too few.
type taker struct {
	b     []byte
	short bool
}

func (t *taker) take(n int) []byte {
	if n > len(t.b) {
		t.short, t.b = true, nil
		return nil
	}
	out := t.b[:n]
	t.b = t.b[n:]
	return out
}

func (t *taker) unsigned() uint64 {
	v, n := binary.Uvarint(t.b)
	t.take(max(n, 0))
	t.short = t.short || n <= 0
	return v
}

func (t *taker) signed() int64 {
	v, n := binary.Varint(t.b)
	t.take(max(n, 0))
	t.short = t.short || n <= 0
	return v
}

// beforeNumbers is how many bytes of the rest stand before a frame's numbers.
func (t *taker) beforeNumbers(flags byte) int {
	n := 0
	if flags&flagRSSI != 0 {
		n = 8
	}
	if flags&flagBaud != 0 && n < len(t.b) {
		_, more := binary.Uvarint(t.b[n:])
		n += max(more, 0)
	}
	return n
}

// group fills the frames of one length.
func (t *taker) group(rows [][]byte) {
	head := t.take(1)
	if head == nil {
		return
	}
	width, key := len(rows[0]), int(head[0])
	all := t.take(width * len(rows))
	if all == nil || key != packPlain && key > min(packKeyMost, width) {
		t.short = true
		return
	}
	if key == packPlain {
		for r, row := range rows {
			copy(row, all[r*width:])
		}
		return
	}
	var before []int
	for i := range width {
		if i == key {
			before = sameKey(rows, key)
		}
		for r, row := range rows {
			row[i] = all[i*len(rows)+r]
			if i >= key && before[r] >= 0 {
				row[i] += rows[before[r]][i]
			}
		}
	}
}
