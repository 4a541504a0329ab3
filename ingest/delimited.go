package ingest

import "bytes"

// splitter cuts a stream at delimiter bytes and keeps the piece that is not
// complete yet, up to a limit. What is in the pieces is the owner's business.
type splitter struct {
	limit int // most bytes of a piece, as it is on the wire
	pend  []byte
	start int64 // stream offset of the pending piece
	over  bool  // the pending piece passed the limit and was reported

	// next finds the first delimiter in b, -1 if there is none.
	next func(b []byte) int
	// piece takes a complete piece without its delimiter. Its bytes are valid
	// only during the call.
	piece func(raw []byte, wire int, at int64, s Sink) error
}

func (p *splitter) push(b []byte, pos int64, s Sink) error {
	for len(b) > 0 {
		i := p.next(b)
		if i < 0 {
			p.keep(b, pos, s)
			return nil
		}
		if err := p.close(b[:i], pos, 1, s); err != nil {
			return err
		}
		b, pos = b[i+1:], pos+int64(i)+1
	}
	return nil
}

// keep adds bytes to the pending piece, and reports it once it is too long.
// From then on its bytes are skipped up to the next delimiter.
func (p *splitter) keep(b []byte, pos int64, s Sink) {
	if p.over {
		return
	}
	if len(p.pend) == 0 {
		p.start = pos
	}
	if len(p.pend)+len(b) > p.limit {
		length := len(p.pend) + len(b)
		p.pend = append(p.pend, b[:p.limit-len(p.pend)]...)
		s.Reject(Reject{reasonTooLong, p.pend, length, p.start})
		p.pend, p.over = p.pend[:0], true
		return
	}
	p.pend = append(p.pend, b...)
}

// close completes the pending piece with its last bytes.
func (p *splitter) close(b []byte, pos int64, delimiter int, s Sink) error {
	raw, at := b, pos
	if len(p.pend) > 0 || p.over || len(b) > p.limit {
		p.keep(b, pos, s)
		raw, at = p.pend, p.start
	}
	over := p.over
	p.pend, p.over = p.pend[:0], false
	if over || len(raw) == 0 {
		return nil
	}
	return p.piece(raw, len(raw)+delimiter, at, s)
}

func (p *splitter) end(whole bool, s Sink) error {
	if whole {
		return p.close(nil, p.start, 0, s)
	}
	if len(p.pend) > 0 {
		s.Reject(Reject{reasonCut, p.pend, len(p.pend), p.start})
	}
	p.pend, p.over = p.pend[:0], false
	return nil
}

func (p *splitter) held() int { return len(p.pend) }

func byteFinder(d byte) func([]byte) int {
	return func(b []byte) int { return bytes.IndexByte(b, d) }
}

// newLineMachine cuts at line ends. Empty lines are nothing, so that under
// "any" the LF of a CR LF opens no line of its own.
func newLineMachine(ends string, limit int) machine {
	p := &splitter{limit: limit}
	p.piece = func(raw []byte, wire int, at int64, s Sink) error {
		return s.Message(Message{raw, wire, at})
	}
	switch ends {
	case "lf":
		p.next = byteFinder('\n')
	case "cr":
		p.next = byteFinder('\r')
	case "crlf":
		p.limit++ // the CR is not part of the message
		p.next = byteFinder('\n')
		p.piece = func(raw []byte, wire int, at int64, s Sink) error {
			msg := bytes.TrimSuffix(raw, []byte{'\r'})
			switch {
			case len(msg) > limit:
				s.Reject(Reject{reasonTooLong, msg, len(msg), at})
				return nil
			case len(msg) == 0:
				return nil
			}
			return s.Message(Message{msg, wire, at})
		}
	default:
		p.next = lineEnd
	}
	return p
}

// lineEnd is the first CR or LF.
func lineEnd(b []byte) int {
	// Lines are short and chunks are not: a search for LF alone would run to
	// the end of the chunk for each line of a sender that ends them with CR.
	const window = 128
	for from := 0; from < len(b); from += window {
		w := b[from:min(from+window, len(b))]
		lf := bytes.IndexByte(w, '\n')
		if lf >= 0 {
			w = w[:lf]
		}
		if cr := bytes.IndexByte(w, '\r'); cr >= 0 {
			return from + cr
		}
		if lf >= 0 {
			return from + lf
		}
	}
	return -1
}

