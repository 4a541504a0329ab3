package beeps

import (
	"fmt"
	"math"
)

// Code says how a board beeps a number. It is the table [layout.beeps] of the
// configuration. Lengths are what the board's program says; the pace of the whole
// (half to twice as fast) and what single lengths differ is found in the sound.
type Code struct {
	// Style is "digits" (default): each digit is as many short beeps; or "marks":
	// long beeps are worth Long each and short ones Short, and are added.
	Style string `toml:"style"`
	// Zero is how a digit 0 sounds: "ten" short beeps (default), or one "long".
	Zero string `toml:"zero"`
	// Digits is how many digits there always are, zeros in front; 0 means as many
	// as the number has.
	Digits int `toml:"digits"`
	// Long and Short are what a mark is worth, in Unit. For the style marks.
	Long  int `toml:"long"`
	Short int `toml:"short"`
	// Lead says that a long tone stands before each reading.
	Lead bool `toml:"lead"`
	// Repeats is how often the board says it; 0 means until it is switched off.
	Repeats int `toml:"repeats"`
	// Unit is that of the number: "m" (default), "dm" or "ft".
	Unit string `toml:"unit"`
	// Step is what the number counts, in Unit: 1 if not given.
	Step float64 `toml:"step"`
	// Most is the highest number that the board beeps; 9999 if not given.
	Most int `toml:"most"`
	// LowHz and HighHz bound the sounder's tone, where several are on the field.
	LowHz  float64 `toml:"low_hz"`
	HighHz float64 `toml:"high_hz"`
	// Temperature says for which air the board computes: "standard" (default), the
	// 15 degC of the standard atmosphere at the pad, or "measured", its own.
	Temperature string `toml:"temperature"`

	// The lengths in ms, in the order of their sounding.
	LeadMs        float64 `toml:"lead_ms"`         // 1000
	LeadPauseMs   float64 `toml:"lead_pause_ms"`   // 700
	BeepMs        float64 `toml:"beep_ms"`         // 150, a short beep
	LongMs        float64 `toml:"long_ms"`         // 500
	PauseMs       float64 `toml:"pause_ms"`        // as BeepMs, between the beeps of a group
	DigitPauseMs  float64 `toml:"digit_pause_ms"`  // 800, between groups
	NumberPauseMs float64 `toml:"number_pause_ms"` // 2500, between repeats, at the least
}

// codeError is a code that cannot be read: the key, and what to write instead.
type codeError struct {
	Key     string
	Problem string
}

func (e *codeError) Error() string { return e.Key + ": " + e.Problem }

// The words of a code.
const (
	styleDigits, styleMarks = "digits", "marks"
	zeroTen, zeroLong       = "ten", "long"

	// StandardAir and MeasuredAir are the values of Code.Temperature.
	StandardAir, MeasuredAir = "standard", "measured"
)

// mostCount bounds the beeps of a group, mostNumber a number, and so the work.
const (
	mostCount  = 10
	mostNumber = 99999
)

// Filled is the code with what was not given.
func (c Code) Filled() Code {
	word := func(s *string, v string) {
		if *s == "" {
			*s = v
		}
	}
	ms := func(f *float64, v float64) {
		if *f == 0 {
			*f = v
		}
	}
	word(&c.Style, styleDigits)
	word(&c.Zero, zeroTen)
	word(&c.Unit, "m")
	word(&c.Temperature, StandardAir)
	ms(&c.Step, 1)
	ms(&c.LeadMs, 1000)
	ms(&c.LeadPauseMs, 700)
	ms(&c.BeepMs, 150)
	ms(&c.LongMs, max(500, 3*c.BeepMs))
	ms(&c.PauseMs, c.BeepMs)
	ms(&c.DigitPauseMs, max(800, 3*c.PauseMs))
	ms(&c.NumberPauseMs, max(2500, 2.5*c.DigitPauseMs))
	if c.Style == styleMarks && c.Long == 0 && c.Short == 0 {
		c.Long, c.Short = 100, 10
	}
	if c.Most == 0 {
		c.Most = 9999
		if c.Digits > 0 {
			c.Most = int(math.Pow10(c.Digits)) - 1
		}
	}
	if c.Style == styleMarks && c.Short > 0 {
		c.Most = min(c.Most, mostCount*c.Long)
	}
	return c
}

// MetresPerUnit is the length of a code's unit in m (the foot is exact).
func (c Code) MetresPerUnit() float64 {
	switch c.Unit {
	case "dm":
		return 0.1
	case "ft":
		return 0.3048
	}
	return 1
}

// StepM is the step of the last digit or mark in m.
func (c Code) StepM() float64 {
	f := c.Filled()
	if f.Style == styleMarks {
		return float64(f.Short) * f.Step * f.MetresPerUnit()
	}
	return f.Step * f.MetresPerUnit()
}

// Metres is a number of the code in m.
func (c Code) Metres(number int) float64 {
	f := c.Filled()
	return float64(number) * f.Step * f.MetresPerUnit()
}

