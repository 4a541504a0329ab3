package aprs

import (
	"bytes"
	"math"
)

// Report is what one frame tells.
type Report struct {
	LatitudeDeg, LongitudeDeg float64
	AltitudeM                 float64 // above mean sea level
	CourseDeg                 float64
	SpeedMps                  float64 // over ground
	TimeS                     float64 // of the day, UTC, where it is told to the second
	Sequence                  float64 // of telemetry
	Analog                    [5]float64
	Bits                      [8]float64 // 0 or 1
	Comment                   []byte     // of the frame; what follows what is read
}

// Error says what a frame is instead of a report, and at which byte it shows.
type Error struct {
	Offset  int
	What    string
	Foreign bool // intact, and not of a kind that is read
}

func (e *Error) Error() string { return e.What }

const (
	footM   = 0.3048
	knotMps = 1852.0 / 3600
	unknown = "is no report of a position or of telemetry"
)

func (r *Report) clear() {
	nan := math.NaN()
	*r = Report{LatitudeDeg: nan, LongitudeDeg: nan, AltitudeM: nan, CourseDeg: nan, SpeedMps: nan, TimeS: nan, Sequence: nan}
	for i := range r.Analog {
		r.Analog[i] = nan
	}
	for i := range r.Bits {
		r.Bits[i] = nan
	}
}

// Read reads a frame sent to a destination address, as "APRS"; the address counts
// only where the position is in it.
func Read(to string, info []byte, r *Report) *Error {
	r.clear()
	if len(info) == 0 {
		return &Error{0, "it is empty", true}
	}
	switch info[0] {
	case '!', '=':
		return r.position(info, 1)
	case '/', '@':
		at, err := r.timestamp(info, 1)
		if err != nil {
			return err
		}
		return r.position(info, at)
	case '`', '\'', 0x1c, 0x1d:
		return r.micE(to, info)
	case 'T':
		return r.telemetry(info)
	}
	return &Error{0, string(appendQuoted(nil, info[:min(len(info), 12)])) + " " + unknown, true}
}

// timestamp reads hhmmssh, the time of the day; ddhhmmz and ddhhmm/ tell only
// minutes and are passed over (chapter 6).
func (r *Report) timestamp(b []byte, at int) (int, *Error) {
	if len(b) < at+7 {
		return 0, &Error{len(b), "it ends within its time", false}
	}
	v := [3]int{}
	for i := range v {
		n, ok := twoDigits(b[at+2*i:])
		if !ok {
			return 0, &Error{at + 2*i, "its time has no digits there", false}
		}
		v[i] = n
	}
	switch b[at+6] {
	case 'h':
		if v[0] > 23 || v[1] > 59 || v[2] > 59 {
			return 0, &Error{at, "there is no such time of the day", false}
		}
		r.TimeS = float64(3600*v[0] + 60*v[1] + v[2])
	case 'z', '/':
		if v[0] < 1 || v[0] > 31 || v[1] > 23 || v[2] > 59 {
			return 0, &Error{at, "there is no such day and time", false}
		}
	default:
		return 0, &Error{at + 6, "its time ends in none of h, z and /", false}
	}
	return at + 7, nil
}

