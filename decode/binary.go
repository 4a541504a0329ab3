package decode

import (
	"encoding/binary"
	"fmt"
	"math"
)

// A binary frame is a fixed number of bytes; each field is at an offset:
//
//	| field | field | ... | checksum |

// binaryForm is the compiled part of a layout that binary needs.
type binaryForm struct {
	length int // of the whole frame, the checksum included
}

// numberKind is how the bits of a binary field are to be read.
type numberKind uint8

const (
	kindUnsigned numberKind = iota
	kindSigned
	kindFloat
	kindSkip
	kindCUC // see spacetime.go
	kindCDS
)

// check is a compiled checksum.
type check struct {
	sum      sum
	mark     []byte // text
	at       int    // binary: offset, negative from the end
	from, to int
	big      bool
	keyed    bool
	noKey    bool // keyed, and the key is not at hand
}

// place says where the checksum is in a frame of n bytes and what it covers.
func (c *check) place(n int) (at, from, to int, ok bool) {
	at = c.at
	if at < 0 {
		at += n
	}
	from, to = c.from, c.to
	switch {
	case to == 0:
		to = at
	case to < 0:
		to += n
	}
	ok = at >= 0 && at+c.sum.bytes <= n && from >= 0 && from <= to && to <= n
	return at, from, to, ok
}

// Unharmed says whether the checksum of a binary message is right; true where the
// layout has none. Framing without borders of its own finds messages by it.
func (p *Program) Unharmed(b []byte) bool { return p.checkBytes(b, 0) == nil }

// checkBytes verifies the checksum of a binary frame.
func (p *Program) checkBytes(b []byte, base int) *Reject {
	c := p.check
	if c == nil {
		return nil
	}
	at, from, to, ok := c.place(len(b))
	if !ok {
		return p.reject(Corrupt, ReasonLength, "", base+len(b), fmt.Sprintf("%d bytes leave no room for the checksum", len(b)))
	}
	want := uint32(getUint(b[at:at+c.sum.bytes], c.big))
	if got := c.sum.calc(b[from:to]); got != want || c.noKey {
		return p.checksumReject(base+at, got, want)
	}
	return nil
}

// readBinary reads the fields of a binary frame. A frame with a good checksum
// that has another length or version is intact: it is not ours.
func (p *Program) readBinary(b []byte, base int, sc *scratch) *Reject {
	if r := p.checkBytes(b, base); r != nil {
		return r
	}
	for i := range p.fields {
		f := &p.fields[i]
		if len(f.only) == 0 || f.at+f.size > len(b) {
			continue
		}
		if v := f.readBytes(b); !f.allows(v) {
			return p.reject(Unknown, ReasonNotOurs, f.name, base+f.at, number(v)+" is not what the layout is for")
		}
	}
	extra := len(b) - p.binary.length
	more := p.series != nil && p.series.count == 0 && extra >= 0 && extra%p.series.grows == 0 && extra/p.series.grows < mostReadings
	if extra != 0 && !more {
		kind := Corrupt
		if p.check != nil {
			kind = Unknown
		}
		return p.reject(kind, ReasonLength, "", base+min(len(b), p.binary.length), fmt.Sprintf("%d bytes where the layout has %d", len(b), p.binary.length))
	}
	for i := range p.fields {
		f := &p.fields[i]
		if f.use == useSkipped {
			sc.raw[i] = math.NaN()
			continue
		}
		v := f.readBytes(b)
		if f.isMissing(v) || math.IsInf(v, 0) {
			v = math.NaN()
		}
		sc.raw[i] = v
	}
	if p.series != nil {
		p.readSeries(b, extra, sc)
	}
	return nil
}

// readBytes reads the raw value; the bytes are there.
func (f *field) readBytes(b []byte) float64 {
	if f.kind >= kindCUC {
		return f.readSpaceTime(b[f.at : f.at+f.size])
	}
	u := getUint(b[f.at:f.at+f.size], f.big)
	if f.kind == kindFloat {
		if f.size == 4 {
			return float64(math.Float32frombits(uint32(u)))
		}
		return math.Float64frombits(u)
	}
	width := 8 * f.size
	if f.bits > 0 {
		u = u >> f.bit & (1<<f.bits - 1)
		width = f.bits
	}
	if f.kind == kindSigned {
		shift := 64 - width
		return float64(int64(u<<shift) >> shift)
	}
	return float64(u)
}

// getUint reads 1 to 8 bytes as an unsigned integer.
func getUint(b []byte, big bool) uint64 {
	switch len(b) {
	case 1:
		return uint64(b[0])
	case 2:
		if big {
			return uint64(binary.BigEndian.Uint16(b))
		}
		return uint64(binary.LittleEndian.Uint16(b))
	case 4:
		if big {
			return uint64(binary.BigEndian.Uint32(b))
		}
		return uint64(binary.LittleEndian.Uint32(b))
	}
	var v uint64
	for i := range b {
		if big {
			v = v<<8 | uint64(b[i])
		} else {
			v |= uint64(b[i]) << (8 * i)
		}
	}
	return v
}

// putUint writes the low bytes of v over b.
func putUint(b []byte, big bool, v uint64) {
	for i := range b {
		if big {
			b[len(b)-1-i] = byte(v >> (8 * i))
		} else {
			b[i] = byte(v >> (8 * i))
		}
	}
}
