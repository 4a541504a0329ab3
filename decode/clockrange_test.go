package decode

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"padlark/ingest"
)

// TestClockRange: a layout may say between which times its clock is; a frame
// outside is damaged, or with a checksum has no clock. In s, whatever the unit.
func TestClockRange(t *testing.T) {
	lo, hi := 1.0, 3600.0
	for _, c := range []struct {
		name, check, outside, clock string
		reject                      bool
		timed                       bool
	}{
		{"inside", "", "", "5000", false, true},
		{"at the edge", "", "", "3600000", false, true},
		{"below", "", "", "999", true, false},
		{"beyond", "", "", "3600001", true, false},
		{"beyond, wanted missing", "", "missing", "3600001", false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			d, err := New(Config{
				Layouts: []Layout{{Name: "own", Framing: ingest.Framing{Kind: "line"}, Form: Delimited, Fields: []Field{
					{Name: "clock", Unit: "ms", Min: &lo, Max: &hi, Outside: c.outside}, {Name: "pressure_pa"}}}},
				Links: []LinkLayouts{{Link: "pad", Layouts: []string{"own"}, Rocket: "Teal"}},
			})
			if err != nil {
				t.Fatal(err)
			}
			s, err := d.Decode(ingest.Frame{Link: "pad", N: 1, Heard: time.Unix(9, 0), Mono: 9e9, Passed: 9e9, Bytes: fmt.Appendf(nil, "%s,101325", c.clock)})
			var rej *Reject
			if errors.As(err, &rej) != c.reject {
				t.Fatalf("rejected: %v, want %v", err, c.reject)
			}
			if c.reject && (rej.Field != FieldClock || rej.Reason != ReasonRange) {
				t.Errorf("rejected for %+v", rej)
			}
			if !c.reject && (s.Clock >= 0) != c.timed {
				t.Errorf("clock %d us, want one: %v", s.Clock, c.timed)
			}
		})
	}
	_, err := New(Config{Layouts: []Layout{{Name: "own", Framing: ingest.Framing{Kind: "line"}, Form: Delimited, Fields: []Field{
		{Name: "seq", Min: &lo}, {Name: "pressure_pa"}}}}})
	if err == nil {
		t.Error("a range of seq is taken, and would mean nothing")
	}
}

// TestClockIsSet: a clock that leaps ahead while frames and their numbers go on
// was set; the board has not started again. One that falls back has.
func TestClockIsSet(t *testing.T) {
	d, err := New(Config{
		Layouts: []Layout{{Name: "own", Framing: ingest.Framing{Kind: "line"}, Form: Delimited, Fields: []Field{
			{Name: "seq"}, {Name: "clock", Unit: "ms"}, {Name: "pressure_pa"}}}},
		Links: []LinkLayouts{{Link: "pad", Layouts: []string{"own"}, Rocket: "Teal"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	send := func(seq, clock int64) (Sample, error) {
		n++
		mono := int64(n) * 50e6
		return d.Decode(ingest.Frame{Link: "pad", N: uint64(n), Heard: time.Unix(0, mono), Mono: mono, Passed: mono, Bytes: fmt.Appendf(nil, "%d,%d,101325", seq, clock)})
	}
	last := func(from, clock int64) Sample {
		t.Helper()
		var s Sample
		for i := range int64(10) {
			if s, err = send(from+i, clock+50*i); err != nil && i != 0 { // the first of another clock waits for the second
				t.Fatal(err)
			}
		}
		return s
	}
	boot := last(1, 1000).Boot
	set := last(11, 1_764_512_345_000)
	if set.Boot != boot {
		t.Errorf("boot %d after the clock was set, %d before", set.Boot, boot)
	}
	if at := set.At.Sub(time.Unix(0, int64(n)*50e6)).Seconds(); at < -0.1 || at > 0.1 {
		t.Errorf("measured %.2f s beside when it was heard", at)
	}
	n += 40 // it takes a board a moment to start
	if s := last(1, 100); s.Boot != boot+1 {
		t.Errorf("boot %d after a new start, %d before", s.Boot, boot)
	}
}
