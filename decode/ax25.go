package decode

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// An AX.25 v2.2 UI frame, as a TNC hands it over (no flags, usually no FCS):
//
//	| destination 7 | source 7 | 0 to 8 digipeaters, 7 each | 03 | PID | information |
//
// Each address is six characters shifted left by one, padded with spaces, and
// a byte with the SSID in bits 1 to 4; bit 0 of that byte is set in the last
// address only. PID F0 means no layer 3.
//
// Programs that decode radio print it as a line, the addresses that have repeated
// it with a star (common practice, no source):
//
//	SOURCE-1>DEST,DIGI-1*,DIGI-2:information

const (
	ax25UI       = 0x03
	ax25Poll     = 0x10 // the poll/final bit of the control byte
	ax25NoLayer3 = 0xf0
	ax25Repeated = 8
)

// callsign is an address without the bits that change on the way.
type callsign [7]byte

// ax25Form is the compiled part of a layout that ax25 needs.
type ax25Form struct {
	sources     []source
	destination *callsign
	monitored   bool // written as a line
}

type source struct {
	call   callsign
	rocket uint32
}

func (p *Program) parseAX25(b []byte, base int, sc *scratch, m *ident) *Reject {
	if p.ax25.monitored {
		return p.parseMonitored(b, base, sc, m)
	}
	if r := p.checkBytes(b, base); r != nil {
		return r
	}
	if p.check != nil && p.check.at == -p.check.sum.bytes {
		b = b[:len(b)-p.check.sum.bytes]
	}
	end, r := p.ax25Addresses(b, base)
	if r != nil {
		return r
	}
	if len(b) < end+2 {
		return p.reject(Corrupt, ReasonLength, "", base+len(b), "the frame ends within its header")
	}
	if b[end]&^ax25Poll != ax25UI || b[end+1] != ax25NoLayer3 {
		return p.reject(Unknown, ReasonNotOurs, "", base+end, fmt.Sprintf("control %02X and PID %02X are not those of a UI frame without layer 3", b[end], b[end+1]))
	}
	if r := p.isHeard(readCallsign(b[7:14]), readCallsign(b[0:7]), base+7, m); r != nil {
		return r
	}
	return p.inner.parse(b[end+2:], base+end+2, sc.inner, m)
}

// isHeard says whether frames of a source to a destination are ours.
func (p *Program) isHeard(from, dest callsign, at int, m *ident) *Reject {
	if p.ax25.destination != nil && dest != *p.ax25.destination {
		return p.reject(Unknown, ReasonNotOurs, "", at, "sent to "+dest.String())
	}
	ours := len(p.ax25.sources) == 0
	for _, s := range p.ax25.sources {
		if s.call == from {
			ours = true
			m.rocket, m.hasRocket = s.rocket, true
		}
	}
	if !ours {
		return p.reject(Unknown, ReasonNotOurs, "", at, "sent by "+from.String())
	}
	m.from, m.to = from, dest
	return nil
}

// parseMonitored reads a frame that is written as a line.
func (p *Program) parseMonitored(b []byte, base int, sc *scratch, m *ident) *Reject {
	line := trimEnd(b)
	if !bytes.HasPrefix(line, p.text.prefix) {
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("the line does not start with %q", p.text.prefix))
	}
	head := trimSpaces(line[len(p.text.prefix):])
	start := len(line) - len(head)
	colon, arrow := bytes.IndexByte(head, ':'), bytes.IndexByte(head, '>')
	if arrow < 0 || colon < arrow {
		return p.reject(Unknown, ReasonNotOurs, "", base+start, fmt.Sprintf("it does not begin as SOURCE>DESTINATION: does: %.40q", head))
	}
	to, _, _ := bytes.Cut(head[arrow+1:colon], []byte(","))
	from, err := parseCallsign(string(head[:arrow]))
	dest, err2 := parseCallsign(string(to))
	if err = errors.Join(err, err2); err != nil {
		return p.reject(Corrupt, ReasonHeader, "", base+start, err.Error())
	}
	if r := p.isHeard(from, dest, base+start, m); r != nil {
		return r
	}
	at := start + colon + 1
	return p.inner.parse(line[at:], base+at, sc.inner, m)
}

