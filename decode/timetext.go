package decode

import (
	"math"
	"time"
)

// Times are written in many ways that differ only in what stands between the
// numbers:
//
//	10:15:30.250            22:13:08,5 PM
//	2022-10-29--13-08-13-298
//	2022-10-29T13:08:13.298+02:00    (RFC 3339)
//	20221029T130813Z                 (ISO 8601, basic form)
//	29.10.2022 13:08:13              10/29/2022 1:08 PM
//
// So the numbers alone are read, in the order that the unit tells.

// mostNumbers of a time: year, month, day, hour, minute, second, its fraction.
const mostNumbers = 7

// timeNumbers are the numbers of a written time.
type timeNumbers struct {
	v      [mostNumbers]int
	digits [mostNumbers]int
	n      int
	zone   int  // s east of Greenwich
	pm, am bool // twelve hours
}

// readTime reads a time: s of the day for clockTime, else s since 1970 (UTC if it
// tells no zone).
func readTime(b []byte, format textFormat) (float64, bool) {
	var t timeNumbers
	if len(b) > 48 || !t.scan(b, format != clockTime) {
		return 0, false
	}
	if format == clockTime {
		return t.clock(0)
	}
	day, ok := t.date(format)
	if !ok {
		return 0, false
	}
	s, ok := t.clock(3)
	return day + s - float64(t.zone), ok
}

// TimeUnits are the units of times that are written out, such as "hh:mm:ss".
func TimeUnits() []string {
	var out []string
	for _, u := range units() {
		if u.format >= clockTime {
			out = append(out, u.name)
		}
	}
	return out
}

// ReadTime reads times that are written in one of TimeUnits: s of the day, or since
// 1970 where the unit has a date.
func ReadTime(unit string) func(text string) (s float64, ok bool) {
	u, _ := findUnit(unit)
	return func(text string) (float64, bool) { return readTime([]byte(text), u.format) }
}

// scan takes the numbers apart.
func (t *timeNumbers) scan(b []byte, dated bool) bool {
	colon := false
	for i := 0; i < len(b); {
		c := b[i]
		if c < '0' || c > '9' {
			switch {
			case c == 'Z' || c == 'z':
				return i == len(b)-1 && t.n > 0
			case (c == '+' || c == '-' && colon) && t.n >= 2 && isZone(b[i+1:]):
				t.zone = zoneOf(b[i+1:])
				if c == '-' {
					t.zone = -t.zone
				}
				return dated
			case (c|0x20 == 'a' || c|0x20 == 'p') && i+1 < len(b) && b[i+1]|0x20 == 'm':
				t.am, t.pm = c|0x20 == 'a', c|0x20 == 'p'
				return i+2 == len(b) && t.n > 0
			case !isBetween(c):
				return false
			}
			colon = colon || c == ':'
			i++
			continue
		}
		v, from := int64(0), i
		for ; i < len(b) && b[i] >= '0' && b[i] <= '9'; i++ {
			if v < 1e16 { // more digits of a fraction than matter
				v = 10*v + int64(b[i]-'0')
			}
		}
		if !t.add(v, i-from, dated) {
			return false
		}
	}
	return t.n > 0
}

// add takes a number, or several that are written together.
func (t *timeNumbers) add(v int64, digits int, dated bool) bool {
	switch start := t.n; {
	case dated && start == 0 && digits == 14: // yyyymmddhhmmss
		return t.add(v/1e6, 8, true) && t.add(v%1e6, 6, true)
	case dated && start == 0 && digits == 8:
		return t.one(v/10000, 4) && t.one(v/100%100, 2) && t.one(v%100, 2)
	case digits == 6 && (start == 3 && dated || start == 0 && !dated): // hhmmss
		return t.one(v/10000, 2) && t.one(v/100%100, 2) && t.one(v%100, 2)
	}
	return t.one(v, digits)
}

func (t *timeNumbers) one(v int64, digits int) bool {
	if t.n == mostNumbers || digits > 16 {
		return false
	}
	for ; digits > 9; digits-- { // a computer of 32 bits holds no more, and a ns is enough
		v /= 10
	}
	t.v[t.n], t.digits[t.n] = int(v), digits
	t.n++
	return true
}

// isBetween says whether a byte may stand between the numbers.
func isBetween(c byte) bool {
	switch c {
	case ' ', ':', '-', '/', '.', ',', '_', 'T', 't', 'h', 'm', 's', '"', '\'':
		return true
	}
	return false
}

// isZone knows hh, hhmm and hh:mm.
func isZone(b []byte) bool {
	switch len(b) {
	case 2, 4:
	case 5:
		if b[2] != ':' {
			return false
		}
		b = append(append(make([]byte, 0, 4), b[:2]...), b[3:]...)
	default:
		return false
	}
	_, ok := digits(b, len(b))
	return ok
}

// zoneOf is a zone in s.
func zoneOf(b []byte) int {
	h, _ := digits(b[:2], 2)
	m := 0
	if len(b) > 2 {
		m, _ = digits(b[len(b)-2:], 2)
	}
	return 3600*h + 60*m
}

// clock is the time of day in s whose numbers begin at from: hours, minutes,
// seconds, a fraction, of which the later ones may be left out.
func (t *timeNumbers) clock(from int) (float64, bool) {
	if n := t.n - from; n == 0 && from > 0 {
		return 0, true // a day alone
	} else if n < 2 || n > 4 {
		return 0, false
	}
	h, m := t.v[from], t.v[from+1]
	if t.am || t.pm {
		if h < 1 || h > 12 {
			return 0, false
		}
		h %= 12
		if t.pm {
			h += 12
		}
	}
	s := 0.0
	if t.n > from+2 {
		s = float64(t.v[from+2])
	}
	if h > 23 || m > 59 || s > 60 {
		return 0, false
	}
	if t.n > from+3 {
		s += float64(t.v[from+3]) / math.Pow10(t.digits[from+3])
	}
	return float64(3600*h+60*m) + s, true
}

// date is the day's beginning in s since 1970.
func (t *timeNumbers) date(format textFormat) (float64, bool) {
	if t.n < 3 {
		return 0, false
	}
	y, m, d := 0, 1, 2
	switch format {
	case dayMonthYear:
		y, m, d = 2, 1, 0
	case monthDayYear:
		y, m, d = 2, 0, 1
	}
	year := t.v[y]
	switch {
	case t.digits[y] == 2:
		year += 2000
	case t.digits[y] != 4:
		return 0, false
	}
	day := time.Date(year, time.Month(t.v[m]), t.v[d], 0, 0, 0, 0, time.UTC)
	if day.Day() != t.v[d] || int(day.Month()) != t.v[m] {
		return 0, false // 31 February
	}
	return float64(day.Unix()), true
}

// appendTime writes a time as readTime reads it.
func appendTime(dst []byte, s float64, format textFormat) []byte {
	const clock = "15:04:05.000"
	layout := clock
	switch format {
	case yearMonthDay:
		layout = "2006-01-02T" + clock + "Z"
	case dayMonthYear:
		layout = "02.01.2006 " + clock
	case monthDayYear:
		layout = "01/02/2006 " + clock
	}
	ms := int64(math.Round(s * 1000))
	return time.UnixMilli(ms).UTC().AppendFormat(dst, layout)
}