// Validate says what is wrong with a code, as a *codeError, or nil.
func (c Code) Validate() error {
	f := c.Filled()
	bad := func(key, format string, args ...any) error { return &codeError{key, fmt.Sprintf(format, args...)} }
	for _, w := range []struct {
		key, value string
		known      []string
	}{
		{"style", f.Style, []string{styleDigits, styleMarks}}, {"zero", f.Zero, []string{zeroTen, zeroLong}},
		{"unit", f.Unit, []string{"m", "dm", "ft"}}, {"temperature", f.Temperature, []string{StandardAir, MeasuredAir}},
	} {
		ok := false
		for _, k := range w.known {
			ok = ok || k == w.value
		}
		if !ok {
			return bad(w.key, "%q is not known; write one of %q", w.value, w.known)
		}
	}
	marks := f.Style == styleMarks
	switch {
	case f.Digits < 0 || f.Digits > 5:
		return bad("digits", "%d is out of range; write 1 to 5, or leave it out for as many as the number has", f.Digits)
	case f.Most < 1 || f.Most > mostNumber:
		return bad("most", "%d is out of range; write 1 to %d", f.Most, mostNumber)
	case f.Repeats < 0 || f.Repeats > 1000:
		return bad("repeats", "%d is out of range; write how often the board says the number, or leave it out", f.Repeats)
	case !(f.Step > 0) || f.Step > 1000:
		return bad("step", "%g is out of range; write what one count is worth in %s, such as 1", f.Step, f.Unit)
	case f.LowHz < 0 || f.HighHz < 0 || f.HighHz > 0 && f.HighHz <= f.LowHz || f.LowHz > 6000:
		return bad("low_hz", "%g to high_hz = %g is no range of tones between 500 and 6000 Hz", f.LowHz, f.HighHz)
	case !marks && (c.Long != 0 || c.Short != 0):
		return bad("long", "it and short are for style = \"marks\"; leave them out")
	case marks && (f.Short < 1 || f.Long <= f.Short || f.Long%f.Short != 0 || f.Long > mostCount*f.Short):
		return bad("long", "%d is not 2 to %d times short = %d; write what a long and a short beep are worth, such as long = 100 and short = 10", f.Long, mostCount, f.Short)
	case marks && (c.Digits != 0 || c.Zero != ""):
		return bad("digits", "it and zero are for style = \"digits\"; leave them out")
	}
	for _, l := range []struct {
		key       string
		ms, least float64
	}{
		{"beep_ms", f.BeepMs, 40}, {"pause_ms", f.PauseMs, 40}, {"long_ms", f.LongMs, 1.8 * f.BeepMs},
		{"digit_pause_ms", f.DigitPauseMs, 1.8 * f.PauseMs}, {"number_pause_ms", f.NumberPauseMs, 1.6 * f.DigitPauseMs},
		{"lead_ms", f.LeadMs, 1.5 * f.BeepMs}, {"lead_pause_ms", f.LeadPauseMs, 40},
	} {
		if !(l.ms >= l.least) || l.ms > 10000 {
			return bad(l.key, "%g is out of range; with the other lengths it is %.0f to 10000 ms", l.ms, l.least)
		}
	}
	if f.Lead && f.Zero == zeroLong && f.LeadMs < 1.5*f.LongMs {
		return bad("lead_ms", "%g cannot be told from long_ms = %g; write at least %.0f ms", f.LeadMs, f.LongMs, 1.5*f.LongMs)
	}
	return nil
}

// kind is what a stretch of sound or silence is.
type kind uint8

const (
	short kind = iota
	long
	lead
	inner    // between the beeps of a group
	between  // between groups
	leadGap  // after the lead
	pause    // between repeats, and before and after everything
	numKinds = int(pause) + 1
)

func (k kind) on() bool { return k <= lead }

// stretches are the kinds of one reading, without the pause after it. ok is false
// where the code cannot say the number.
func (c *Code) stretches(number int) (out []kind, ok bool) {
	if number < 0 || number > c.Most {
		return nil, false
	}
	if c.Lead {
		out = append(out, lead, leadGap)
	}
	add := func(n int, k kind) {
		for i := range n {
			if i > 0 {
				out = append(out, inner)
			}
			out = append(out, k)
		}
	}
	if c.Style == styleMarks {
		nLong, nShort := number/c.Long, number%c.Long/c.Short
		if number%c.Short != 0 || nLong > mostCount || nLong+nShort == 0 {
			return nil, false
		}
		add(nLong, long)
		if nLong > 0 && nShort > 0 {
			out = append(out, between)
		}
		add(nShort, short)
		return out, true
	}
	digits := c.digits(number)
	for i, d := range digits {
		if i > 0 {
			out = append(out, between)
		}
		switch {
		case d > 0:
			add(d, short)
		case c.Zero == zeroLong:
			add(1, long)
		default:
			add(mostCount, short)
		}
	}
	return out, true
}

// digits are those of a number, the highest first.
func (c *Code) digits(number int) []int {
	var out []int
	for number > 0 || len(out) < max(1, c.Digits) {
		out = append(out, number%10)
		number /= 10
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}

// lengths are the mean lengths of each kind in ms.
func (c *Code) lengths() [numKinds]float64 {
	return [numKinds]float64{short: c.BeepMs, long: c.LongMs, lead: c.LeadMs, inner: c.PauseMs,
		between: c.DigitPauseMs, leadGap: c.LeadPauseMs, pause: c.NumberPauseMs}
}