// newCOBSMachine undoes consistent overhead byte stuffing (see EncodeCOBS).
func newCOBSMachine(limit int) machine {
	scratch := make([]byte, 0, limit+1)
	// One code byte for each started 254, one for the last block, and one that
	// some senders put after a full block without need.
	p := &splitter{limit: limit + limit/254 + 2, next: byteFinder(0)}
	p.piece = func(raw []byte, wire int, at int64, s Sink) error {
		var ok bool
		scratch, ok = decodeCOBS(scratch[:0], raw)
		switch {
		case !ok:
			s.Reject(Reject{reasonStuffing, raw, len(raw), at})
		case len(scratch) > limit:
			s.Reject(Reject{reasonTooLong, raw, len(raw), at})
		case len(scratch) == 0:
			s.Reject(Reject{reasonEmpty, raw, len(raw), at})
		default:
			return s.Message(Message{scratch, wire, at})
		}
		return nil
	}
	return p
}

// decodeCOBS appends the message in raw, which holds no zero, to dst; ok is
// false if a code byte points past the end.
func decodeCOBS(dst, raw []byte) (_ []byte, ok bool) {
	for len(raw) > 0 {
		code := int(raw[0])
		if code > len(raw) {
			return dst, false
		}
		dst = append(dst, raw[1:code]...)
		raw = raw[code:]
		if code < 0xFF && len(raw) > 0 {
			dst = append(dst, 0)
		}
	}
	return dst, true
}

// newSLIPMachine undoes RFC 1055. What comes before the first END is taken for
// a message too, for senders that put END only after it.
func newSLIPMachine(limit int) machine {
	scratch := make([]byte, 0, limit+1)
	p := &splitter{limit: 2 * limit, next: byteFinder(slipEnd)}
	p.piece = func(raw []byte, wire int, at int64, s Sink) error {
		var ok bool
		scratch, ok = unstuff(scratch[:0], raw)
		switch {
		case !ok:
			s.Reject(Reject{reasonStuffing, raw, len(raw), at})
		case len(scratch) > limit:
			s.Reject(Reject{reasonTooLong, raw, len(raw), at})
		default:
			return s.Message(Message{scratch, wire, at})
		}
		return nil
	}
	return p
}

// unstuff appends raw without SLIP's escapes to dst; ok is false if an escape
// is followed by anything but its two partners. (The RFC's sample leaves such
// a byte in place; the KISS paper drops it. Either way the message is wrong,
// so it is better seen as a reject than passed on.)
func unstuff(dst, raw []byte) (_ []byte, ok bool) {
	for {
		i := bytes.IndexByte(raw, slipEsc)
		if i < 0 {
			return append(dst, raw...), true
		}
		if i+1 >= len(raw) {
			return dst, false
		}
		dst = append(dst, raw[:i]...)
		switch raw[i+1] {
		case slipEscEnd:
			dst = append(dst, slipEnd)
		case slipEscEsc:
			dst = append(dst, slipEsc)
		default:
			return dst, false
		}
		raw = raw[i+2:]
	}
}

// kissMachine takes data frames from a TNC. Every frame begins with FEND, so
// what comes before the first one is the tail of something.
type kissMachine struct {
	splitter
	started bool
}

func newKISSMachine(limit int, port *int) machine {
	scratch := make([]byte, 0, limit+2)
	k := &kissMachine{}
	k.limit, k.next = 2*limit+2, byteFinder(slipEnd)
	k.piece = func(raw []byte, wire int, at int64, s Sink) error {
		if !k.started {
			s.Reject(Reject{reasonGarbage, raw, len(raw), at})
			return nil
		}
		var ok bool
		scratch, ok = unstuff(scratch[:0], raw)
		switch {
		case !ok:
			s.Reject(Reject{reasonStuffing, raw, len(raw), at})
		case scratch[0]&0x0F != 0:
			s.Reject(Reject{reasonNotData, raw, len(raw), at})
		case port != nil && int(scratch[0]>>4) != *port:
			s.Reject(Reject{reasonOtherPort, raw, len(raw), at})
		case len(scratch)-1 > limit:
			s.Reject(Reject{reasonTooLong, raw, len(raw), at})
		case len(scratch) == 1:
			s.Reject(Reject{reasonEmpty, raw, len(raw), at})
		default:
			// The FEND before the frame is counted in: with one shared between
			// frames it is a byte too many, which does no harm.
			return s.Message(Message{scratch[1:], wire + 1, max(at-1, 0)})
		}
		return nil
	}
	return k
}

func (k *kissMachine) push(b []byte, pos int64, s Sink) error {
	if !k.started {
		i := bytes.IndexByte(b, slipEnd)
		if i < 0 {
			k.keep(b, pos, s)
			return nil
		}
		err := k.close(b[:i], pos, 1, s)
		k.started = true
		if err != nil {
			return err
		}
		b, pos = b[i+1:], pos+int64(i)+1
	}
	return k.splitter.push(b, pos, s)
}

func (k *kissMachine) end(whole bool, s Sink) error {
	err := k.splitter.end(whole, s)
	k.started = false
	return err
}
