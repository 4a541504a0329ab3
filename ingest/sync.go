package ingest

import (
	"bytes"
	"fmt"
)

// syncMachine finds messages that begin with a sync word and are as long as a
// length field or the configuration says:
//
//	| sync word | length_at bytes | length field | n bytes ... [length field] |
//	|           |<----------------- the body ------------------------------->|
//
// with n = value of the field + length_add; or, without a field, a body of
// fixed size.
//
// The stream says nothing of where messages end, so a sync word in the middle
// of data can be a false start. A length that cannot be, a second length that
// differs, or a failed check shows it, and the search then goes on with the
// byte after the false start. Where there is no sync word, a message begins right
// behind the one before it, and after garbage wherever length and check agree.
type syncMachine struct {
	word  []byte
	keep  bool
	limit int // most bytes of a message as it is passed on

	size   int // fixed body, 0 with a length field
	at     int // offset of the length field in the body
	width  int
	big    bool
	add    int
	again  bool
	check  func([]byte) bool
	pend   []byte
	start  int64 // stream offset of pend[0]
	skip   []byte
	skips  int   // length of the run of garbage
	skipAt int64 // and its offset
}

// garbageKept is how many bytes of a run of garbage are kept to be looked at.
const garbageKept = 64

func newSyncMachine(f Framing, limit int) (*syncMachine, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	word, err := f.syncWord()
	if err != nil {
		return nil, err
	}
	s := &syncMachine{
		word: word, keep: f.KeepSync, limit: limit,
		size: f.Size, at: f.LengthAt, width: f.LengthBytes, big: f.LengthEndian == "big",
		add: f.LengthAdd, again: f.LengthAgain,
	}
	if f.Size > s.bodyLimit() {
		return nil, framingError("size", f.Size, fmt.Sprintf("is over the frame limit of %d bytes", limit), "raise frame_limit on the link, or correct the size")
	}
	return s, nil
}

// bodyLimit is the most bytes that may follow the sync word.
func (m *syncMachine) bodyLimit() int {
	if m.keep {
		return m.limit - len(m.word)
	}
	return m.limit
}

// bodyLength is the length of the body whose first bytes are b; known is false
// while the length field has not arrived. A length that cannot be is negative.
func (m *syncMachine) bodyLength(b []byte) (n int, known bool) {
	if m.width == 0 {
		return m.size, true
	}
	head := m.at + m.width
	if len(b) < head {
		return 0, false
	}
	// int64: a field of 4 bytes must not wrap where int has 32 bits.
	total := int64(head) + int64(m.field(b[m.at:head])) + int64(m.add)
	least := int64(head)
	if m.again {
		least += int64(m.width)
	}
	if total < least || total > int64(m.bodyLimit()) {
		return -1, true
	}
	return int(total), true
}

func (m *syncMachine) field(b []byte) uint32 {
	var v uint32
	for i := range b {
		if m.big {
			v = v<<8 | uint32(b[i])
		} else {
			v |= uint32(b[i]) << (8 * i)
		}
	}
	return v
}

// lengthAgrees says whether the second length field of a whole body equals the
// first; without one it is true.
func (m *syncMachine) lengthAgrees(body []byte) bool {
	return !m.again || bytes.Equal(body[m.at:m.at+m.width], body[len(body)-m.width:])
}

// putLength writes the length of a whole body into it.
func (m *syncMachine) putLength(body []byte) error {
	head := m.at + m.width
	least := head
	if m.again {
		least += m.width
	}
	if len(body) < least {
		return fmt.Errorf("set length: the message has %d bytes after its sync word, its length fields end at %d", len(body), least)
	}
	v := int64(len(body) - head - m.add)
	if v < 0 || v >= int64(1)<<(8*m.width) {
		return fmt.Errorf("set length: %d does not fit a field of %d bytes", v, m.width)
	}
	for i := range m.width {
		shift := 8 * i
		if m.big {
			shift = 8 * (m.width - 1 - i)
		}
		body[m.at+i] = byte(v >> shift)
	}
	if m.again {
		copy(body[len(body)-m.width:], body[m.at:head])
	}
	return nil
}

func (m *syncMachine) push(b []byte, pos int64, s Sink) error {
	// In steps, so that what is held stays bounded however much is pushed.
	const step = 4096
	for len(b) > 0 {
		n := min(len(b), step)
		if len(m.pend) == 0 {
			m.start = pos
		}
		m.pend = append(m.pend, b[:n]...)
		b, pos = b[n:], pos+int64(n)
		if err := m.scan(s); err != nil {
			m.pend = m.pend[:0]
			return err
		}
	}
	return nil
}

