package decode

import (
	"bytes"
	"encoding/binary"
	"math"
)

// Most lines are right and most of their fields plain numbers. Those are read
// here in one pass over the bytes. Whatever is out of the ordinary makes
// readQuick give up, and readFields then finds out what it is and says so.

// readQuick reads the fields of line[from:] into sc.raw. If it is false,
// nothing is known.
func (p *Program) readQuick(line []byte, from int, sc *scratch) bool {
	if len(p.text.separator) != 1 {
		return false
	}
	sep, at := p.text.separator[0], from
	for i := range p.fields {
		if at > len(line) {
			return false // too few
		}
		v, end, ok := p.fields[i].quick(line, at, sep)
		if !ok {
			return false
		}
		sc.raw[i] = v
		at = end + 1
	}
	return at > len(line) || p.text.more
}

// quick reads one field from line[at:] on and gives its end.
func (f *field) quick(line []byte, at int, sep byte) (v float64, end int, ok bool) {
	if f.easy {
		if v, end, ok = quickNumber(line, at, sep); ok {
			if len(f.missing) > 0 && f.isMissing(v) {
				v = math.NaN()
			}
			return v, end, true
		}
	}
	end = len(line)
	if n := bytes.IndexByte(line[at:], sep); n >= 0 {
		end = at + n
	}
	switch f.use {
	case useSkipped:
		return math.NaN(), end, true
	case useFrame:
		return 0, end, false
	}
	b := trimSpaces(line[at:end])
	if f.picky() && !f.allowsText(b) {
		return 0, end, false
	}
	v, ok = f.readText(b)
	return v, end, ok
}

// picky says that the field decides whether the frame is ours.
func (f *field) picky() bool { return len(f.only)+len(f.onlyText) > 0 }

// isEasy says that the field is nothing but a decimal number.
func (f *field) isEasy() bool {
	return !f.hex && !f.comma && f.format == plainNumber && f.use != useSign && f.use != useSkipped && f.use != useFrame && !f.picky() && len(f.missingText) == 0
}

// quickDigits are few enough for a float64 to hold any number of so many
// digits exactly. So is every power of ten up to 1e22: the quotient of the two
// is then the nearest float64, as strconv gives it.
const quickDigits = 15

// powersOfTen is read only.
var powersOfTen = [quickDigits + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// quickNumber reads a number of digits, a sign and a point, or nothing at all,
// up to the separator.
func quickNumber(line []byte, at int, sep byte) (v float64, end int, ok bool) {
	i, start, point := at, at, -1
	if i < len(line) && line[i] == '-' {
		i++
		start++
	}
	var n uint64
	for ; i < len(line); i++ {
		c := line[i]
		if d := c - '0'; d <= 9 {
			n = n*10 + uint64(d)
		} else if c == '.' && point < 0 {
			point = i
		} else {
			break
		}
	}
	digits := i - start
	if point >= 0 {
		digits--
	}
	switch {
	case i < len(line) && line[i] != sep, digits > quickDigits:
		return 0, i, false
	case i == at:
		return math.NaN(), i, true // an empty field
	case digits == 0:
		return 0, i, false
	}
	v = float64(n)
	if point >= 0 {
		v /= powersOfTen[i-point-1]
	}
	if start > at {
		v = -v
	}
	return v, i, true
}

// xor8 is the exclusive or of the bytes: the checksum of NMEA 0183.
func xor8(b []byte) uint32 {
	var w uint64
	for len(b) >= 8 {
		w ^= binary.LittleEndian.Uint64(b)
		b = b[8:]
	}
	w ^= w >> 32
	w ^= w >> 16
	s := uint8(w ^ w>>8)
	for _, c := range b {
		s ^= c
	}
	return uint32(s)
}
