package block

import (
	"encoding/binary"
	"math/bits"
)

// A column of whole numbers: a byte for its form, then numbers as varints,
// zigzag-coded so that small negative ones are short too (0, -1, 1, -2, …). The
// writer takes the form that is shortest.
const (
	intsSame   = iota // one number: all rows have it
	intsEven          // the first and the step
	intsDelta         // the first, then each minus the one before
	intsTwice         // the first, then the change of that difference
	intsBeside        // each minus the row's value in a column beside it
)

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// appendInt appends one number.
func appendInt(b []byte, v int64) []byte { return binary.AppendUvarint(b, zigzag(v)) }

// intLen is how many bytes appendInt takes.
func intLen(v int64) int { return (bits.Len64(zigzag(v)|1) + 6) / 7 }

// appendInts appends a column. beside, if not nil, is a column of the same
// length that the reader knows already. Sums wrap around and come back exactly.
func appendInts(b []byte, v, beside []int64) []byte {
	form := chooseInts(v, beside)
	b = append(b, byte(form))
	switch form {
	case intsSame:
		if len(v) > 0 {
			b = appendInt(b, v[0])
		}
	case intsEven:
		b = appendInt(appendInt(b, v[0]), v[1]-v[0])
	case intsDelta:
		last := int64(0)
		for _, x := range v {
			b = appendInt(b, x-last)
			last = x
		}
	case intsTwice:
		last, step := int64(0), int64(0)
		for _, x := range v {
			d := x - last
			b = appendInt(b, d-step)
			last, step = x, d
		}
	case intsBeside:
		for i, x := range v {
			b = appendInt(b, x-beside[i])
		}
	}
	return b
}

// chooseInts finds the shortest form.
func chooseInts(v, beside []int64) int {
	if len(v) == 0 {
		return intsSame
	}
	same, even := true, true
	delta, twice, by := 0, 0, 0
	last, step := v[0], int64(0)
	if len(v) > 1 {
		step = v[1] - v[0]
	}
	first := step
	for i, x := range v[1:] {
		d := x - last
		same = same && d == 0
		even = even && d == first
		delta += intLen(d)
		twice += intLen(d - step)
		if beside != nil {
			by += intLen(x - beside[i+1])
		}
		last, step = x, d
	}
	switch {
	case same:
		return intsSame
	case even:
		return intsEven
	case beside != nil && by < delta && by < twice:
		return intsBeside
	case twice < delta:
		return intsTwice
	}
	return intsDelta
}

// ints reads a column of n numbers into dst, which is grown.
func (r *reader) ints(dst []int64, n int, beside []int64) []int64 {
	form := r.byte()
	dst = sized(dst, n)
	switch form {
	case intsSame:
		if n > 0 {
			fill(dst, r.int(), 0)
		}
	case intsEven:
		first := r.int()
		fill(dst, first, r.int())
	case intsDelta:
		r.deltas(dst)
	case intsTwice:
		r.deltas(dst)
		sum(dst)
	case intsBeside:
		if len(beside) != n {
			r.fail("a column refers to one that is not there")
			return dst[:0]
		}
		r.plain(dst)
		for i := range dst {
			dst[i] += beside[i]
		}
	default:
		r.fail("a column of whole numbers has form %d", form)
	}
	return dst
}

func fill(dst []int64, v, step int64) {
	for i := range dst {
		dst[i] = v
		v += step
	}
}

// sum turns differences into numbers, in place.
func sum(dst []int64) {
	last := int64(0)
	for i, d := range dst {
		last += d
		dst[i] = last
	}
}

// deltas reads differences and sums them up.
func (r *reader) deltas(dst []int64) {
	r.plain(dst)
	sum(dst)
}

// plain reads numbers one by one; most take one to three bytes.
func (r *reader) plain(dst []int64) {
	b := r.b
	for i := range dst {
		if len(b) > 0 && b[0] < 0x80 {
			dst[i] = unzigzag(uint64(b[0]))
			b = b[1:]
			continue
		}
		u, n := binary.Uvarint(b)
		if n <= 0 {
			r.fail("a number is cut off")
			return
		}
		dst[i] = unzigzag(u)
		b = b[n:]
	}
	r.b = b
}

// int reads one number.
func (r *reader) int() int64 {
	u, n := binary.Uvarint(r.b)
	if n <= 0 {
		r.fail("a number is cut off")
		return 0
	}
	r.b = r.b[n:]
	return unzigzag(u)
}

// sized returns a slice of n elements that uses dst's memory if it suffices.
func sized[T any](dst []T, n int) []T {
	if cap(dst) < n {
		return make([]T, n)
	}
	return dst[:n]
}

// intsLimit bounds the bytes of a column of n whole numbers.
func intsLimit(n int) int { return 1 + 2*binary.MaxVarintLen64 + n*binary.MaxVarintLen64 }