// scan takes every whole message out of what is pending.
func (m *syncMachine) scan(s Sink) error {
	at := 0
	for {
		i := bytes.Index(m.pend[at:], m.word)
		if i < 0 {
			// All but the beginning of a sync word is garbage.
			end := len(m.pend) - m.partial(m.pend[at:])
			m.garbage(at, end, s)
			m.drop(end)
			return nil
		}
		m.garbage(at, at+i, s)
		at += i
		n, reason := m.whole(at)
		switch {
		case reason != "":
			m.falseStart(at, n, reason, s)
			at++
		case n < 0:
			m.drop(at)
			return nil
		default:
			m.flushGarbage(s)
			wire := len(m.word) + n
			if err := s.Message(Message{m.message(at, n), wire, m.start + int64(at)}); err != nil {
				return err
			}
			at += wire
		}
	}
}

// whole looks at the sync word at pend[at]: the length of the body behind it
// if that is all there and right; -1 if more bytes are needed; or why it is a
// false start, and how many bytes behind it were looked at.
func (m *syncMachine) whole(at int) (n int, reason string) {
	body := m.pend[at+len(m.word):]
	n, known := m.bodyLength(body)
	switch {
	case known && n < 0:
		return m.at + m.width, reasonLength
	case !known || len(body) < n:
		return -1, ""
	case !m.lengthAgrees(body[:n]):
		return n, reasonLength
	case m.check != nil && !m.check(m.message(at, n)):
		return n, reasonCheck
	}
	return n, ""
}

// message is what is passed on for the sync word at pend[at] with a body of n
// bytes.
func (m *syncMachine) message(at, n int) []byte {
	to := at + len(m.word) + n
	if !m.keep {
		at += len(m.word)
	}
	return m.pend[at:to]
}

// falseStart reports a sync word that opened no message; without a word, the byte
// is garbage like those around it. Only its first byte is
// dropped by that: what is garbage among
// the bytes behind it will be reported once more, as such.
func (m *syncMachine) falseStart(at, n int, reason string, s Sink) {
	if len(m.word) == 0 {
		m.garbage(at, at+1, s)
		return
	}
	m.flushGarbage(s)
	piece := m.pend[at : at+len(m.word)+n]
	s.Reject(Reject{reason, piece, len(piece), m.start + int64(at)})
}

// partial is the length of the longest beginning of the sync word that b ends
// with.
func (m *syncMachine) partial(b []byte) int {
	for n := min(len(m.word)-1, len(b)); n > 0; n-- {
		if bytes.HasPrefix(m.word, b[len(b)-n:]) {
			return n
		}
	}
	return 0
}

// garbage adds pend[from:to] to the present run of garbage, and reports the
// run each time it reaches the frame limit, so that a link that hears nothing
// else shows it.
func (m *syncMachine) garbage(from, to int, s Sink) {
	if to <= from {
		return
	}
	if m.skips == 0 {
		m.skipAt = m.start + int64(from)
		m.skip = m.skip[:0]
	}
	m.skip = append(m.skip, m.pend[from:min(to, from+garbageKept-min(len(m.skip), garbageKept))]...)
	m.skips += to - from
	if m.skips >= m.limit {
		m.flushGarbage(s)
	}
}

func (m *syncMachine) flushGarbage(s Sink) {
	if m.skips > 0 {
		s.Reject(Reject{reasonGarbage, m.skip, m.skips, m.skipAt})
		m.skips = 0
	}
}

// drop forgets the first n pending bytes.
func (m *syncMachine) drop(n int) {
	rest := copy(m.pend, m.pend[n:])
	m.pend = m.pend[:rest]
	m.start += int64(n)
}

// end closes the stream. A message that is not all there is cut off even if
// the stream is whole; but a false start may hide one behind it.
func (m *syncMachine) end(_ bool, s Sink) error {
	defer func() { m.pend = m.pend[:0] }()
	for whole := true; len(m.pend) > 0; whole = false {
		if len(m.word) == 0 && !whole {
			// What is behind a cut message is a piece of it, which has been told
			// of, or a whole one.
			m.drop(1)
			err := m.scan(s)
			if m.skips = 0; err != nil {
				return err
			}
			continue
		}
		if !bytes.HasPrefix(m.pend, m.word) {
			m.garbage(0, len(m.pend), s) // the beginning of a sync word
			break
		}
		m.flushGarbage(s)
		s.Reject(Reject{reasonCut, m.pend, len(m.pend), m.start})
		m.drop(1)
		// Look for whole messages behind it; count the rest only once.
		if i := bytes.Index(m.pend, m.word); i < 0 {
			break
		} else {
			m.drop(i)
		}
		if err := m.scan(s); err != nil {
			return err
		}
	}
	m.flushGarbage(s)
	return nil
}

func (m *syncMachine) held() int { return len(m.pend) }
