package alarm

import (
	"math"
	"testing"

	"padlark/flight"
)

// TestStuckAfterALateRelease: the parachute is told out 0.5 s after the apogee, at
// 4.9 m/s, and stays in. A fall of 60 m takes 3.84 s from the apogee (by hand, from
// cosh(g t/vt) = exp(g h/vt2) with a terminal speed of 32 m/s); six tenths of it are
// left until 1.53 s.
func TestStuckAfterALateRelease(t *testing.T) {
	s := newScene(t, Config{})
	s.run(10, nil).climb().apogee()
	top := s.now
	s.fall(0.5)
	s.release()
	s.fall(2)
	a := s.find("ballistic")
	if at := a.RaisedAt.Sub(s.at(top)).Seconds(); at > 1.4 || at < 0.5+0.3 {
		t.Errorf("warned %.2f s after the apogee", at)
	}
}

// TestToOpen: a parachute released at the apogee gets the limit; one released while
// it falls the less, the faster it falls, but always the time to come out; a heavy
// rocket under a large one gets more.
func TestToOpen(t *testing.T) {
	v := view{limits: Defaults("water"), state: noState()}
	v.apogeeAt = 100
	last := math.Inf(1)
	for _, lag := range []float64{-1, 0, 0.25, 0.5, 1, 2} {
		v.releaseAt = 100 + lag
		got := v.toOpen()
		if lag <= 0 && math.Abs(got-v.limits.InflateS) > 1e-12 {
			t.Errorf("released %g s after the apogee: %.3f s, want the limit", lag, got)
		}
		if got > last || got < comesOut*v.limits.InflateS {
			t.Errorf("released %g s after the apogee: %.3f s after %.3f s", lag, got, last)
		}
		last = got
	}
	// After 0.5 s it falls at 4.9 m/s. In the 0.236 s after it came out, at 0.4 s,
	// it then meets as much air as in the second half of 0.8 s from rest: 2.354 m
	// (by hand: g/2 (0.8^2 - 0.4^2)).
	v.releaseAt = 100.5
	from, to := 0.5+0.4, 0.5+v.toOpen()
	if met := gravity / 2 * (to*to - from*from); math.Abs(met-2.354) > 0.001 {
		t.Errorf("meets %.3f m of air, want 2.354", met)
	}
	// 1 kg under 1.5 m sinks at 3.48 m/s; it brakes after 4.46 m, 0.954 s from rest
	// (by hand, with 1.225 kg/m3 and Cd 0.75).
	v.releaseAt = 100
	v.rocket = flight.Rocket{MassKg: 1, ParachuteM: 1.5}
	if got := v.toOpen(); math.Abs(got-0.954) > 0.002 {
		t.Errorf("a heavy rocket under a large parachute: %.3f s, want 0.954", got)
	}
}
