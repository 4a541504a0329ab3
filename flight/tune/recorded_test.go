package tune

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// heard is a drawn flight as a station heard it, with results that are the
// truth.
func heard(t *testing.T, change func(*ensemble.Spec)) (*ensemble.Flight, flight.Result, smooth.Series) {
	t.Helper()
	spec := usual()
	spec.WaterM = ensemble.Fixed(60)
	spec.NoiseM, spec.StepPa = ensemble.Fixed(0.3), []float64{3}
	change(&spec)
	f, err := ensemble.Draw(spec, 21, 4)
	if err != nil {
		t.Fatal(err)
	}
	at := func(s float64) *time.Time { v := f.At(s); return &v }
	r := flight.Result{LaunchedAt: at(f.Truth.LiftoffS), ApogeeAt: at(f.Truth.ApogeeS), ApogeeM: &f.Truth.ApogeeM, TouchdownAt: at(f.Truth.TouchdownS)}
	s := smooth.Series{Start: f.Epoch}
	for x := 0.0; x < f.EndS; x += 0.02 {
		q := f.Truth.At(x)
		s.T, s.Height, s.Speed = append(s.T, x), append(s.Height, q.Height), append(s.Speed, q.Speed)
	}
	return &f, r, s
}

// A flight with a tenth of its frames lost gives the outcome of the whole one,
// nearly.
func TestRecordedWithLosses(t *testing.T) {
	whole, _, _ := heard(t, func(*ensemble.Spec) {})
	lossy, r, series := heard(t, func(s *ensemble.Spec) { s.Loss, s.BurstFrames = ensemble.Fixed(0.1), ensemble.Fixed(2) })
	if len(lossy.Samples) > len(whole.Samples)*95/100 {
		t.Fatalf("%d of %d samples: nothing was lost", len(lossy.Samples), len(whole.Samples))
	}
	// Each message twice, as two links hear it.
	samples := append(append([]decode.Sample{}, lossy.Samples...), lossy.Samples...)
	got, err := Recorded("Teal 1", samples, &r, &series)
	if err != nil {
		t.Fatal(err)
	}
	var want Flight
	FromEnsemble(&want, whole)
	if d := len(want.Ms) - len(got.Ms); d < 0 || d > 10 {
		t.Errorf("%d readings, whole flight %d", len(got.Ms), len(want.Ms))
	}
	if got.Filled < 0.05 || got.Filled > 0.2 {
		t.Errorf("filled %.2f", got.Filled)
	}
	for _, s := range grid() {
		if s.Samples == 1 {
			continue // one reading more or less decides
		}
		a, b := Judge(&s, &want), Judge(&s, &got)
		if a.By != b.By || math.Abs(float64(a.LagS-b.LagS)) > 0.15 || math.Abs(float64(a.BelowM-b.BelowM)) > 1.5 {
			t.Errorf("%v: whole %+v, with losses %+v", s, a, b)
		}
	}
}

func TestRecordedRefuses(t *testing.T) {
	f, r, series := heard(t, func(*ensemble.Spec) {})
	without := r
	without.ApogeeAt = nil
	hole := append([]decode.Sample{}, f.Samples[:250]...)
	hole = append(hole, f.Samples[350:]...)
	late := f.Samples[300:]
	few := f.Samples[:0:0]
	for i := range f.Samples {
		if i%3 == 0 {
			few = append(few, f.Samples[i])
		}
	}
	for _, c := range []struct {
		name    string
		samples []decode.Sample
		r       flight.Result
		want    string
	}{
		{"no apogee", f.Samples, without, "no apogee was found"},
		{"a hole", hole, r, "nothing was heard for"},
		{"begins late", late, r, "liftoff"},
		{"two of three lost", few, r, "were lost"},
		{"nothing", nil, r, "0 readings"},
	} {
		_, err := Recorded("Teal 1", c.samples, &c.r, &series)
		if !errors.Is(err, ErrNotEnough) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// What is measured of flights is what they were drawn with, and the ensemble
// around them holds it.
func TestMeasure(t *testing.T) {
	f, r, series := heard(t, func(s *ensemble.Spec) { s.PadS = ensemble.Fixed(12); s.GustPa = ensemble.Fixed(0) })
	rec, err := Recorded("Teal 1", f.Samples, &r, &series)
	if err != nil {
		t.Fatal(err)
	}
	got, err := measure([]Flight{rec})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.RateHz-50) > 0.5 || got.StepPa != 3 || math.Abs(got.NoiseM[0]-0.3) > 0.06 || got.ApogeeM[0] != f.Truth.ApogeeM {
		t.Errorf("traits %+v", got)
	}
	spec := around(got)
	if spec.NoiseM.Lo > 0.3 || spec.NoiseM.Hi < 0.3 || spec.WaterM.Lo > 60 || spec.WaterM.Hi < 60 || spec.RateHz[0] != math.Round(got.RateHz*10)/10 {
		t.Errorf("spec %+v", spec)
	}
	if _, err := ensemble.Draw(spec, 1, 1); err != nil {
		t.Error(err)
	}
	half := rec
	half.Ms, half.DPa, half.AtS = nil, nil, nil
	for i := 0; i < len(rec.Ms); i += 2 {
		half.add(rec.AtS[i], int64(rec.Ms[i])*1000, float64(rec.DPa[i])/10)
	}
	if _, err := measure([]Flight{rec, half}); err == nil || !strings.Contains(err.Error(), "not of one board") {
		t.Errorf("two rates: %v", err)
	}
	if _, err := measure(nil); err == nil {
		t.Error("nothing measured: no error")
	}
}
