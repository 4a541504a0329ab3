package report

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Typed is what people wrote about a flight's set-up. Unknown is nil.
type Typed struct {
	FillMl      *float64 `json:"fill_ml"`
	PressureBar *float64 `json:"pressure_bar"` // above the air
	MassG       *float64 `json:"mass_g"`
	NozzleMm    *float64 `json:"nozzle_mm"`
	WindMps     *float64 `json:"wind_mps"`
}

// measured is a number with a unit in a note.
var measured = regexp.MustCompile(`(?i)\b([0-9]{1,6}(?:[.,][0-9]{1,4})?)\s*(ml|cl|l|bar|kpa|psi|kg|g|mm|cm|m/s|km/h|kn)\b`)

// before and after are the words on either side of it; a word before stands at
// the start, after a comma or after another quantity, as in "fill 650 mL",
// "pressure=4.0 bar" and "650 mL water, 4 bar".
var (
	before = regexp.MustCompile(`(?i)(?:^|[^\p{L}])(\p{L}+)\s*[=:]?\s*$`)
	after  = regexp.MustCompile(`(?i)^\s*(?:of\s+)?(\p{L}+)`)
)

// kinds of quantities by the words for them.
var kindOf = map[string]string{
	"fill": "fill", "water": "fill", "pressure": "pressure", "mass": "mass", "weight": "mass", "nozzle": "nozzle", "wind": "wind",
}

// joins are words that may stand before a quantity that is named by its unit alone.
var joins = map[string]bool{"and": true, "at": true, "with": true}

// perUnit turns a unit into mL, bar, g, mm or m/s.
var perUnit = map[string]map[string]float64{
	"fill":     {"ml": 1, "cl": 10, "l": 1000},
	"pressure": {"bar": 1, "kpa": 0.01, "psi": 0.0689476},
	"mass":     {"g": 1, "kg": 1000},
	"nozzle":   {"mm": 1, "cm": 10},
	"wind":     {"m/s": 1, "km/h": 1 / 3.6, "kn": 1852.0 / 3600},
}

// ReadTyped finds quantities in notes: by a word beside the number, or by the unit
// where the quantity stands alone between commas. A later note overrides an earlier
// one; a quantity with a unit that is none of its kind is passed over.
func ReadTyped(notes []string) Typed {
	var t Typed
	into := map[string]**float64{
		"fill": &t.FillMl, "pressure": &t.PressureBar, "mass": &t.MassG, "nozzle": &t.NozzleMm, "wind": &t.WindMps,
	}
	for _, note := range notes {
		from := 0 // end of the last quantity, with its word
		for _, m := range measured.FindAllStringSubmatchIndex(note, -1) {
			if m[0] < from {
				continue
			}
			unit := strings.ToLower(note[m[4]:m[5]])
			kind, end := kindIn(note[from:m[0]], note[m[1]:], unit)
			from = m[1] + end
			scale, ok := perUnit[kind][unit]
			v, err := strconv.ParseFloat(strings.Replace(note[m[2]:m[3]], ",", ".", 1), 64)
			if !ok || err != nil {
				continue
			}
			v *= scale
			*into[kind] = &v
		}
	}
	return t
}

// kindIn says what a number with a unit is, "" if that is not clear; end is how
// much of what follows belongs to it.
func kindIn(lead, tail, unit string) (kind string, end int) {
	if m := before.FindStringSubmatch(lead); m != nil && !joins[strings.ToLower(m[1])] {
		return kindOf[strings.ToLower(m[1])], 0
	}
	if m := after.FindStringSubmatchIndex(tail); m != nil {
		word := strings.ToLower(tail[m[2]:m[3]])
		if kind, ok := kindOf[word]; ok && perUnit[kind][unit] != 0 {
			return kind, m[1]
		}
		if !joins[word] && kindOf[word] == "" {
			return "", 0 // "a 2 l bottle" is no fill
		}
	}
	for kind, units := range perUnit {
		if kind != "nozzle" && kind != "wind" && units[unit] != 0 {
			return kind, 0
		}
	}
	return "", 0
}

// Words are the quantities in words, "" without any.
func (t Typed) Words() string {
	var out []string
	add := func(name string, v *float64, decimals int, unit string) {
		if v != nil {
			pow := math.Pow10(decimals)
			out = append(out, fmt.Sprintf("%s %s %s", name, strconv.FormatFloat(math.Round(*v*pow)/pow, 'f', -1, 64), unit))
		}
	}
	add("water", t.FillMl, 0, "mL")
	add("pressure", t.PressureBar, 2, "bar")
	add("mass", t.MassG, 0, "g")
	add("nozzle", t.NozzleMm, 1, "mm")
	add("wind", t.WindMps, 1, "m/s")
	return strings.Join(out, ", ")
}
