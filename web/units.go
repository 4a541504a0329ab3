package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"padlark/flight"
)

// system is the units that a reader chose for lengths, speeds and
// accelerations. What is stored and sent is metric; it is converted where it is
// written for a person, and static/units.js does the same in the browser.
type system string

const (
	metric system = "metric"
	feet   system = "feet"
)

// footM is the international foot of 1959, in m, exactly.
const footM = 0.3048

// unitsCookie is where the pages' switch leaves the choice for the server.
const unitsCookie = "padlark-units"

// readUnits finds the units for an answer: what the address asks for with
// units=, or else what was chosen on the pages.
func readUnits(r *http.Request) (system, error) {
	switch v := r.URL.Query().Get("units"); v {
	case "":
	case string(metric), string(feet):
		return system(v), nil
	default:
		return metric, badRequest("units", v, "give metric or feet")
	}
	if c, err := r.Cookie(unitsCookie); err == nil && c.Value == string(feet) {
		return feet, nil
	}
	return metric, nil
}

// unitOf names the unit that a kind of quantity is shown in.
func (u system) unitOf(kind string) string {
	if u == feet {
		switch kind {
		case "height":
			return "ft"
		case "speed":
			return "ft/s"
		case "accel":
			return "ft/s²"
		}
	}
	switch kind {
	case "height":
		return "m"
	case "speed":
		return "m/s"
	case "accel":
		return "m/s²"
	case "time":
		return "s"
	case "volts":
		return "V"
	}
	return ""
}

// convert takes an SI value to the unit that it is shown in.
func (u system) convert(kind string, si float64) float64 {
	if u == feet && (kind == "height" || kind == "speed" || kind == "accel") {
		return si / footM
	}
	return si
}

// Num writes a value with its unit and ± one standard deviation, with as many
// decimals as the deviation bears; "not known" when it is not.
func (u system) Num(kind string, v, sd *float64) string {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return "not known"
	}
	unit := u.unitOf(kind)
	if sd == nil || math.IsNaN(*sd) || *sd <= 0 {
		return trimMinus(fmt.Sprintf("%.*f %s", decimalsFor(kind), u.convert(kind, *v), unit))
	}
	s := u.convert(kind, *sd)
	d := plusDecimals(s)
	return trimMinus(fmt.Sprintf("%.*f ± %.*f %s", d, u.convert(kind, *v), d, s, unit))
}

// saying is a sentence of the record with what its numbers were rounded from.
// Data goes into the page for the script that changes the units there.
type saying struct {
	Text  string // in the units asked for
	Data  string // JSON of what said takes
	Class string // of a verdict
}

// said is the sentence as the record has it, the exact values that are known of
// its numbers (SI), and names, in which nothing is a quantity.
type said struct {
	Text  string    `json:"text"`
	Exact []float64 `json:"exact"`
	Names []string  `json:"names"`
}

func (u system) saying(s said) saying {
	return saying{Text: u.write(s), Data: string(encode(s)), Class: verdictWord(s.Text)}
}

// Verdict is a flight's verdict. Its speeds are those of the result where it
// has them.
func (u system) Verdict(r flight.Result) saying {
	s := said{Text: r.Verdict, Exact: []float64{}, Names: []string{r.Rocket}}
	for _, v := range []*float64{r.DescentMps, r.MaxSpeedMps, r.ApogeeM} {
		if v != nil && !math.IsNaN(*v) && !math.IsInf(*v, 0) {
			s.Exact = append(s.Exact, *v)
		}
	}
	return u.saying(s)
}

// Alarm is what an alarm says at length.
func (u system) Alarm(a flight.Alarm) saying {
	return u.saying(said{Text: a.Reason, Exact: []float64{}, Names: []string{a.Rocket, a.Link}})
}

// Words is any other sentence of ours, about a rocket or about none.
func (u system) Words(text, rocket string) saying {
	return u.saying(said{Text: text, Exact: []float64{}, Names: []string{rocket}})
}

// spokenUnits are the units that sentences of the record use, longest first.
var spokenUnits = [...]struct{ unit, in string }{
	{"m/s²", "ft/s²"}, {"m/s2", "ft/s2"}, {"m/s", "ft/s"}, {"m", "ft"},
}

// write gives a sentence in these units. The record keeps sentences as they
// were said, and nothing else of what an alarm measured: so their numbers are
// read again from the form in which our own code writes each of them, "number,
// space, unit". A number with more digits known is converted from those.
func (u system) write(s said) string {
	if u != feet {
		return s.Text
	}
	var out strings.Builder
	rest := s.Text
	before := byte(' ')
	for rest != "" {
		if n := nameAt(rest, s.Names); n > 0 {
			out.WriteString(rest[:n])
			before, rest = rest[n-1], rest[n:]
			continue
		}
		if number, unit, in := quantityAt(rest); number != "" && !partOfWord(before) && before != '.' {
			out.WriteString(inFeet(number, s.Exact))
			rest = rest[len(number):]
			if before = 'm'; unit != "" {
				out.WriteString(" " + in)
				rest = rest[1+len(unit):]
			}
			continue
		}
		out.WriteByte(rest[0])
		before, rest = rest[0], rest[1:]
	}
	return out.String()
}

// nameAt is how much of a text one of the names takes up at its beginning.
func nameAt(text string, names []string) int {
	most := 0
	for _, n := range names {
		if len(n) > most && strings.HasPrefix(text, n) {
			most = len(n)
		}
	}
	return most
}

// quantityAt reads a number and a unit at the beginning of a text; all empty
// where there is none. In "2 of 3 m" and "2 to 3 m" the first number has the
// second one's unit, and none of its own.
func quantityAt(text string) (number, unit, in string) {
	n := len(text) - len(strings.TrimLeft(text, "0123456789"))
	if n == 0 {
		return "", "", ""
	}
	if tail := text[n:]; strings.HasPrefix(tail, ".") {
		if k := len(tail) - 1 - len(strings.TrimLeft(tail[1:], "0123456789")); k > 0 {
			n += 1 + k
		}
	}
	tail, spaced := strings.CutPrefix(text[n:], " ")
	if !spaced {
		return "", "", ""
	}
	for _, k := range spokenUnits {
		end, ok := strings.CutPrefix(tail, k.unit)
		if ok && (end == "" || !partOfWord(end[0]) && end[0] != '/' && end[0] < 0x80) { // m² is no length
			return text[:n], k.unit, k.in
		}
	}
	for _, joined := range [...]string{"of ", "to "} {
		if next, ok := strings.CutPrefix(tail, joined); ok {
			if second, unit, _ := quantityAt(next); second != "" && unit != "" {
				return text[:n], "", ""
			}
		}
	}
	return "", "", ""
}

// partOfWord says whether what follows such a byte goes on with it: "V2 m" holds
// no quantity.
func partOfWord(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_'
}

// inFeet converts a number as it is written, with as many decimals, or the
// exact value that it was rounded from.
func inFeet(number string, exact []float64) string {
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return number
	}
	_, after, _ := strings.Cut(number, ".")
	d := len(after)
	if i := slices.IndexFunc(exact, func(x float64) bool { return strconv.FormatFloat(math.Abs(x), 'f', d, 64) == number }); i >= 0 {
		v = math.Abs(exact[i])
	}
	return strconv.FormatFloat(v/footM, 'f', d, 64)
}

// verdictWord is the verdict's first word, for its shape and colour.
func verdictWord(v string) string {
	word, _, _ := strings.Cut(v, ":")
	switch word {
	case "good", "look", "bad":
		return word
	}
	return "look"
}
