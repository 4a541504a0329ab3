package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/atmos"
)

const gravity = atmos.StandardGravity

// fallSpeed is the speed in m/s after falling for t s from rest, with quadratic
// drag and terminal speed vt (closed form: vt tanh(g t/vt)).
func fallSpeed(t, vt float64) float64 {
	if math.IsInf(vt, 1) {
		return gravity * t
	}
	return vt * math.Tanh(gravity*t/vt)
}

// fallDistance is how far in m a fall of t s from rest goes: vt2/g ln cosh(g t/vt).
func fallDistance(t, vt float64) float64 {
	if math.IsInf(vt, 1) {
		return gravity * t * t / 2
	}
	x := gravity * t / vt
	// ln cosh x without overflow.
	return vt * vt / gravity * (x + math.Log1p(math.Exp(-2*x)) - math.Ln2)
}

// fallTime is the time in s to fall h m, starting at the downward speed v in
// m/s, with quadratic drag and terminal speed vt. A rocket still rising (v
// negative) first rises to rest. Closed form from dv/dt = g (1 - v2/vt2):
//
//	v < vt: cosh(g t/vt + a) = cosh(a) exp(g h/vt2), a = artanh(v/vt)
//	v > vt: sinh(g t/vt + a) = sinh(a) exp(g h/vt2), a = artanh(vt/v)
func fallTime(h, v, vt float64) float64 {
	if v < 0 {
		up, rise := riseFrom(-v, vt)
		return up + fallTime(h+rise, 0, vt)
	}
	if h <= 0 {
		return 0
	}
	if vt > 1000 { // drag too small to matter, and the closed forms lose digits
		return (math.Sqrt(v*v+2*gravity*h) - v) / gravity
	}
	r, grow := v/vt, gravity*h/(vt*vt)
	if math.Abs(r-1) < 1e-9 { // at terminal speed already
		return h / vt
	}
	// cosh(artanh r) = 1/sqrt(1-r2) and sinh(artanh 1/r) = 1/sqrt(r2-1).
	start, inverse, a := 1/math.Sqrt(math.Abs(1-r*r)), math.Acosh, math.Atanh(min(r, 1/r))
	if r > 1 {
		inverse = math.Asinh
	}
	if grow > 300 { // exp would overflow; both inverses tend to log(2x)
		return vt / gravity * (math.Ln2 + math.Log(start) + grow - a)
	}
	return vt / gravity * (inverse(start*math.Exp(grow)) - a)
}

// riseFrom is the time in s and the height in m of a coast straight up from
// the speed v in m/s until rest, with quadratic drag:
// t = vt/g arctan(v/vt), h = vt2/2g ln(1 + v2/vt2).
func riseFrom(v, vt float64) (t, h float64) {
	if vt > 1000 {
		return v / gravity, v * v / (2 * gravity)
	}
	r := v / vt
	return vt / gravity * math.Atan(r), vt * vt / (2 * gravity) * math.Log1p(r*r)
}

// FallS is how long in s a rocket takes to the ground from where it is and as fast
// as it is if nothing brakes it but its body, as the alarms of a fall count it, in air of 15 degC;
// nil where height or speed is not known.
func FallS(r flight.Rocket, s *flight.State) *float64 {
	if s.AltitudeM == nil || s.SpeedMps == nil {
		return nil
	}
	v := view{rocket: r}
	v.flatten(s)
	left := fallTime(*s.AltitudeM, -*s.SpeedMps, v.bodyTerminal())
	if math.IsNaN(left) || math.IsInf(left, 0) {
		return nil
	}
	return &left
}
