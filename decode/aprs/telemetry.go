package aprs

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// telemetry reads T#sss,aaa,aaa,aaa,aaa,aaa,bbbbbbbb and a comment (chapter 13).
// Values may have decimals and a sign, as is done besides the standard, and those
// at the end may be left out.
func (r *Report) telemetry(b []byte) *Error {
	if len(b) < 2 || b[1] != '#' {
		return &Error{0, string(appendQuoted(nil, b[:min(len(b), 12)])) + " " + unknown, true}
	}
	at := 2
	for i := range 7 {
		end := bytes.IndexByte(b[at:], ',')
		if end < 0 {
			end = len(b) - at
		}
		text := b[at : at+end]
		switch {
		case i == 0 && (len(text) == 0 || string(text) == "MIC"): // no number
		case i == 6:
			if r.Comment = r.bits(text); r.Comment == nil {
				return &Error{at, fmt.Sprintf("%.12q is not eight bits", text), false}
			}
		case len(text) == 0: // not measured
		default:
			v, err := strconv.ParseFloat(string(text), 64)
			if err != nil || len(text) > 16 || strings.ContainsAny(string(text), "xXnNiI_") {
				return &Error{at, fmt.Sprintf("%.16q is no number", text), false}
			}
			if i == 0 {
				r.Sequence = v
			} else {
				r.Analog[i-1] = v
			}
		}
		if at += end; at == len(b) {
			if i < 1 {
				return &Error{at, "it ends before its first value", false}
			}
			return nil
		}
		if at++; i == 6 {
			break
		}
	}
	return nil
}

// bits reads eight bits and gives what follows them; nil if they are none.
func (r *Report) bits(b []byte) []byte {
	if len(b) < 8 {
		return nil
	}
	for i, c := range b[:8] {
		if c != '0' && c != '1' {
			return nil
		}
		r.Bits[i] = float64(c - '0')
	}
	return b[8:]
}

// Definition is what a station says once of its telemetry: one of four messages.
type Definition struct {
	Of    string        // the callsign that it is about
	Kind  string        // PARM, UNIT, EQNS or BITS
	Names []string      // of PARM and UNIT: five values, then eight bits
	Poly  [5][3]float64 // of EQNS: a, b, c of a*v*v + b*v + c
	Sense [8]bool       // of BITS: what a bit is when what it names holds
}

// ReadDefinition reads such a message; ok is false if the frame is none.
func ReadDefinition(info []byte) (d Definition, ok bool, bad *Error) {
	const head = 11 // :callsign-.:
	if len(info) < head+5 || info[0] != ':' || info[10] != ':' || info[head+4] != '.' {
		return d, false, nil
	}
	d.Of, d.Kind = strings.TrimRight(string(info[1:10]), " "), string(info[head:head+4])
	text, _, _ := strings.Cut(string(info[head+5:]), "{") // a message number
	parts := strings.Split(text, ",")
	switch d.Kind {
	case "PARM", "UNIT":
		if len(parts) > 13 {
			return d, true, &Error{head, fmt.Sprintf("it has %d names where 13 are possible", len(parts)), false}
		}
		for _, p := range parts {
			d.Names = append(d.Names, strings.TrimSpace(p))
		}
	case "EQNS":
		for i := range d.Poly {
			d.Poly[i] = [3]float64{0, 1, 0}
		}
		if len(parts) > 15 {
			return d, true, &Error{head, fmt.Sprintf("it has %d numbers where 15 are possible", len(parts)), false}
		}
		for i, p := range parts {
			if p = strings.TrimSpace(p); p == "" {
				continue
			}
			v, err := strconv.ParseFloat(p, 64)
			if err != nil || strings.ContainsAny(p, "xXnNiI_") {
				return d, true, &Error{head, fmt.Sprintf("%.16q is no number", p), false}
			}
			d.Poly[i/3][i%3] = v
		}
	case "BITS":
		if len(parts[0]) < 8 {
			return d, true, &Error{head, "it does not have eight bits", false}
		}
		for i := range d.Sense {
			d.Sense[i] = parts[0][i] == '1'
		}
	default:
		return d, false, nil
	}
	return d, true, nil
}
