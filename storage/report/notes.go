package report

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Typed is what people wrote about a flight's set-up. Unknown is nil.
type Typed struct {
	FillMl      *float64 `json:"fill_ml"`
	PressureBar *float64 `json:"pressure_bar"` // above the air
	MassG       *float64 `json:"mass_g"`
}

// typedForm is one quantity in a note: "fill 650 mL", "pressure=4.0 bar",
// "mass: 152 g".
var typedForm = regexp.MustCompile(`(?i)\b(fill|water|pressure|mass)\s*[=:]?\s*([0-9]{1,6}(?:[.,][0-9]{1,4})?)\s*(ml|cl|l|bar|kpa|psi|kg|g)\b`)

// perUnit turns a unit into mL, bar or g.
var perUnit = map[string]map[string]float64{
	"fill":     {"ml": 1, "cl": 10, "l": 1000},
	"pressure": {"bar": 1, "kpa": 0.01, "psi": 0.0689476},
	"mass":     {"g": 1, "kg": 1000},
}

// ReadTyped finds quantities in notes. A later note overrides an earlier one; a
// quantity with a unit that is none of its kind is passed over.
func ReadTyped(notes []string) Typed {
	var t Typed
	for _, note := range notes {
		for _, m := range typedForm.FindAllStringSubmatch(note, -1) {
			kind := strings.ToLower(m[1])
			if kind == "water" {
				kind = "fill"
			}
			scale, ok := perUnit[kind][strings.ToLower(m[3])]
			v, err := strconv.ParseFloat(strings.Replace(m[2], ",", ".", 1), 64)
			if !ok || err != nil {
				continue
			}
			v *= scale
			switch kind {
			case "fill":
				t.FillMl = &v
			case "pressure":
				t.PressureBar = &v
			case "mass":
				t.MassG = &v
			}
		}
	}
	return t
}

// Words are the quantities in words, "" without any.
func (t Typed) Words() string {
	var out []string
	add := func(v *float64, format string) {
		if v != nil {
			out = append(out, fmt.Sprintf(format, *v))
		}
	}
	add(t.FillMl, "fill %.0f mL")
	add(t.PressureBar, "pressure %.2f bar")
	add(t.MassG, "mass %.0f g")
	return strings.Join(out, ", ")
}
