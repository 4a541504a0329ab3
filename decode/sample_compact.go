package decode

import (
	"encoding/binary"
	"errors"
	"math"
	"time"
)

// A sample in its compact form, for programs of one process: it is not kept, so
// it has neither magic nor version. Numbers are LEB128 varints, floats IEEE 754
// binary64, little-endian; a text has its length before it.
//
//	session, link, rocket   text
//	n, part, boot           unsigned
//	seq, clock_us, passed   signed
//	heard, at               s since 1970, signed, and ns, unsigned
//	rssi                    how many there are, 0 or 1, and the float
//	channels                how many there are; name and float of each

// AppendCompact appends the sample in its compact form. As in JSON a value that
// is not a number, or not a finite one, is missing.
func (s *Sample) AppendCompact(b []byte) []byte {
	for _, t := range []string{s.Session, s.Link, s.Rocket} {
		b = appendText(b, t)
	}
	b = binary.AppendUvarint(b, s.N)
	b = binary.AppendUvarint(b, uint64(s.Part))
	b = binary.AppendUvarint(b, uint64(s.Boot))
	for _, v := range []int64{s.Seq, s.Clock, s.Passed} {
		b = binary.AppendVarint(b, v)
	}
	for _, t := range []time.Time{s.Heard, s.At} {
		b = binary.AppendVarint(b, t.Unix())
		b = binary.AppendUvarint(b, uint64(t.Nanosecond()))
	}
	if s.RSSI == nil {
		b = append(b, 0)
	} else {
		b = appendFloat(append(b, 1), *s.RSSI)
	}
	b = binary.AppendUvarint(b, uint64(len(s.Values.Names)))
	for i, n := range s.Values.Names {
		b = appendFloat(appendText(b, n), s.Values.Values[i])
	}
	return b
}

func appendText(b []byte, t string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(t))), t...)
}

func appendFloat(b []byte, v float64) []byte {
	if math.IsInf(v, 0) {
		v = math.NaN()
	}
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
}

// errCompact is returned for bytes that are no sample.
var errCompact = errors.New("read a sample's compact form: it is cut off or damaged")

// ReadCompact reads a sample at the start of b and returns what follows it. The
// sample holds nothing of b.
func ReadCompact(b []byte) (s Sample, rest []byte, err error) {
	// One copy, which all the names are parts of.
	r := compactReader{b: b, text: string(b), ok: true}
	s.Session, s.Link, s.Rocket = r.name(), r.name(), r.name()
	s.N, s.Part, s.Boot = r.unsigned(), uint16(r.unsigned()), uint32(r.unsigned())
	s.Seq, s.Clock, s.Passed = r.signed(), r.signed(), r.signed()
	s.Heard, s.At = r.time(), r.time()
	if r.unsigned() == 1 {
		v := r.float()
		s.RSSI = &v
	}
	n := r.unsigned()
	if n > uint64(len(r.b)) { // each takes some bytes
		return Sample{}, nil, errCompact
	}
	s.Values = Channels{Names: make([]string, n), Values: make([]float64, n)}
	for i := range n {
		s.Values.Names[i], s.Values.Values[i] = r.name(), r.float()
	}
	if !r.ok {
		return Sample{}, nil, errCompact
	}
	return s, r.b, nil
}

// compactReader takes one after another off b, of which text is a copy. After a
// piece that is not there ok is false.
type compactReader struct {
	b    []byte
	text string
	ok   bool
}

// piece takes n bytes and says where they begin in text.
func (r *compactReader) piece(n uint64) (at int, ok bool) {
	if n > uint64(len(r.b)) {
		r.ok, r.b = false, nil
		return 0, false
	}
	at = len(r.text) - len(r.b)
	r.b = r.b[n:]
	return at, true
}

func (r *compactReader) unsigned() uint64 {
	v, n := binary.Uvarint(r.b)
	if n <= 0 {
		r.ok, r.b = false, nil
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *compactReader) signed() int64 {
	v, n := binary.Varint(r.b)
	if n <= 0 {
		r.ok, r.b = false, nil
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *compactReader) name() string {
	n := r.unsigned()
	at, ok := r.piece(n)
	if !ok {
		return ""
	}
	return r.text[at : at+int(n)]
}

func (r *compactReader) float() float64 {
	b := r.b
	if _, ok := r.piece(8); !ok {
		return 0
	}
	return math.Float64frombits(binary.LittleEndian.Uint64(b))
}

func (r *compactReader) time() time.Time {
	s, ns := r.signed(), r.unsigned()
	return time.Unix(s, int64(ns)).UTC()
}
