package decode

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
)

// A delimited line is
//
//	prefix field separator field ... [mark checksum-in-hex]
//
// where columns.go finds the fields if they do not stand in the layout's order,
// and an NMEA 0183 sentence (IEC 61162-1) is
//
//	$ address , field , field ... * HH
//
// where HH is the exclusive or of all bytes between "$" and "*".

// textForm is the compiled part of a layout that text forms need.
type textForm struct {
	prefix    []byte
	separator []byte // nil means runs of spaces and tabs
	more      bool
	places    places
	pairs     []byte // between name and value
	columns   int    // up to which columns are needed
	nameless  bool   // the columns' names have not been found in a header yet
	header    []byte // the line that names the columns
	address   []byte // nmea: the whole address
	talker    []byte
	sentence  []byte
}

// span is where a field is in the line.
type span struct{ from, to int }

func (p *Program) readDelimited(b []byte, base int, sc *scratch, m *ident) *Reject {
	line := trimEnd(b)
	if r := p.headerIn(line, base, m); r != nil {
		return r
	}
	r := p.readLine(line, base, sc)
	if r != nil && len(p.text.header) > 0 {
		if h := p.newHeader(line, base, m); h != nil {
			return h
		}
	}
	return r
}

func (p *Program) readLine(line []byte, base int, sc *scratch) *Reject {
	if !bytes.HasPrefix(line, p.text.prefix) {
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("the line does not start with %q", p.text.prefix))
	}
	body, r := p.checkText(line, base)
	if r != nil {
		return r
	}
	return p.readFields(body, len(p.text.prefix), base, sc)
}

func (p *Program) readNMEA(b []byte, base int, sc *scratch) *Reject {
	line := trimEnd(b)
	if len(line) == 0 || line[0] != '$' && line[0] != '!' {
		return p.reject(Unknown, ReasonNotOurs, "", base, `the line does not start with "$"`)
	}
	end := bytes.IndexByte(line, ',')
	if end < 0 {
		end = len(line)
		if i := bytes.IndexByte(line, '*'); i >= 0 {
			end = i
		}
	}
	ours := p.isOurAddress(line[1:end])
	body, r := p.checkText(line, base)
	switch {
	case r != nil && !ours && !bytes.ContainsRune(line, '*'):
		// Some devices send sentences without a checksum; those of others are
		// none of our business.
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("sentence %q", line[1:end]))
	case r != nil:
		return r
	case !ours:
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("sentence %q", line[1:end]))
	}
	return p.readFields(body, min(end+1, len(body)), base, sc)
}

func (p *Program) isOurAddress(a []byte) bool {
	if len(p.text.address) > 0 {
		return bytes.Equal(a, p.text.address)
	}
	// A talker is two characters; the rest of the address is the sentence.
	if len(a) != 2+len(p.text.sentence) || !bytes.Equal(a[2:], p.text.sentence) {
		return false
	}
	return len(p.text.talker) == 0 || bytes.Equal(a[:2], p.text.talker)
}

// checkText verifies the hex checksum at the end of the line, if the layout
// has one, and gives the line without it.
func (p *Program) checkText(line []byte, base int) ([]byte, *Reject) {
	c := p.check
	if c == nil {
		return line, nil
	}
	digits := 2 * c.sum.bytes
	at := len(line) - digits - len(c.mark)
	if at < c.from || !bytes.Equal(line[at:at+len(c.mark)], c.mark) {
		return nil, p.reject(Corrupt, ReasonChecksum, "", base+len(line), fmt.Sprintf("the line does not end in %q and %d hex digits", c.mark, digits))
	}
	want, ok := parseHex(line[at+len(c.mark):])
	if !ok {
		return nil, p.reject(Corrupt, ReasonChecksum, "", base+at+len(c.mark), fmt.Sprintf("%q is not hex", line[at+len(c.mark):]))
	}
	if got := c.sum.calc(line[c.from:at]); got != want || c.noKey {
		return nil, p.checksumReject(base+at+len(c.mark), got, want)
	}
	return line[:at], nil
}

func (p *Program) checksumReject(offset int, got, want uint32) *Reject {
	switch {
	case p.check.noKey:
		return p.reject(Corrupt, ReasonChecksum, "", offset, "the key of the layout's checksum is not at hand")
	case p.check.keyed: // what would have been right is nobody's business
		return p.reject(Corrupt, ReasonChecksum, "", offset, "it was not made with our key, or is damaged")
	}
	digits := 2 * p.check.sum.bytes
	return p.reject(Corrupt, ReasonChecksum, "", offset, fmt.Sprintf("%s of the bytes is %0*X, the frame says %0*X", p.check.sum.name, digits, got, digits, want))
}

