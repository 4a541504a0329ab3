package influx

// block is a run of lines in one buffer: one request, or several, can be cut
// from it without copying each line.
type block struct {
	buf  []byte
	ends []int // where each line ends, its line break included
}

// take notes that buf, which begins with what was there before, is the buffer
// now and that its new end is the end of a line.
func (b *block) take(buf []byte) {
	b.buf = buf
	b.ends = append(b.ends, len(buf))
}

func (b *block) reset() { b.buf, b.ends = b.buf[:0], b.ends[:0] }

func (b *block) len() int { return len(b.ends) }

// text is lines from <= i < to.
func (b *block) text(from, to int) string {
	start := 0
	if from > 0 {
		start = b.ends[from-1]
	}
	return string(b.buf[start:b.ends[to-1]])
}
