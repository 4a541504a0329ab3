package alarm

import (
	"slices"
	"testing"

	"padlark/decode"
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

// TestReceiverIsNoBallistic: the height of a satellite receiver alone leaps by 70 m in
// each of four seconds under an open parachute. Nobody is told to look up for that.
func TestReceiverIsNoBallistic(t *testing.T) {
	for _, barometer := range []bool{false, true} {
		s := newScene(t, Config{})
		move := func(p flight.Phase, alt, speed float64) {
			s.motion(p, alt, speed)
			if !barometer {
				delete(s.ch, decode.PressurePa)
				s.ch[decode.GPSAltitudeM] = 100 + alt
			}
		}
		s.run(10, func(float64) { move(flight.Waiting, 0, 0) })
		s.event(flight.Liftoff, 0)
		s.run(7.8, func(t float64) { move(flight.Coast, 300-gravity*(7.8-t)*(7.8-t)/2, gravity*(7.8-t)) })
		s.event(flight.Apogee, 300)
		s.run(4, func(t float64) { move(flight.Descent, 300-70*t, -70) })
		if got := slices.Contains(s.kinds(), "ballistic"); got != barometer {
			t.Errorf("by a barometer %v: ballistic %v", barometer, got)
		}
	}
}
