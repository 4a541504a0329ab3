package beeps_test

import (
	"math"
	"strings"
	"testing"

	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
)

// The two examples of the documentation, and marks: what Sound beeps is read back,
// whatever the number.
func TestSoundIsRead(t *testing.T) {
	for _, c := range []struct {
		name    string
		code    beeps.Code
		numbers []int
	}{
		{"zero as ten", beeps.Code{}, []int{0, 7, 10, 90, 123, 508}},
		{"a long zero and a lead", beeps.Code{Zero: "long", Lead: true}, []int{0, 5, 100, 1203}},
		{"three digits always", beeps.Code{Digits: 3, Zero: "long"}, []int{7, 45, 300}},
		{"marks", beeps.Code{Style: "marks", Long: 100, Short: 10}, []int{10, 90, 100, 340}},
	} {
		for _, n := range c.numbers {
			samples, err := beeps.Sound(c.code, n, 2700, 16000)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			l, err := hear.NewListener(16000)
			if err != nil {
				t.Fatal(err)
			}
			strips := append(l.Push(samples), l.End()...)
			if len(strips) != 1 {
				t.Fatalf("%s: %d: %d strips, want 1", c.name, n, len(strips))
			}
			if r := beeps.Read(strips[0], c.code); !r.Sure || r.Number != n || r.Repeats != 3 {
				t.Errorf("%s: %d read as %d, %d times, sure %v: %s; margin %.1f", c.name, n, r.Number, r.Repeats, r.Sure, r.Why, r.Margin)
			}
		}
	}
}

func TestCodeErrors(t *testing.T) {
	for _, c := range []struct {
		code beeps.Code
		want string
	}{
		{beeps.Code{Style: "morse"}, "style"},
		{beeps.Code{Zero: "none"}, "zero"},
		{beeps.Code{Digits: 9}, "digits"},
		{beeps.Code{Most: -1}, "most"},
		{beeps.Code{Step: -1}, "step"},
		{beeps.Code{Long: 100}, "long"},
		{beeps.Code{Style: "marks", Long: 100, Short: 7}, "long"},
		{beeps.Code{Style: "marks", Digits: 3}, "digits"},
		{beeps.Code{Unit: "yd"}, "unit"},
		{beeps.Code{Temperature: "cold"}, "temperature"},
		{beeps.Code{LowHz: 3000, HighHz: 2000}, "low_hz"},
		{beeps.Code{BeepMs: 10}, "beep_ms"},
		{beeps.Code{BeepMs: math.NaN()}, "beep_ms"},
		{beeps.Code{DigitPauseMs: 150}, "digit_pause_ms"},
		{beeps.Code{Lead: true, Zero: "long", LeadMs: 500}, "lead_ms"},
	} {
		if err := c.code.Validate(); err == nil || !strings.HasPrefix(err.Error(), c.want+": ") {
			t.Errorf("%+v: %v, want an error of %s", c.code, err, c.want)
		}
	}
}

// FuzzRead: whatever a strip holds, reading ends, and what is sure is a number of the
// code whose beeps stand in the strip in their order.
func FuzzRead(f *testing.F) {
	for _, n := range []int{7, 123} {
		samples, err := beeps.Sound(beeps.Code{}, n, 2700, 8000)
		if err != nil {
			f.Fatal(err)
		}
		l, err := hear.NewListener(8000)
		if err != nil {
			f.Fatal(err)
		}
		for _, s := range append(l.Push(samples), l.End()...) {
			f.Add(s.AppendBinary(nil), uint8(0))
			f.Add(hear.Strip{PitchHz: s.PitchHz, DB: s.DB}.AppendBinary(nil), uint8(0)) // of version 1
		}
	}
	codes := []beeps.Code{{}, {Zero: "long", Lead: true}, {Style: "marks"}, {Digits: 3}}
	f.Fuzz(func(t *testing.T, b []byte, which uint8) {
		s, err := hear.ParseStrip(b)
		if err != nil {
			return
		}
		if n := min(len(s.DB), 120); n < len(s.DB) { // 1.2 s: a long strip only takes longer
			s.DB = s.DB[:n]
			if s.Wave != nil {
				s.Wave, s.NoiseDB = s.Wave[:n], s.NoiseDB[:n]
			}
		}
		r := beeps.Read(s, codes[int(which)%len(codes)])
		if r.Sure && (!r.Found || r.Repeats < 1) || !r.Sure && r.Why == "" {
			t.Fatalf("%+v", r)
		}
		last := 0
		for _, beep := range r.Beeps {
			if beep.From < last || beep.To <= beep.From || beep.To > len(s.DB) {
				t.Fatalf("beep %+v after %d in %d steps", beep, last, len(s.DB))
			}
			last = beep.To
		}
	})
}
