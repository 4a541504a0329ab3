package watch

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight/ensemble"
)

// A silence of any length brings about the same whether its ticks come one by
// one, as at a running station, or at once, as in a replay; and it costs next to
// nothing.
func TestLongSilence(t *testing.T) {
	f, newEngine := flown(t)
	last := f.Samples[len(f.Samples)-1].Passed
	for _, c := range []struct {
		name  string
		heard int   // samples before the silence
		quiet int64 // ns
	}{
		{"on the pad, an hour", 300, int64(time.Hour)},
		{"in the climb, an hour", before(&f, f.Truth.LiftoffS+1.2), int64(time.Hour)},
		{"in the descent, a day", before(&f, f.Truth.ApogeeS+2), int64(24 * time.Hour)},
		{"after the landing, a day", len(f.Samples), int64(24 * time.Hour)},
		{"as long as there is", len(f.Samples), math.MaxInt64/2 - last},
	} {
		t.Run(c.name, func(t *testing.T) {
			heard := func(e *Engine) (out Output, at int64) {
				for i := range f.Samples[:c.heard] {
					out.add(e.Sample(&f.Samples[i]))
				}
				return out, f.Samples[c.heard-1].Passed
			}
			jumping := newEngine()
			jumped, at := heard(jumping)
			begun := time.Now()
			jumped.add(jumping.Advance(at + c.quiet))
			if took := time.Since(begun); took > 2*time.Second {
				t.Errorf("the silence took %v", took)
			}
			again := f.Samples[0]
			again.Passed = at + c.quiet + 1
			again.At, again.Heard = again.At.Add(time.Duration(again.Passed)), again.Heard.Add(time.Duration(again.Passed))
			jumped.add(jumping.Sample(&again))
			if c.quiet > int64(25*time.Hour) {
				return // too many to go through one by one
			}
			stepping := newEngine()
			stepped, _ := heard(stepping)
			for mono := at; mono < at+c.quiet; mono += 7 * int64(TickEvery) / 5 {
				stepped.add(stepping.Advance(mono))
			}
			stepped.add(stepping.Advance(at + c.quiet))
			stepped.add(stepping.Sample(&again))
			if diff := cmp.Diff(asJSON(t, stepped), asJSON(t, jumped)); diff != "" {
				t.Errorf("at once (-one by one +at once):\n%s", diff)
			}
			if a, b := stepping.Ticked(), jumping.Ticked(); a != b {
				t.Errorf("ticked to %d one by one, to %d at once", a, b)
			}
		})
	}
}

// before is how many samples of a flight were measured before s since its epoch.
func before(f *ensemble.Flight, s float64) int {
	n := 0
	for n < len(f.Samples) && f.S(f.Samples[n].At) < s {
		n++
	}
	return n
}
