package track

import (
	"math"
	"testing"

	"padlark/flight"
	"padlark/flight/ensemble"
)

// apogees flies a case through a tracker and gives its calls of the apogee and how
// many were taken back.
func apogees(t *testing.T, f *ensemble.Flight) (calls []flight.Event, back int) {
	t.Helper()
	tr := New(Config{Session: "s", Rocket: f.Rocket, Site: f.Site})
	ids := map[string]bool{}
	for i := range f.Samples {
		for _, e := range tr.Sample(&f.Samples[i]) {
			if ids[e.ID] {
				t.Errorf("two events are called %s", e.ID)
			}
			ids[e.ID] = true
			switch e.Kind {
			case flight.Apogee:
				calls = append(calls, e)
			case flight.Withdrawn:
				back++
			}
		}
	}
	return calls, back
}

// TestVents: whatever the vent does at speed, within 30 % of the dynamic pressure,
// the last call of the apogee is the true one, none is called early by more than a
// tenth of a second and left standing.
func TestVents(t *testing.T) {
	for _, name := range []string{"vent-suction", "vent-ram", "burnout-dip"} {
		c, err := ensemble.CaseNamed(name)
		if err != nil {
			t.Fatal(err)
		}
		for seed := range uint64(12) {
			f, err := c.Draw(seed)
			if err != nil {
				t.Fatal(err)
			}
			calls, back := apogees(t, &f)
			if len(calls) != back+1 {
				t.Errorf("%s %d: %d apogees, %d taken back", name, seed, len(calls), back)
				continue
			}
			last := calls[back]
			if late := f.S(last.CalledAt) - f.Truth.ApogeeS; late < -0.1 || late > 1 {
				t.Errorf("%s %d: called %.2f s after the apogee", name, seed, late)
			}
			if off := *last.AltitudeM - f.Truth.ApogeeM; math.Abs(off) > 3**last.AltitudeSD+2 {
				t.Errorf("%s %d: %.1f m ± %.1f, true %.1f", name, seed, *last.AltitudeM, *last.AltitudeSD, f.Truth.ApogeeM)
			}
		}
	}
}

// TestTakenBack: a call that nothing but a wrong belief made is taken back by the
// readings that follow, and the true apogee is called.
func TestTakenBack(t *testing.T) {
	c, err := ensemble.CaseNamed("burnout-dip")
	if err != nil {
		t.Fatal(err)
	}
	f, err := c.Draw(1)
	if err != nil {
		t.Fatal(err)
	}
	tr := New(Config{Session: "s", Rocket: f.Rocket, Site: f.Site})
	kinds := []flight.Kind{}
	wrong := false
	for i := range f.Samples {
		s := &f.Samples[i]
		for _, e := range tr.Sample(s) {
			kinds = append(kinds, e.Kind)
			if e.Kind == flight.Withdrawn && f.S(e.CalledAt) > f.Truth.ApogeeS {
				t.Error("taken back after the true apogee")
			}
			if e.Kind == flight.Apogee && wrong && math.Abs(f.S(e.At)-f.Truth.ApogeeS) > 0.3 {
				t.Errorf("apogee %.2f s off", f.S(e.At)-f.Truth.ApogeeS)
			}
		}
		if !wrong && f.S(s.At) > f.Truth.BurnoutS+1 && tr.flying {
			wrong = true
			tr.events = tr.events[:0]
			tr.apogee(tr.last.t, tr.last.t, 0.1, 15, 1, "")
		}
	}
	want := map[flight.Kind]int{flight.Withdrawn: 1, flight.Apogee: 1}
	got := map[flight.Kind]int{}
	for _, k := range kinds {
		got[k]++
	}
	for k, n := range want {
		if got[k] != n {
			t.Errorf("%d events %s, want %d of %v", got[k], k, n, kinds)
		}
	}
}