// readFields splits line[from:] and reads each field. The fields that say
// whether the frame is ours come first, so that a foreign line is not called
// corrupt for something further on.
func (p *Program) readFields(line []byte, from, base int, sc *scratch) *Reject {
	if p.series == nil && p.text.places == inOrder && p.readQuick(line, from, sc) {
		return nil
	}
	return p.readCareful(line, from, base, sc)
}

// readCareful reads whatever readQuick does not, and says what is wrong.
func (p *Program) readCareful(line []byte, from, base int, sc *scratch) *Reject {
	if p.text.places != inOrder {
		return p.readColumns(line, from, base, sc)
	}
	if s := p.series; s != nil && len(s.separator) == 0 {
		return p.readSeriesLine(line, from, base, sc)
	}
	sc.spans = p.split(line, from, sc.spans[:0], len(p.fields)+1)
	if r := p.ours(line, base, sc.spans); r != nil {
		return r
	}
	if n := len(sc.spans); n < len(p.fields) || n > len(p.fields) && !p.text.more {
		return p.reject(Corrupt, ReasonFieldCount, "", base+len(line), p.countWords(line, sc.spans))
	}
	return p.readSpans(line, base, sc.spans, sc)
}

// ours says no if a field shows that the line is not what the layout is for.
func (p *Program) ours(line []byte, base int, spans []span) *Reject {
	for i := range p.fields {
		f := &p.fields[i]
		if len(f.only) == 0 && len(f.onlyText) == 0 || i >= len(spans) {
			continue
		}
		if s := spans[i]; !f.allowsText(trimSpaces(line[s.from:s.to])) {
			return p.reject(Unknown, ReasonNotOurs, f.name, base+s.from, fmt.Sprintf("%q is not what the layout is for", line[s.from:s.to]))
		}
	}
	return nil
}

// readSpans reads each field from its place.
func (p *Program) readSpans(line []byte, base int, spans []span, sc *scratch) *Reject {
	if p.series != nil {
		if len(p.series.separator) > 0 {
			if r := p.seriesCells(line, base, spans, sc); r != nil {
				return r
			}
		}
		if r := p.readPlaces(line, base, sc); r != nil {
			return r
		}
	}
	for i := range p.fields {
		f, s := &p.fields[i], spans[i]
		if f.use == useSkipped {
			sc.raw[i] = math.NaN()
			continue
		}
		if f.use == useFrame {
			sc.raw[i], sc.carried = math.NaN(), carried{line[s.from:s.to], base + s.from}
			continue
		}
		v, ok := f.readText(trimSpaces(line[s.from:s.to]))
		if !ok {
			return p.reject(Corrupt, ReasonNumber, f.name, base+s.from, fmt.Sprintf("%q", line[s.from:s.to]))
		}
		sc.raw[i] = v
	}
	return nil
}

// countWords says how many fields the line has, and how many it should.
func (p *Program) countWords(line []byte, spans []span) string {
	n := len(spans)
	if n > len(p.fields) { // split stops there
		rest := line[spans[n-1].from:]
		if p.text.separator == nil {
			n += len(bytes.Fields(rest)) - 1
		} else {
			n += bytes.Count(rest, p.text.separator)
		}
	}
	return fmt.Sprintf("%d fields where the layout has %d: %.80q", n, len(p.fields), line)
}

// split finds the fields of line[from:], at most limit.
func (p *Program) split(line []byte, from int, spans []span, limit int) []span {
	if p.text.separator == nil {
		for i := from; i < len(line) && len(spans) < limit; {
			for i < len(line) && isSpace(line[i]) {
				i++
			}
			start := i
			for i < len(line) && !isSpace(line[i]) {
				i++
			}
			if i > start {
				spans = append(spans, span{start, i})
			}
		}
		return spans
	}
	for len(spans) < limit {
		n := bytes.Index(line[from:], p.text.separator)
		if n < 0 {
			return append(spans, span{from, len(line)})
		}
		spans = append(spans, span{from, from + n})
		from += n + len(p.text.separator)
	}
	return spans
}

