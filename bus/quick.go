package bus

import (
	"encoding/base64"
	"strconv"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// Frames and samples come by the thousand a second, and reading their JSON by
// reflection takes as long as storing them. The readers here take exactly the
// form in which this package writes them: the fields in their order, no blanks,
// no escapes. For anything else they say no, and encoding/json reads it.

// quick reads one JSON text of a known form from left to right. Once bad is set
// the rest means nothing.
type quick struct {
	b   []byte
	i   int
	bad bool
}

// want steps over a fixed text.
func (q *quick) want(s string) {
	if q.bad || len(q.b)-q.i < len(s) || string(q.b[q.i:q.i+len(s)]) != s {
		q.bad = true
		return
	}
	q.i += len(s)
}

// maybe steps over a fixed text if it is there.
func (q *quick) maybe(s string) bool {
	if q.bad || len(q.b)-q.i < len(s) || string(q.b[q.i:q.i+len(s)]) != s {
		return false
	}
	q.i += len(s)
	return true
}

// text reads a string of plain ASCII; the result is part of the message.
func (q *quick) text() []byte {
	q.want(`"`)
	start := q.i
	for !q.bad && q.i < len(q.b) {
		switch c := q.b[q.i]; {
		case c == '"':
			q.i++
			return q.b[start : q.i-1]
		case c < ' ' || c > '~' || c == '\\':
			q.bad = true
		}
		q.i++
	}
	q.bad = true
	return nil
}

// number steps over a JSON number (RFC 8259, section 6).
func (q *quick) number() []byte {
	start := q.i
	q.maybe("-")
	if !q.maybe("0") {
		q.digits()
	}
	if q.maybe(".") {
		q.digits()
	}
	if q.maybe("e") || q.maybe("E") {
		if !q.maybe("+") {
			q.maybe("-")
		}
		q.digits()
	}
	return q.b[start:q.i]
}

func (q *quick) digits() {
	start := q.i
	for q.i < len(q.b) && q.b[q.i] >= '0' && q.b[q.i] <= '9' {
		q.i++
	}
	q.bad = q.bad || q.i == start
}

func (q *quick) float() float64 {
	v, err := strconv.ParseFloat(string(q.number()), 64)
	q.bad = q.bad || err != nil
	return v
}

func (q *quick) int() int64 {
	v, err := strconv.ParseInt(string(q.number()), 10, 64)
	q.bad = q.bad || err != nil
	return v
}

func (q *quick) uint(bits int) uint64 {
	v, err := strconv.ParseUint(string(q.number()), 10, bits)
	q.bad = q.bad || err != nil
	return v
}

func (q *quick) time() time.Time {
	var t time.Time
	if b := q.text(); !q.bad {
		q.bad = t.UnmarshalText(b) != nil
	}
	return t
}

// optional reads a number that is only there if it has a value.
func (q *quick) optional(key string) *float64 {
	if !q.maybe(key) {
		return nil
	}
	v := q.float()
	return &v
}

// done says whether all was as expected, to the last byte.
func (q *quick) done() bool { return !q.bad && q.i == len(q.b) }

func quickFrame(b []byte) (f ingest.Frame, ok bool) {
	q := quick{b: b}
	q.want(`{"session":`)
	f.Session = string(q.text())
	q.want(`,"link":`)
	f.Link = string(q.text())
	q.want(`,"n":`)
	f.N = q.uint(64)
	q.want(`,"heard":`)
	f.Heard = q.time()
	q.want(`,"mono_ns":`)
	f.Mono = q.int()
	q.want(`,"passed_ns":`)
	f.Passed = q.int()
	q.want(`,"wire":`)
	f.Wire = int(q.int())
	if q.maybe(`,"baud":`) {
		f.Baud = int(q.int())
	}
	f.RSSI = q.optional(`,"rssi_dbm":`)
	q.want(`,"bytes":`)
	text := q.text()
	q.want(`}`)
	if !q.done() {
		return f, false
	}
	f.Bytes = make([]byte, base64.StdEncoding.DecodedLen(len(text)))
	n, err := base64.StdEncoding.Decode(f.Bytes, text)
	f.Bytes = f.Bytes[:n]
	return f, err == nil
}

func quickSample(b []byte) (s decode.Sample, ok bool) {
	q := quick{b: b}
	q.want(`{"session":`)
	s.Session = string(q.text())
	q.want(`,"link":`)
	s.Link = string(q.text())
	q.want(`,"n":`)
	s.N = q.uint(64)
	q.want(`,"rocket":`)
	s.Rocket = string(q.text())
	q.want(`,"boot":`)
	s.Boot = uint32(q.uint(32))
	q.want(`,"seq":`)
	s.Seq = q.int()
	q.want(`,"clock_us":`)
	s.Clock = q.int()
	q.want(`,"heard":`)
	s.Heard = q.time()
	q.want(`,"at":`)
	s.At = q.time()
	q.want(`,"passed_ns":`)
	s.Passed = q.int()
	s.RSSI = q.optional(`,"rssi_dbm":`)
	q.want(`,"channels":`)
	s.Values = q.channels()
	q.want(`}`)
	return s, q.done()
}

// channels reads an object of numbers and sorts it by name.
func (q *quick) channels() decode.Channels {
	c := decode.Channels{Names: make([]string, 0, 8), Values: make([]float64, 0, 8)}
	q.want(`{`)
	for !q.bad && !q.maybe(`}`) {
		if len(c.Names) > 0 {
			q.want(`,`)
		}
		name := channelName(q.text())
		q.want(`:`)
		v := q.float()
		i := len(c.Names)
		c.Names, c.Values = append(c.Names, name), append(c.Values, v)
		for ; i > 0 && c.Names[i-1] >= name; i-- {
			if c.Names[i-1] == name {
				q.bad = true // twice: let the other reader settle it
			}
			c.Names[i], c.Values[i] = c.Names[i-1], c.Values[i-1]
		}
		c.Names[i], c.Values[i] = name, v
	}
	return c
}

// channelName makes a string of a channel's name; for those that padlark knows,
// without a copy.
func channelName(b []byte) string {
	switch string(b) {
	case decode.PressurePa:
		return decode.PressurePa
	case decode.TemperatureC:
		return decode.TemperatureC
	case decode.AltitudeM:
		return decode.AltitudeM
	case decode.VelocityMps:
		return decode.VelocityMps
	case decode.AccelMps2:
		return decode.AccelMps2
	case decode.CellV:
		return decode.CellV
	case decode.ReleaseUs:
		return decode.ReleaseUs
	case decode.ReleaseOn:
		return decode.ReleaseOn
	case decode.Armed:
		return decode.Armed
	}
	return string(b)
}
