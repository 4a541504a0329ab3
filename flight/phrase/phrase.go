package phrase

import (
	"math"
	"slices"
)

// Phrase is something that is to be said: which text, and the quantities in it.
// It is kept and sent as it is; whoever shows it writes it once, for its reader
// (see Reader). The zero value says nothing.
type Phrase struct {
	Key  string `json:"key"`
	Args []Arg  `json:"args,omitempty"`
}

// Arg is one named part of a phrase: a quantity, a name or another phrase.
type Arg struct {
	Name string `json:"name"`
	// Value is a quantity in Unit, with its standard deviation if one is known,
	// written with so many decimals. Of a quantity that is not known there is a
	// unit alone.
	Value  *float64 `json:"value,omitempty"`
	SD     *float64 `json:"sd,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Digits int      `json:"digits,omitempty"`
	// Text is a name, or anything else that reads the same in each language.
	Text   string  `json:"text,omitempty"`
	Phrase *Phrase `json:"phrase,omitempty"`
}

// Of makes a phrase of a text of the catalogue. What has no name is left out.
func Of(key string, args ...Arg) Phrase {
	return Phrase{key, slices.DeleteFunc(args, func(a Arg) bool { return a.Name == "" })}
}

// None says whether there is nothing to say.
func (p Phrase) None() bool { return p.Key == "" }

// Qty is a quantity with so many decimals. One that is NaN or infinite is not
// known: whatever a board sends, no sentence says NaN.
func Qty(name string, v float64, digits int, unit string) Arg {
	return Arg{Name: name, Value: finite(v), Digits: digits, Unit: unit}
}

// PlusMinus is a quantity with its standard deviation, and the digits that it
// supports, two at the most. Without one (nil) it has one decimal.
func PlusMinus(name string, v float64, sd *float64, unit string) Arg {
	a := Qty(name, v, 1, unit)
	if sd == nil || a.Value == nil || finite(*sd) == nil {
		return a
	}
	if *sd < 0.1 {
		a.Digits = 2
	}
	a.SD = finite(*sd)
	return a
}

// Word is a name, or a text that is the same in each language.
func Word(name, text string) Arg { return Arg{Name: name, Text: text} }

// In is a phrase within another.
func In(name string, p Phrase) Arg { return Arg{Name: name, Phrase: &p} }

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
