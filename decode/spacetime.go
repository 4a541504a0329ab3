package decode

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Time codes (CCSDS 301.0-B-4), big-endian always, without the byte in front that
// says which they are (the P-field; a field of type u8 with only can check it):
//
//	unsegmented (CUC, 3.2)      | seconds 1 to 4 | fraction 0 to 4: 1/256 s, 1/65536 s … |
//	day segmented (CDS, 3.3)    | day 2 or 3 | ms of the day 4 | us 2, or ps 4, or none |
//
// Both give s since their epoch. Which epoch that is does not matter: only how
// time goes on.

// spaceTime knows cucS.F, and cds or cds24 with -us or -ps behind it.
func (c *compiler) spaceTime(name string, f *field) (size int, kind numberKind, ok bool) {
	if rest, is := strings.CutPrefix(name, "cuc"); is {
		whole, part, _ := strings.Cut(rest, ".")
		n, err := strconv.Atoi(whole)
		m, err2 := strconv.Atoi("0" + part)
		f.coarse = n
		return n + m, kindCUC, err == nil && err2 == nil && n >= 1 && n <= 4 && m >= 0 && m <= 4
	}
	f.coarse = 2
	rest, is := strings.CutPrefix(name, "cds")
	if after, long := strings.CutPrefix(rest, "24"); long {
		f.coarse, rest = 3, after
	}
	fine, known := map[string]int{"": 0, "-us": 2, "-ps": 4}[rest]
	return f.coarse + 4 + fine, kindCDS, is && known
}

const (
	dayS  = 86400
	dayMs = 86400e3
)

// readSpaceTime reads a time; one that no clock shows is missing.
func (f *field) readSpaceTime(b []byte) float64 {
	coarse := float64(getUint(b[:f.coarse], true))
	if f.kind == kindCUC {
		return coarse + math.Ldexp(float64(getUint(b[f.coarse:], true)), -8*(len(b)-f.coarse))
	}
	ms := float64(getUint(b[f.coarse:f.coarse+4], true))
	if ms >= dayMs+1000 { // the last second of a day may be one longer
		return math.NaN()
	}
	v := coarse*dayS + ms/1e3
	switch fine := b[f.coarse+4:]; len(fine) {
	case 2:
		v += float64(getUint(fine, true)) / 1e6
	case 4:
		v += float64(getUint(fine, true)) / 1e12
	}
	return v
}

// putSpaceTime writes a time in s since the epoch.
func (f *field) putSpaceTime(b []byte, v float64) error {
	if f.kind == kindCUC {
		units := math.RoundToEven(math.Ldexp(v, 8*(len(b)-f.coarse)))
		if units >= math.Ldexp(1, 8*len(b)) || units >= 1<<63 {
			return fmt.Errorf("%v s do not fit into %d bytes of seconds", v, f.coarse)
		}
		putUint(b, true, uint64(units))
		return nil
	}
	day := math.Floor(v / dayS)
	if day >= math.Ldexp(1, 8*f.coarse) {
		return fmt.Errorf("%v s do not fit into %d bytes of days", v, f.coarse)
	}
	putUint(b[:f.coarse], true, uint64(day))
	fine, scale := b[f.coarse+4:], 1.0
	switch len(fine) {
	case 2:
		scale = 1e3
	case 4:
		scale = 1e9
	}
	units := min(math.Round((v-day*dayS)*1e3*scale), dayMs*scale-1)
	putUint(b[f.coarse:f.coarse+4], true, uint64(units/scale))
	putUint(fine, true, uint64(math.Mod(units, scale)))
	return nil
}
