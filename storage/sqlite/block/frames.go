package block

import (
	"fmt"
	"math"
)

// Frames are the frames of one link, column by column; all columns have the
// same length. Times are ns since the session's epoch.
type Frames struct {
	N      []int64
	Mono   []int64 // heard
	Passed []int64
	Ord    []int64 // place in the session's journal, or another number that rises
	Off    []int64 // heard minus (epoch + mono)
	Wire   []int64 // bytes on the wire
	Baud   []int64
	RSSI   Values // dBm
	// Bytes are the frames themselves. They are shared, not copied.
	Bytes [][]byte
}

// Rows is how many frames there are.
func (f *Frames) Rows() int { return len(f.N) }

// ints are the columns of whole numbers.
func (f *Frames) ints() []*[]int64 {
	return []*[]int64{&f.N, &f.Mono, &f.Passed, &f.Ord, &f.Off, &f.Wire, &f.Baud}
}

// Clear forgets the rows and keeps the memory.
func (f *Frames) Clear() {
	for _, c := range f.ints() {
		*c = (*c)[:0]
	}
	f.RSSI.clear()
	clear(f.Bytes)
	f.Bytes = f.Bytes[:0]
}

// Slice are the rows from i up to k; it shares memory.
func (f *Frames) Slice(i, k int) *Frames {
	f.RSSI.padUnlessEmpty(f.Rows())
	out := &Frames{RSSI: f.RSSI.slice(i, k), Bytes: f.Bytes[i:k:k]}
	to := out.ints()
	for c, from := range f.ints() {
		*to[c] = (*from)[i:k:k]
	}
	return out
}

// Pick are the rows with the given numbers, from 0, in that order.
func (f *Frames) Pick(rows []int) *Frames {
	f.RSSI.padUnlessEmpty(f.Rows())
	out := &Frames{RSSI: f.RSSI.pick(rows), Bytes: pick(f.Bytes, rows)}
	to := out.ints()
	for c, from := range f.ints() {
		*to[c] = pick(*from, rows)
	}
	return out
}

// Add appends the rows of another.
func (f *Frames) Add(more *Frames) {
	more.RSSI.padUnlessEmpty(more.Rows())
	f.RSSI.add(f.Rows(), more.RSSI, more.Rows())
	f.Bytes = append(f.Bytes, more.Bytes...)
	from := more.ints()
	for c, to := range f.ints() {
		*to = append(*to, *from[c]...)
	}
}

// EncodeFrames makes a block. The frames' bytes together must not be over
// maxBytes, nor the rows over MaxRows.
func (c *Codec) EncodeFrames(f *Frames) ([]byte, error) {
	if f.Rows() > maxRows {
		return nil, fmt.Errorf("encode block: %d frames, at most %d are possible", f.Rows(), maxRows)
	}
	lens := make([]int64, len(f.Bytes))
	total := 0
	for i, b := range f.Bytes {
		lens[i] = int64(len(b))
		total += len(b)
	}
	if total > maxBytes {
		return nil, fmt.Errorf("encode block: %d bytes of frames, at most %d are possible", total, maxBytes)
	}
	f.RSSI.padUnlessEmpty(f.Rows())
	w := c.writer()
	defer c.pool.Put(w)
	w.ints(idN, f.N, nil)
	w.ints(idMono, f.Mono, nil)
	w.ints(idPassed, f.Passed, f.Mono)
	w.ints(idOrd, f.Ord, f.N)
	w.ints(idOff, f.Off, nil)
	w.ints(idLens, lens, nil)
	w.ints(idWire, f.Wire, lens)
	w.ints(idBaud, f.Baud, nil)
	w.floats(idRSSI, "", &f.RSSI)
	w.column(idBytes, "", math.MaxInt, func(b []byte) []byte { return appendBytes(b, f.Bytes, total) })
	return w.finish(kindFrames, f.Rows()), nil
}

// A column of byte strings, whose lengths stand in another, begins with a byte
// for its form. Strings of one length, as binary frames are, are turned on
// their side: what compresses is the course of each place from frame to frame.
const (
	bytesRows   = iota // one after another
	bytesPlanes        // all first bytes, each minus the one before, then all second, …
)

func appendBytes(b []byte, rows [][]byte, total int) []byte {
	if !oneLength(rows) || !binaryFrames(rows) {
		b = append(b, bytesRows)
		for _, r := range rows {
			b = append(b, r...)
		}
		return b
	}
	b = append(b, bytesPlanes)
	at := len(b)
	b = append(b, make([]byte, total)...)
	n := len(rows)
	for p := range rows[0] {
		last := byte(0)
		for i, r := range rows {
			b[at+p*n+i] = r[p] - last
			last = r[p]
		}
	}
	return b
}

func oneLength(rows [][]byte) bool {
	for _, r := range rows {
		if len(r) != len(rows[0]) {
			return false
		}
	}
	return len(rows) > 1 && len(rows[0]) > 0
}

// binaryFrames says whether the first row is something else than text: text
// compresses better as it stands, because its words repeat.
func binaryFrames(rows [][]byte) bool {
	for _, b := range rows[0] {
		if b < 0x20 || b > 0x7e {
			return true
		}
	}
	return false
}

// DecodeFrames reads a block into f, whose memory is used again, except for
// Bytes: these are the caller's to keep.
func (c *Codec) DecodeFrames(data []byte, f *Frames) error {
	v, err := c.open(data, kindFrames)
	if err != nil {
		return err
	}
	defer v.Close()
	lens := v.ints(idLens, nil, nil)
	f.N = v.ints(idN, f.N, nil)
	f.Mono = v.ints(idMono, f.Mono, nil)
	f.Passed = v.ints(idPassed, f.Passed, f.Mono)
	f.Ord = v.ints(idOrd, f.Ord, f.N)
	f.Off = v.ints(idOff, f.Off, nil)
	f.Wire = v.ints(idWire, f.Wire, lens)
	f.Baud = v.ints(idBaud, f.Baud, nil)
	v.floats(idRSSI, &f.RSSI)
	f.Bytes = v.bytes(idBytes, lens, f.Bytes)
	return v.err
}

// bytes reads a column of byte strings into memory of its own.
func (v *View) bytes(id byte, lens []int64, dst [][]byte) [][]byte {
	total := 0
	for _, l := range lens {
		if l < 0 || l > int64(maxBytes-total) {
			v.fail("a frame has %d bytes", l)
			return dst[:0]
		}
		total += int(l)
	}
	r := v.reader(id, 1+total)
	form := r.byte()
	from := r.bytes(total)
	if v.done(r); v.err != nil {
		return dst[:0]
	}
	all := make([]byte, total)
	dst = sized(dst, len(lens))
	switch {
	case form == bytesRows:
		copy(all, from)
	case form == bytesPlanes && len(lens) > 0 && lens[0] > 0 && total == len(lens)*int(lens[0]):
		n, size := len(lens), int(lens[0])
		for p := range size {
			last := byte(0)
			for i := range n {
				last += from[p*n+i]
				all[i*size+p] = last
			}
		}
	default:
		v.fail("the frames have form %d", form)
		return dst[:0]
	}
	for i, l := range lens {
		dst[i], all = all[:l:l], all[l:]
	}
	return dst
}

// Numbers are the frames' numbers.
func (f *Frames) Numbers() []int64 { return f.N }
