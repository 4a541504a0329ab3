package guess

import (
	"regexp"
	"strings"
	"unicode"

	"padlark/decode"
)

// unitWords are what people write for a unit, in small letters.
var unitWords = map[string]string{
	"ms": "ms", "msec": "ms", "millis": "ms", "milliseconds": "ms", "millisecond": "ms",
	"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
	"us": "us", "µs": "us", "usec": "us", "micros": "us", "microseconds": "us",
	"pa": "Pa", "pascal": "Pa", "pascals": "Pa", "hpa": "hPa", "hectopascal": "hPa", "mbar": "mbar", "mb": "mbar", "millibar": "mbar",
	"kpa": "kPa", "inhg": "inHg", "psi": "psi", "bar": "bar",
	"c": "degC", "°c": "degC", "degc": "degC", "celsius": "degC", "f": "degF", "°f": "degF", "degf": "degF", "fahrenheit": "degF", "k": "K", "kelvin": "K",
	"m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m", "cm": "cm", "mm": "mm", "dm": "dm", "km": "km", "ft": "ft", "feet": "ft",
	"v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "millivolts": "mV", "cv": "cV",
	"m/s": "m/s", "mps": "m/s", "km/h": "km/h", "kmh": "km/h", "ft/s": "ft/s", "fps": "ft/s", "cm/s": "cm/s",
	"m/s²": "m/s2", "m/s2": "m/s2", "m/s^2": "m/s2", "mps2": "m/s2", "ms2": "m/s2", "g": "g", "gs": "g", "gee": "g", "mg": "mg",
	"deg": "deg", "°": "deg", "degree": "deg", "degrees": "deg", "dbm": "dBm", "db": "dB",
}

// meanings are what people call a quantity. The first that fits counts.
var meanings = []struct {
	role  string
	words string
}{
	{decode.LatitudeDeg, "lat latitude"},
	{decode.LongitudeDeg, "lon lng long longitude"},
	{decode.GPSFix, "fix gpsfix"},
	{decode.RSSIDbm, "rssi signal"},
	{decode.SNRDb, "snr"},
	{roleAccel, "a acc accel acceleration accelleration accelaration ax ay az accx accy accz"},
	{decode.PressurePa, "p press pressure pres baro barometer barometric"},
	{decode.TemperatureC, "temp temperature tmp tempc"},
	{decode.AltitudeM, "alt altitude height h hgt agl altitudem"},
	{decode.VelocityMps, "vel velocity speed vspeed climb vz"},
	{decode.CellV, "batt battery bat vbat vbatt cell volt voltage vcc lipo supply vin"},
	{roleServo, "servo release released chute parachute deploy deployed deployment ejection eject srv"},
	{decode.Armed, "armed arm"},
	{decode.FieldSeq, "seq n count packet counter frame index no num nr sequence msg pkt"},
	{decode.FieldBoot, "boot boots reboot resets"},
	{decode.FieldRocket, "id rocket team node board"},
	{decode.FieldClock, "t time millis micros clock uptime timestamp tick ticks flighttime ms us"},
}

// Roles that become a channel by their values.
const (
	roleServo = "servo"
	roleAccel = "accel"
)

// foreign words say that a column is not what another word of it says.
var foreign = map[string]bool{"gyro": true, "mag": true, "magnet": true, "rate": true, "angular": true, "strength": true, "humidity": true, "rh": true, "state": true, "mode": true, "sats": true, "descent": true}

// named is what a title says.
type named struct {
	role, unit, axis string
	gps, cell        bool
}

// inBrackets is a unit behind a name: "Pressure (hPa)", "temp [C]".
var inBrackets = regexp.MustCompile(`[(\[]\s*([^)\]]+?)\s*[)\]]`)

// Named says which field or channel a title may mean, and in which unit; both
// may be empty.
func Named(title string) (role, unit string) {
	n := readTitle(title)
	switch {
	case n.role == roleAccel && n.axis != "":
		return "accel_" + n.axis + "_mps2", n.unit
	case n.role == roleAccel:
		return decode.AccelMps2, n.unit
	case n.role == roleServo && n.unit == "us":
		return decode.ReleaseUs, n.unit
	case n.role == roleServo:
		return decode.ReleaseOn, n.unit
	}
	return n.role, n.unit
}

