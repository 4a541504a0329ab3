package decode

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"

	"padlark/ingest"
)

// A field of a text or document may hold a whole frame: modules that print what
// they have heard by radio in hex, gateways that wrap it up in JSON as base64, and
// comments that hold further values.

// frameText is how such a frame is written.
type frameText uint8

const (
	noFrame frameText = iota
	asText
	asBytes
	asHex
	asBase64
)

func frameTextOf(s string) (frameText, error) {
	switch s {
	case "":
		return noFrame, nil
	case "text":
		return asText, nil
	case "bytes":
		return asBytes, nil
	case "hex":
		return asHex, nil
	case "base64":
		return asBase64, nil
	}
	return noFrame, fmt.Errorf("%q is not known; write hex, base64, text or bytes", s)
}

// frameOf compiles the field that holds a frame.
func (c *compiler) frameOf(i int, lf Field, f *field) error {
	switch {
	case c.layout.Inner == "":
		return c.fieldErrorf(i, "frame", "the layout does not say what is in it; write inner = …")
	case c.p.carries >= 0:
		return c.fieldErrorf(i, "frame", "two fields hold a frame; keep one")
	case lf.Unit != "" || lf.Type != "" || lf.Missing != nil || lf.Only != nil || lf.SignOf != "":
		return c.fieldErrorf(i, "frame", "it holds a frame and is no value; leave unit, type, missing, only and sign_of out")
	}
	f.use, c.p.carries = useFrame, i
	return nil
}

// compileCarried joins a text or document with the layout of the frame in it.
func (c *compiler) compileCarried(others []Layout, depth int) error {
	p := c.p
	if p.carries < 0 {
		if c.layout.Inner != "" {
			return c.errorf("inner", "no field holds its frame; write frame = \"hex\" (or base64, text, bytes) for one")
		}
		return nil
	}
	framing := ""
	if p.fields[p.carries].frame == asText {
		framing = ingest.FramingLine
	}
	var err error
	if p.inner, err = c.compileInner("inner", c.layout.Inner, others, depth, framing); err != nil {
		return err
	}
	if p.inner.text.nameless {
		return c.errorf("inner", "the columns of %q have names that only its header tells; write header = … there", p.inner.name)
	}
	for _, ch := range p.inner.names {
		for _, own := range p.names {
			if own == ch {
				return c.errorf("inner", "%q and this layout both give %s; give one of them another name, or ignore = true", p.inner.name, ch)
			}
		}
	}
	p.names = append(p.names, p.inner.names...)
	p.inherit(p.inner)
	return nil
}

// carried is a frame found in a field.
type carried struct {
	bytes []byte // as they stand there
	at    int    // in the whole frame; -1 where it cannot be told
}

// parseCarried reads the frame in a field. What it says of rocket, boot, sequence
// and clock counts, where it says it.
func (p *Program) parseCarried(b []byte, base int, sc *scratch, m *ident) *Reject {
	f, in := &p.fields[p.carries], sc.carried
	if len(in.bytes) == 0 {
		return p.reject(Unknown, ReasonFrame, f.name, -1, "there is no frame in it")
	}
	frame, size := in.bytes, 1.0 // size: characters a byte
	switch f.frame {
	case asHex:
		size = 2
		var bad int
		if sc.buffer, bad = appendHex(sc.buffer[:0], in.bytes); bad >= 0 {
			return p.reject(Corrupt, ReasonFrame, f.name, p.within(b, base, in.at, bad), fmt.Sprintf("%.40q is not written in hex", in.bytes))
		}
		frame = sc.buffer
	case asBase64:
		size = 4.0 / 3
		var ok bool
		if sc.buffer, ok = appendBase64(sc.buffer[:0], in.bytes); !ok {
			return p.reject(Corrupt, ReasonFrame, f.name, in.at, fmt.Sprintf("%.40q is not written in base64 (RFC 4648)", in.bytes))
		}
		frame = sc.buffer
	}
	said := *m
	r := p.inner.parse(frame, 0, sc.inner, &said)
	if r == nil {
		*m = said
		return nil
	}
	if m.lesson = said.lesson; r.Offset >= 0 {
		r.Detail = fmt.Sprintf("byte %d of the frame in %s: %s", r.Offset, f.name, r.Detail)
		r.Offset = p.within(b, base, in.at, int(size*float64(r.Offset)))
	}
	return r
}

// within is a place in the whole frame.
func (p *Program) within(b []byte, base, at, offset int) int {
	if at < 0 {
		return -1
	}
	return min(at+offset, base+len(b))
}

// appendHex reads pairs of hex digits, with spaces or colons between them or not,
// and says where there is none; -1 if all is well.
func appendHex(dst, text []byte) ([]byte, int) {
	for i := 0; i < len(text); {
		if c := text[i]; c == ' ' || c == ':' {
			i++
			continue
		}
		if i+2 > len(text) {
			return dst, i
		}
		var one [1]byte
		if _, err := hex.Decode(one[:], text[i:i+2]); err != nil {
			return dst, i
		}
		dst = append(dst, one[0])
		i += 2
	}
	return dst, -1
}

// appendBase64 reads both alphabets of RFC 4648, with padding or without.
func appendBase64(dst, text []byte) ([]byte, bool) {
	for len(text) > 0 && text[len(text)-1] == '=' {
		text = text[:len(text)-1]
	}
	enc := base64.RawStdEncoding
	for _, c := range text {
		if c == '-' || c == '_' {
			enc = base64.RawURLEncoding
			break
		}
	}
	dst, err := enc.AppendDecode(dst, text)
	return dst, err == nil
}
