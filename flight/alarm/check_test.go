package alarm

import (
	"strings"
	"testing"

	"padlark/flight"
)

func TestCheckRocket(t *testing.T) {
	if err := CheckRocket(teal()); err != nil {
		t.Errorf("a good rocket: %v", err)
	}
	if err := CheckRocket(flight.Rocket{Name: "bare"}); err != nil {
		t.Errorf("a rocket of which nothing is known: %v", err)
	}
	for _, c := range []struct {
		spoil func(r *flight.Rocket)
		want  []string
	}{
		{func(r *flight.Rocket) { r.Name = " " }, []string{"without a name"}},
		// The common practice of the trade: a servo release runs from the 3.7 V
		// lithium cell, not from a 9 V battery.
		{func(r *flight.Rocket) { r.Cell = "9v" }, []string{"Teal", "9v", "servo", "3.7 V lithium cell", "starts again"}},
		{func(r *flight.Rocket) { r.Cell = "lipo" }, []string{"cell \"lipo\"", "lipo-1s"}},
		{func(r *flight.Rocket) { r.Kind = "steam" }, []string{"kind \"steam\"", "water"}},
		{func(r *flight.Rocket) { r.Release = "spring" }, []string{"release \"spring\""}},
		{func(r *flight.Rocket) { r.MassKg = -1 }, []string{"mass_kg = -1"}},
		{func(r *flight.Rocket) { r.MassKg = 145 }, []string{"mass_kg = 145", "100 kg"}},
		{func(r *flight.Rocket) { r.ParachuteM = 60 }, []string{"parachute_m = 60"}},
		{func(r *flight.Rocket) { r.ParachuteM = 0.06 }, []string{"parachute_m = 0.06", "no landing"}},
		{func(r *flight.Rocket) { r.ReleaseMinUs, r.ReleaseMaxUs = 2200, 800 }, []string{"release_min_us = 2200", "release_max_us = 800"}},
		{func(r *flight.Rocket) { r.ReleaseOpenUs = 2300 }, []string{"release_open_us = 2300", "800 to 2200"}},
		{func(r *flight.Rocket) { r.ReleaseOpenUs = 1010 }, []string{"same position"}},
		{func(r *flight.Rocket) { r.Release = "none" }, []string{"release = \"none\""}},
		{func(r *flight.Rocket) { r.ExpectApogeeM, r.ReleaseDelayS = 20, 3 }, []string{"release_delay_s = 3", "after the impact"}},
		{func(r *flight.Rocket) { r.ExpectApogeeM, r.ExpectApogeeS = 50, 40 }, []string{"expect_apogee_s = 40"}},
	} {
		r := teal()
		c.spoil(&r)
		err := CheckRocket(r)
		if err == nil {
			t.Errorf("%+v was accepted, want an error with %q", r, c.want)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("error %q, want %q in it", err, w)
			}
		}
	}
	r := teal()
	r.Cell, r.Release, r.ReleaseRestUs, r.ReleaseOpenUs, r.ReleaseDelayS = "9v", "none", 0, 0, 0
	if err := CheckRocket(r); err != nil {
		t.Errorf("a 9 V battery without a servo is well: %v", err)
	}
	if _, err := New(Config{Rockets: []flight.Rocket{teal(), teal()}}); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("the same rocket twice: %v", err)
	}
}
