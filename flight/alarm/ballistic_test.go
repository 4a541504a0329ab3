package alarm

import (
	"testing"
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