// allowsText says whether the text is one that the field may have.
func (f *field) allowsText(b []byte) bool {
	for _, t := range f.onlyText {
		if string(b) == t {
			return true
		}
	}
	if len(f.only) == 0 {
		return false
	}
	v, ok := f.readNumber(b)
	return ok && f.allows(v)
}

// readText reads the raw value of a text field; NaN is missing.
func (f *field) readText(b []byte) (float64, bool) {
	for _, t := range f.missingText {
		if string(b) == t {
			return math.NaN(), true
		}
	}
	if len(b) == 0 || isNaNWord(b) {
		return math.NaN(), true
	}
	if v, ok := f.words[string(b)]; ok {
		return v, true
	}
	if f.use == useSign {
		return readSign(b)
	}
	if len(f.onlyText) > 0 {
		return math.NaN(), true // a word that was checked already
	}
	v, ok := f.readNumber(b)
	if ok && f.isMissing(v) {
		return math.NaN(), true
	}
	return v, ok
}

func readSign(b []byte) (float64, bool) {
	if len(b) != 1 {
		return 0, false
	}
	switch b[0] {
	case 'N', 'E', 'n', 'e':
		return 1, true
	case 'S', 'W', 's', 'w':
		return -1, true
	}
	return 0, false
}

// readNumber reads a number as the field's format has it.
func (f *field) readNumber(b []byte) (float64, bool) {
	if f.hex {
		v, ok := parseHex(b)
		return float64(v), ok
	}
	if f.format >= clockTime {
		return readTime(b, f.format)
	}
	v, ok := parseDecimal(b, f.comma)
	if !ok {
		return 0, false
	}
	switch f.format {
	case degreesMinutes:
		return fromDegreesMinutes(v)
	case hoursMinutes:
		return fromHoursMinutes(v)
	}
	return v, true
}

// fromDegreesMinutes turns dddmm.mmmm into degrees.
func fromDegreesMinutes(v float64) (float64, bool) {
	deg := math.Floor(v / 100)
	minutes := v - deg*100
	return deg + minutes/60, v >= 0 && minutes < 60 && deg <= 180
}

// fromHoursMinutes turns hhmmss.ss into seconds of the day.
func fromHoursMinutes(v float64) (float64, bool) {
	h := math.Floor(v / 10000)
	m := math.Floor(v/100) - h*100
	s := v - h*10000 - m*100
	return h*3600 + m*60 + s, v >= 0 && h < 24 && m < 60 && s < 61
}

// parseDecimal reads a plain decimal number, with a comma for a point if comma
// is set. It is stricter than strconv: no hex, no underscores, no words, at most
// 40 digits.
func parseDecimal(b []byte, comma bool) (float64, bool) {
	if len(b) == 0 || len(b) > 40 {
		return 0, false
	}
	if at := bytes.IndexByte(b, ','); comma && at >= 0 {
		var room [40]byte
		pointed := append(room[:0], b...)
		pointed[at] = '.'
		b = pointed
	}
	digits, whole := false, true
	var n uint64
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
			digits = true
			n = n*10 + uint64(c-'0')
		case c == '+' || c == '-':
			if i > 0 && b[i-1] != 'e' && b[i-1] != 'E' {
				return 0, false
			}
			whole = false
		case c == '.' || c == 'e' || c == 'E':
			whole = false
		default:
			return 0, false
		}
	}
	if !digits {
		return 0, false
	}
	if whole && len(b) <= 15 {
		return float64(n), true // the common case, exact
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// parseHex reads one to eight hex digits of either case.
func parseHex(b []byte) (uint32, bool) {
	if len(b) == 0 || len(b) > 8 {
		return 0, false
	}
	var v uint32
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c >= 'a' && c <= 'f':
			c -= 'a' - 10
		case c >= 'A' && c <= 'F':
			c -= 'A' - 10
		default:
			return 0, false
		}
		v = v<<4 | uint32(c)
	}
	return v, true
}

// isNaNWord knows what printing a missing float gives on common boards.
func isNaNWord(b []byte) bool {
	return len(b) == 3 && (b[0]|0x20) == 'n' && (b[1]|0x20) == 'a' && (b[2]|0x20) == 'n'
}

func isSpace(c byte) bool { return c == ' ' || c == '\t' }

func trimSpaces(b []byte) []byte {
	for len(b) > 0 && isSpace(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && isSpace(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}

// trimEnd takes a line end off, which line framing has done already but
// datagrams have not.
func trimEnd(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == '\r' || b[len(b)-1] == '\n') {
		b = b[:len(b)-1]
	}
	return b
}