// CutAX25 takes a UI frame apart that nobody has described yet, as a TNC hands it
// over or, if monitored, written as a line: who sent it, to whom, and what it carries.
func CutAX25(b []byte, monitored bool) (from, to string, info []byte, ok bool) {
	p := &Program{}
	if !monitored {
		end, r := p.ax25Addresses(b, 0)
		if r != nil || len(b) < end+2 || b[end]&^ax25Poll != ax25UI || b[end+1] != ax25NoLayer3 {
			return "", "", nil, false
		}
		return readCallsign(b[7:14]).String(), readCallsign(b[0:7]).String(), b[end+2:], true
	}
	head, info, ok := bytes.Cut(trimEnd(b), []byte(":"))
	source, path, arrow := bytes.Cut(trimSpaces(head), []byte(">"))
	dest, _, _ := bytes.Cut(path, []byte(","))
	f, err := parseCallsign(string(source))
	t, err2 := parseCallsign(string(dest))
	if !ok || !arrow || err != nil || err2 != nil {
		return "", "", nil, false
	}
	return f.String(), t.String(), info, true
}

// ax25Addresses checks the address field and says where it ends.
func (p *Program) ax25Addresses(b []byte, base int) (int, *Reject) {
	for n := 1; ; n++ {
		end := 7 * n
		if end > len(b) {
			return 0, p.reject(Corrupt, ReasonLength, "", base+len(b), "the frame ends within its addresses")
		}
		for i, c := range b[end-7 : end-1] {
			if c&1 != 0 || !isCallsignByte(c>>1) {
				return 0, p.reject(Corrupt, ReasonHeader, "", base+end-7+i, fmt.Sprintf("%02X is no character of a callsign", c))
			}
		}
		switch last := b[end-1]&1 != 0; {
		case last && n == 1:
			return 0, p.reject(Corrupt, ReasonHeader, "", base+end-1, "there is no source address")
		case last:
			return end, nil
		case n == 2+ax25Repeated:
			return 0, p.reject(Corrupt, ReasonHeader, "", base+end-1, "there are more than 10 addresses")
		}
	}
}

func isCallsignByte(c byte) bool {
	return c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == ' '
}

func readCallsign(b []byte) callsign {
	c := callsign(b)
	c[6] &= 0x1e
	return c
}

// parseCallsign reads "N0CALL-11".
func parseCallsign(s string) (callsign, error) {
	name, ssid, dashed := strings.Cut(strings.ToUpper(s), "-")
	n := 0
	if dashed {
		var err error
		if n, err = strconv.Atoi(ssid); err != nil || n < 0 || n > 15 {
			return callsign{}, fmt.Errorf("callsign %q: the part after the dash is 0 to 15", s)
		}
	}
	if len(name) < 1 || len(name) > 6 {
		return callsign{}, fmt.Errorf("callsign %q: it has 1 to 6 characters before the dash", s)
	}
	var c callsign
	for i := range 6 {
		ch := byte(' ')
		if i < len(name) {
			ch = name[i]
			if ch == ' ' || !isCallsignByte(ch) {
				return callsign{}, fmt.Errorf("callsign %q: %q is not a letter or digit", s, ch)
			}
		}
		c[i] = ch << 1
	}
	c[6] = byte(n) << 1
	return c, nil
}

// String writes the callsign as a person does.
func (c callsign) String() string {
	var b strings.Builder
	for _, ch := range c[:6] {
		if ch>>1 != ' ' && ch != 0 {
			b.WriteByte(ch >> 1)
		}
	}
	if n := c[6] >> 1; n != 0 {
		b.WriteString("-" + strconv.Itoa(int(n)))
	}
	return b.String()
}

// appendAX25 writes the header of a UI frame: command to destination, source
// last, the reserved bits set (AX.25 v2.2 section 3.12).
func (p *Program) appendAX25(dst []byte, rocket uint32) ([]byte, error) {
	to, err := parseCallsign("PADLRK")
	if err != nil {
		return nil, err
	}
	if p.ax25.destination != nil {
		to = *p.ax25.destination
	}
	if len(p.ax25.sources) == 0 {
		return nil, fmt.Errorf("encode layout %q: it names no source; add sources = {\"N0CALL-1\" = 1}", p.name)
	}
	from := p.ax25.sources[0]
	for _, s := range p.ax25.sources {
		if s.rocket == rocket {
			from = s
		}
	}
	if p.ax25.monitored {
		return fmt.Appendf(dst, "%s%s>%s:", p.text.prefix, from.call, to), nil
	}
	to[6] |= 0xe0
	from.call[6] |= 0x61
	dst = append(append(dst, to[:]...), from.call[:]...)
	return append(dst, ax25UI, ax25NoLayer3), nil
}
