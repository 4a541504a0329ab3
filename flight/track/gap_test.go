package track_test

import (
	"math"
	"strings"
	"testing"

	"padlark/flight"
	"padlark/flight/ensemble"
)

// withoutTop takes out of a flight the samples from `from` s after its liftoff
// until it has come down to the part `until` of its height.
func withoutTop(f *ensemble.Flight, from, until float64) {
	kept := f.Samples[:0]
	for _, s := range f.Samples {
		at := f.S(s.At)
		lost := at > f.Truth.LiftoffS+from && (at < f.Truth.ApogeeS || f.Truth.HeightM(at) > until*f.Truth.ApogeeM)
		if !lost {
			kept = append(kept, s)
		}
	}
	f.Samples = kept
}

// TestNothingHeardOfTheTop: of a low flight at 10 Hz the frames are lost from before
// the liftoff is called until it is well on its way down. It is found all the same,
// and what is said of its top is as uncertain as it is.
func TestNothingHeardOfTheTop(t *testing.T) {
	spec := ensemble.Slow10()
	spec.Name, spec.Loss = "no-top", ensemble.Fixed(0)
	spec.WaterM, spec.SinkMps = ensemble.Range{Lo: 15, Hi: 24}, ensemble.Range{Lo: 3, Hi: 5}
	for i := range uint64(12) {
		f, err := ensemble.Draw(spec, 31, i)
		if err != nil {
			t.Fatal(err)
		}
		withoutTop(&f, 0.6, 0.75)
		events := run(&f)
		if only(t, events, flight.Liftoff) == nil {
			t.Errorf("flight %d, to %.0f m: no liftoff", i, f.Truth.ApogeeM)
			continue
		}
		e := only(t, events, flight.Apogee)
		if e == nil {
			t.Errorf("flight %d: no apogee", i)
			continue
		}
		if !strings.Contains(e.Note, "frames lost over the apogee") {
			t.Errorf("flight %d: the apogee has the note %q", i, e.Note)
		}
		if off := *e.AltitudeM - f.Truth.ApogeeM; *e.AltitudeSD < 1 || math.Abs(off) > 3**e.AltitudeSD {
			t.Errorf("flight %d: %.1f ± %.1f m, true %.1f", i, *e.AltitudeM, *e.AltitudeSD, f.Truth.ApogeeM)
		}
		if off := f.S(e.At) - f.Truth.ApogeeS; math.Abs(off) > 3**e.AtSD || f.S(e.CalledAt) < f.Truth.ApogeeS {
			t.Errorf("flight %d: at %+.2f ± %.2f s, called %+.2f s from the true apogee", i, off, *e.AtSD, f.S(e.CalledAt)-f.Truth.ApogeeS)
		}
	}
}
