package decode

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"time"
)

// GPSTime reads the UTC of a receiver's fix from a line: an NMEA sentence, or a
// report of gpsd. ok is false for every other line.
func GPSTime(line []byte) (t time.Time, ok bool) {
	if bytes.HasPrefix(line, []byte(`{"class":"TPV"`)) {
		return gpsdTime(line)
	}
	return nmeaTime(line)
}

// gpsdTime reads the time of a position report of gpsd (gpsd_json(5)): mode 2 and 3
// are fixes in two and three dimensions.
func gpsdTime(line []byte) (t time.Time, ok bool) {
	var report struct {
		Mode int       `json:"mode"`
		Time time.Time `json:"time"`
	}
	if json.Unmarshal(line, &report) != nil || report.Mode < 2 || report.Time.IsZero() {
		return t, false
	}
	return report.Time.UTC(), true
}

// nmeaTime reads UTC from an NMEA 0183 (IEC 61162-1) sentence RMC or ZDA of any
// talker:
//
//	$--RMC,hhmmss.ss,A,llll.ll,a,yyyyy.yy,a,x.x,x.x,ddmmyy,...*HH
//	$--ZDA,hhmmss.ss,dd,mm,yyyy,...*HH
//
// ok is false for every other line, for a wrong or missing checksum, for an RMC
// whose receiver has no fix (status V), and for a time that does not exist. The
// time is that of the fix; the sentence follows it within the same second. RMC
// has two digits of the year: 80 to 99 are of the last century.
func nmeaTime(line []byte) (t time.Time, ok bool) {
	line = trimEnd(line)
	star := bytes.LastIndexByte(line, '*')
	if len(line) < 8 || line[0] != '$' || star != len(line)-3 {
		return t, false
	}
	var sum byte
	for _, c := range line[1:star] {
		sum ^= c
	}
	if want, ok := parseHex(line[star+1:]); !ok || want != uint32(sum) {
		return t, false
	}
	f := bytes.Split(line[1:star], []byte(","))
	if len(f[0]) != 5 {
		return t, false
	}
	switch string(f[0][2:]) {
	case "RMC":
		if len(f) < 10 || string(f[2]) != "A" || len(f[9]) != 6 {
			return t, false
		}
		day, ok1 := digits(f[9][:2], 2)
		month, ok2 := digits(f[9][2:4], 2)
		year, ok3 := digits(f[9][4:], 2)
		if year += 2000; year >= 2080 {
			year -= 100
		}
		return gpsMoment(f[1], year, month, day, ok1 && ok2 && ok3)
	case "ZDA":
		if len(f) < 5 {
			return t, false
		}
		day, ok1 := digits(f[2], 2)
		month, ok2 := digits(f[3], 2)
		year, ok3 := digits(f[4], 4)
		return gpsMoment(f[1], year, month, day, ok1 && ok2 && ok3)
	}
	return t, false
}

// gpsMoment joins date and time of day. A leap second (60) counts as the second
// after.
func gpsMoment(clock []byte, year, month, day int, ok bool) (time.Time, bool) {
	if !ok || len(clock) < 6 {
		return time.Time{}, false
	}
	h, ok1 := digits(clock[:2], 2)
	m, ok2 := digits(clock[2:4], 2)
	s, ok3 := digits(clock[4:6], 2)
	part := 0.0
	if len(clock) > 6 {
		if clock[6] != '.' || len(clock) > 16 {
			return time.Time{}, false
		}
		for _, c := range clock[7:] {
			if c < '0' || c > '9' {
				return time.Time{}, false
			}
		}
		part, _ = strconv.ParseFloat("0"+string(clock[6:])+"0", 64)
	}
	if !ok1 || !ok2 || !ok3 || h > 23 || m > 59 || s > 60 {
		return time.Time{}, false
	}
	date := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if date.Day() != day || date.Month() != time.Month(month) {
		return time.Time{}, false // 31 February
	}
	inDay := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
	return date.Add(inDay + time.Duration(math.Round(part*1e9))), true
}

// digits reads exactly n decimal digits.
func digits(b []byte, n int) (int, bool) {
	if len(b) != n {
		return 0, false
	}
	v := 0
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = 10*v + int(c-'0')
	}
	return v, true
}
