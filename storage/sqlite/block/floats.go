package block

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// A column of channel values: a byte that says whether some rows have none (then
// a bitmap, bit i%8 of byte i/8 set where row i has one), a byte for the form,
// and the values of the rows that have one.
const (
	floatsPlanes  = iota // eight bytes each, all first bytes, then all second, …
	floatsSame           // one value that all have
	floatsDivided        // whole numbers, each divided by a power of ten
	floatsTimes          // whole numbers, each times a negative power of ten
	floatsSingle         // four bytes each, in planes: they fit single precision
)

// Boards send whole numbers of a small unit, so most values are a whole number
// over a power of ten. Whether the decoder divided or multiplied differs in the
// last bit, so both are tried, and only what gives every bit back is taken.
const maxPower = 9

// power is 10^k; both the powers and what is divided by them are exact to
// double precision, as computed by strconv (IEEE 754 rounds correctly).
func power(k int) float64 {
	return [maxPower + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}[k]
}

func fraction(k int) float64 {
	return [maxPower + 1]float64{1, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9}[k]
}

// floatScratch is memory that is used again.
type floatScratch struct {
	dense []float64
	whole []int64
}

// appendFloats appends a column of n rows. has is nil if every row has a value;
// values of rows without one are not looked at.
func appendFloats(b []byte, v []float64, has []bool, s *floatScratch) []byte {
	if has == nil {
		b = append(b, 0)
		return appendDense(b, v, s)
	}
	b = append(b, 1)
	at := len(b)
	b = append(b, make([]byte, (len(v)+7)/8)...)
	dense := s.dense[:0]
	for i, ok := range has {
		if ok {
			b[at+i/8] |= 1 << (i % 8)
			dense = append(dense, v[i])
		}
	}
	s.dense = dense
	return appendDense(b, dense, s)
}

func appendDense(b []byte, v []float64, s *floatScratch) []byte {
	if sameBits(v) {
		b = append(b, floatsSame)
		if len(v) > 0 {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v[0]))
		}
		return b
	}
	for k := range maxPower + 1 {
		if s.whole = divided(s.whole, v, power(k)); len(s.whole) == len(v) {
			return appendInts(append(b, floatsDivided, byte(k)), s.whole, nil)
		}
		if k == 0 {
			continue
		}
		if s.whole = times(s.whole, v, fraction(k), power(k)); len(s.whole) == len(v) {
			return appendInts(append(b, floatsTimes, byte(k)), s.whole, nil)
		}
	}
	if single(v) {
		b = append(b, floatsSingle)
		at := len(b)
		b = append(b, make([]byte, 4*len(v))...)
		for i, x := range v {
			u := math.Float32bits(float32(x))
			for p := range 4 {
				b[at+p*len(v)+i] = byte(u >> (8 * p))
			}
		}
		return b
	}
	b = append(b, floatsPlanes)
	at := len(b)
	b = append(b, make([]byte, 8*len(v))...)
	for i, x := range v {
		u := math.Float64bits(x)
		for p := range 8 {
			b[at+p*len(v)+i] = byte(u >> (8 * p))
		}
	}
	return b
}

func sameBits(v []float64) bool {
	for i := 1; i < len(v); i++ {
		if math.Float64bits(v[i]) != math.Float64bits(v[0]) {
			return false
		}
	}
	return true
}

func single(v []float64) bool {
	for _, x := range v {
		if math.Float64bits(float64(float32(x))) != math.Float64bits(x) {
			return false
		}
	}
	return true
}

// exact is the range in which a double counts every whole number.
const exact = 1 << 53

// divided finds the whole numbers that give v when divided by p. It stops at the
// first value for which there is none, as for -0: the result is then shorter
// than v.
func divided(dst []int64, v []float64, p float64) []int64 {
	dst = dst[:0]
	for _, x := range v {
		r := math.RoundToEven(x * p)
		if !(r > -exact && r < exact) || math.Float64bits(float64(int64(r))/p) != math.Float64bits(x) {
			break
		}
		dst = append(dst, int64(r))
	}
	return dst
}

// times finds the whole numbers that give v when multiplied by f, as divided.
func times(dst []int64, v []float64, f, p float64) []int64 {
	dst = dst[:0]
	for _, x := range v {
		r := math.RoundToEven(x * p)
		if !(r > -exact && r < exact) || math.Float64bits(float64(int64(r))*f) != math.Float64bits(x) {
			break
		}
		dst = append(dst, int64(r))
	}
	return dst
}

// floats reads a column of n rows into dst. has is nil if every row has a value;
// where one has none, dst is NaN.
func (r *reader) floats(dst []float64, n int, whole *[]int64) (v []float64, has []bool) {
	dst = sized(dst, n)
	switch flag := r.byte(); flag {
	case 0:
		r.dense(dst, whole)
		return dst, nil
	case 1:
	default:
		r.fail("a channel begins with %d", flag)
		return dst, nil
	}
	bitmap := r.bytes((n + 7) / 8)
	if r.err != nil {
		return dst, nil
	}
	count := 0
	for _, b := range bitmap {
		count += bits.OnesCount8(b)
	}
	if count > n {
		r.fail("a channel has more values than rows")
		return dst, nil
	}
	r.dense(dst[:count], whole)
	has = make([]bool, n)
	none := math.NaN()
	// From the end, so that a value is moved before its place is taken.
	from := count
	for i := n - 1; i >= 0; i-- {
		if bitmap[i/8]&(1<<(i%8)) == 0 {
			dst[i] = none
			continue
		}
		has[i] = true
		from--
		dst[i] = dst[from]
	}
	if from != 0 {
		r.fail("a channel has values of rows that are not there")
	}
	return dst, has
}

func (r *reader) dense(dst []float64, whole *[]int64) {
	n := len(dst)
	switch form := r.byte(); form {
	case floatsSame:
		if n == 0 {
			return
		}
		if b := r.bytes(8); b != nil {
			v := math.Float64frombits(binary.LittleEndian.Uint64(b))
			for i := range dst {
				dst[i] = v
			}
		}
	case floatsDivided, floatsTimes:
		k := int(r.byte())
		if k > maxPower {
			r.fail("a channel has the power %d", k)
			return
		}
		*whole = r.ints(*whole, n, nil)
		if r.err != nil {
			return
		}
		scale(dst, *whole, form, k)
	case floatsSingle:
		if b := r.bytes(4 * n); b != nil {
			p0, p1, p2, p3 := b[:n], b[n:2*n], b[2*n:3*n], b[3*n:]
			for i := range dst {
				dst[i] = float64(math.Float32frombits(uint32(p0[i]) | uint32(p1[i])<<8 | uint32(p2[i])<<16 | uint32(p3[i])<<24))
			}
		}
	case floatsPlanes:
		if b := r.bytes(8 * n); b != nil {
			for i := range dst {
				var u uint64
				for p := range 8 {
					u |= uint64(b[p*n+i]) << (8 * p)
				}
				dst[i] = math.Float64frombits(u)
			}
		}
	default:
		r.fail("a channel has form %d", form)
	}
}

func scale(dst []float64, whole []int64, form byte, k int) {
	if form == floatsDivided {
		p := power(k)
		for i, w := range whole {
			dst[i] = float64(w) / p
		}
		return
	}
	f := fraction(k)
	for i, w := range whole {
		dst[i] = float64(w) * f
	}
}

// floatsLimit bounds the bytes of a column of n values.
func floatsLimit(n int) int { return 3 + (n+7)/8 + max(8*n, intsLimit(n)) }