func readTitle(title string) (n named) {
	if m := inBrackets.FindStringSubmatch(title); m != nil {
		n.unit = unitWords[strings.ToLower(m[1])]
		title = inBrackets.ReplaceAllString(title, " ")
	}
	tokens := tokensOf(title)
	has := func(words string) bool {
		for _, t := range tokens {
			if strings.Contains(" "+words+" ", " "+t+" ") {
				return true
			}
		}
		return false
	}
	n.cell = has("batt battery bat vbat vbatt cell lipo supply")
	for _, t := range tokens {
		n.gps = n.gps || t == "gps"
		if foreign[t] {
			return named{unit: n.unit}
		}
		switch t {
		case "x", "y", "z":
			n.axis = t
		case "ax", "ay", "az", "accx", "accy", "accz":
			n.axis = t[len(t)-1:]
		}
	}
	for _, m := range meanings {
		if has(m.words) {
			n.role = m.role
			break
		}
	}
	if n.role == "" && len(tokens) == 1 {
		n.role, n.unit = roleOfUnit(tokens[0])
	}
	if n.gps && n.role == decode.AltitudeM {
		n.role = decode.GPSAltitudeM
	}
	if n.unit == "" && len(tokens) > 0 {
		last := tokens[len(tokens)-1]
		if len(tokens) > 1 || n.role == decode.FieldClock {
			n.unit = unitWords[last]
		}
	}
	return n
}

// roleOfUnit is for titles that are nothing but a unit, "ms,hPa,degC".
func roleOfUnit(word string) (role, unit string) {
	unit = unitWords[word]
	switch {
	case len([]rune(word)) < 2:
		return "", ""
	case unit == "hPa" || unit == "Pa" || unit == "kPa" || unit == "mbar" || unit == "inHg" || unit == "psi":
		return decode.PressurePa, unit
	case unit == "degC" || unit == "degF" || unit == "K":
		return decode.TemperatureC, unit
	case unit == "mV" || unit == "V":
		return decode.CellV, unit
	case unit == "m" || unit == "ft" || unit == "cm":
		return decode.AltitudeM, unit
	}
	return "", ""
}

// tokensOf splits a title at signs, digits and capitals, in small letters.
func tokensOf(title string) []string {
	var out []string
	var word []rune
	flush := func() {
		if len(word) > 0 {
			out = append(out, strings.ToLower(string(word)))
			word = nil
		}
	}
	runes := []rune(title)
	for i, r := range runes {
		switch {
		case !unicode.IsLetter(r) && r != '°' && r != 'µ':
			flush()
			continue
		case unicode.IsUpper(r) && i > 0 && unicode.IsLower(runes[i-1]) && !splitsUnit(runes, i):
			flush()
		}
		word = append(word, r)
	}
	flush()
	return out
}

// splitsUnit says whether a capital is inside of a unit such as hPa or mV.
func splitsUnit(r []rune, i int) bool {
	from := i
	for from > 0 && unicode.IsLetter(r[from-1]) {
		from--
	}
	to := i
	for to < len(r) && unicode.IsLetter(r[to]) {
		to++
	}
	_, isUnit := unitWords[strings.ToLower(string(r[from:to]))]
	return isUnit
}

// fieldName makes a possible name of a title, "" if nothing is left of it.
func fieldName(title string) string {
	name := strings.Join(asciiTokens(inBrackets.ReplaceAllString(title, " ")), "_")
	name = strings.TrimLeft(name, "0123456789_")
	if len(name) > 50 {
		name = name[:50]
	}
	return name
}

// asciiTokens are the letters and digits of a title, in small letters.
func asciiTokens(title string) []string {
	var b strings.Builder
	runes := []rune(title)
	for i, r := range runes {
		switch {
		case r < 128 && (unicode.IsLetter(r) || unicode.IsDigit(r)):
			if unicode.IsUpper(r) && i > 0 && unicode.IsLower(runes[i-1]) && !splitsUnit(runes, i) {
				b.WriteByte(' ')
			}
			b.WriteRune(unicode.ToLower(r))
		default:
			b.WriteByte(' ')
		}
	}
	return strings.Fields(b.String())
}