func twoDigits(b []byte) (int, bool) {
	if len(b) < 2 || !isDigit(b[0]) || !isDigit(b[1]) {
		return 0, false
	}
	return 10*int(b[0]-'0') + int(b[1]-'0'), true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// position reads a position, which is compressed if it does not begin with a
// digit (chapter 9).
func (r *Report) position(b []byte, at int) *Error {
	if at >= len(b) {
		return &Error{at, "it ends before its position", false}
	}
	if !isDigit(b[at]) && b[at] != ' ' {
		return r.compressed(b, at)
	}
	const lat, lon = 8, 9
	if len(b) < at+lat+1+lon+1 {
		return &Error{len(b), "it ends within its position", false}
	}
	var bad int
	if r.LatitudeDeg, bad = degrees(b[at:at+lat], 2, 'N', 'S', 90); bad >= 0 {
		return &Error{at + bad, "its latitude is not written ddmm.hhN", false}
	}
	at += lat + 1 // the symbol's table
	if r.LongitudeDeg, bad = degrees(b[at:at+lon], 3, 'E', 'W', 180); bad >= 0 {
		return &Error{at + bad, "its longitude is not written dddmm.hhW", false}
	}
	r.comment(b[at+lon+1:])
	return nil
}

// degrees reads dd or ddd degrees, mm.hh minutes and a letter. Digits that are
// left out, with spaces in their place, make the position less exact: it is the
// middle of what is meant (chapter 6, "position ambiguity"). bad is the byte that
// does not belong there, -1 if all do.
func degrees(b []byte, whole int, plus, minus byte, most float64) (v float64, bad int) {
	n := len(b)
	var low, high float64 // of the minutes
	for i := range whole {
		if !isDigit(b[i]) {
			return 0, i
		}
		v = 10*v + float64(b[i]-'0')
	}
	if b[whole+2] != '.' {
		return 0, whole + 2
	}
	spaces := false
	for _, d := range [4]struct {
		at     int
		weight float64
		top    float64
	}{{whole, 10, 5}, {whole + 1, 1, 9}, {whole + 3, 0.1, 9}, {whole + 4, 0.01, 9}} {
		c := b[d.at]
		switch {
		case c == ' ':
			spaces = true
			high += d.top * d.weight
		case isDigit(c) && !spaces:
			low += float64(c-'0') * d.weight
			high += float64(c-'0') * d.weight
		default:
			return 0, d.at
		}
	}
	if spaces {
		high += 0.01
	}
	v += (low + high) / 2 / 60
	switch b[n-1] {
	case plus, plus | 0x20:
	case minus, minus | 0x20:
		v = -v
	default:
		return 0, n - 1
	}
	if low >= 60 || math.Abs(v) > most {
		return 0, 0
	}
	return v, -1
}

// compressed reads table, four digits each of latitude and longitude in base 91,
// symbol, two of course and speed, of height or of range, and what they are
// (chapter 9).
func (r *Report) compressed(b []byte, at int) *Error {
	if c := b[at]; c != '/' && c != '\\' && (c < 'A' || c > 'Z') && (c < 'a' || c > 'j') {
		return &Error{at, "no position begins so", false}
	}
	const size = 13
	if len(b) < at+size {
		return &Error{len(b), "it ends within its position", false}
	}
	lat, bad := base91(b[at+1 : at+5])
	if bad < 0 {
		var lon float64
		if lon, bad = base91(b[at+5 : at+9]); bad >= 0 {
			bad += 4
		}
		r.LatitudeDeg, r.LongitudeDeg = 90-lat/380926, -180+lon/190463
	}
	if bad >= 0 {
		return &Error{at + 1 + bad, "its position has a character there that no number in base 91 has", false}
	}
	if math.Abs(r.LatitudeDeg) > 90 || math.Abs(r.LongitudeDeg) > 180 {
		return &Error{at + 1, "there is no such place", false}
	}
	c, s, kind := b[at+10], b[at+11], b[at+12]-33
	r.comment(b[at+size:])
	cs, bad := base91(b[at+10 : at+12])
	switch {
	case c == ' ' || bad >= 0 || c == '{': // nothing, or the range of a radio
	case kind>>3&3 == 2: // from a GGA sentence
		r.AltitudeM = math.Pow(1.002, cs) * footM
	case c <= 'z':
		r.CourseDeg = 4 * float64(c-33)
		r.SpeedMps = (math.Pow(1.08, float64(s-33)) - 1) * knotMps
	}
	return nil
}

// base91 reads a number whose digits are ! to {. bad is the byte that is none.
func base91(b []byte) (v float64, bad int) {
	for i, c := range b {
		if c < '!' || c > '{' {
			return 0, i
		}
		v = 91*v + float64(c-33)
	}
	return v, -1
}

// comment reads what may stand in front of a comment, course and speed, and what
// may stand anywhere in it, the height.
func (r *Report) comment(b []byte) {
	if len(b) >= 7 && b[3] == '/' {
		course, ok1 := threeDigits(b[:3])
		speed, ok2 := threeDigits(b[4:7])
		if ok1 && ok2 && course <= 360 {
			if course > 0 { // 000 is unknown
				r.CourseDeg = course
			}
			r.SpeedMps = speed * knotMps
			b = b[7:]
		}
	}
	if at := bytes.Index(b, []byte("/A=")); at >= 0 && len(b) >= at+9 {
		digits, sign := b[at+3:at+9], 1.0
		if digits[0] == '-' {
			digits, sign = digits[1:], -1
		}
		v := 0.0
		for _, c := range digits {
			if !isDigit(c) {
				v = math.NaN()
			}
			v = 10*v + float64(c-'0')
		}
		if !math.IsNaN(v) {
			r.AltitudeM = sign * v * footM
			if at == 0 {
				b = b[9:]
			}
		}
	}
	r.Comment = b
}

func threeDigits(b []byte) (float64, bool) {
	v := 0.0
	for _, c := range b {
		if !isDigit(c) {
			return 0, false
		}
		v = 10*v + float64(c-'0')
	}
	return v, true
}

// appendQuoted writes bytes so that they can be shown.
func appendQuoted(dst, b []byte) []byte {
	dst = append(dst, '"')
	for _, c := range b {
		if c < ' ' || c > '~' {
			c = '.'
		}
		dst = append(dst, c)
	}
	return append(dst, '"')
}
