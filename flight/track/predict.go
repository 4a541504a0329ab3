package track

import "math"

// ascent is how far and how long a rocket at speed v, with drag per mass
// exp(logDrag) in 1/m, still climbs: the closed form of vertical coast with
// quadratic drag (see NASA Glenn, "Flight Equations with Drag"; formulas from
// memory). With v < 0 it is the time and height since the apogee, both
// negative time and positive height.
func ascent(v, logDrag, port float64) (climbM, timeS float64) {
	drag, g := math.Exp(logDrag), gravity*(1-port)
	vt := math.Sqrt(g / drag)
	if v >= 0 {
		return math.Log1p(v*v/(vt*vt)) / (2 * drag), vt / g * math.Atan(v/vt)
	}
	u := min(-v/vt, 0.999)
	return -math.Log1p(-u*u) / (2 * drag), -vt / g * math.Atanh(u)
}

// prediction is the apogee as seen from the coasting mode.
type prediction struct {
	inS, sdS    float64 // s from now, negative once past
	height, sdM float64 // m above the pad
}

// predict carries the coasting mode to its apogee. The standard deviations
// come from the partial derivatives, by differences.
func (f *filter) predict2apogee() prediction {
	x, p := &f.x[coast], &f.p[coast]
	up, in := ascent(x[xSpeed], x[xDrag], x[xPort])
	dT, dH := vec{}, vec{xHeight: 1}
	for i, d := range [states]float64{xSpeed: 0.05, xDrag: 0.02, xPort: 0.01} {
		if d == 0 {
			continue
		}
		y, z := *x, *x
		y[i] += d
		z[i] -= d
		u1, i1 := ascent(y[xSpeed], y[xDrag], y[xPort])
		u0, i0 := ascent(z[xSpeed], z[xDrag], z[xPort])
		dH[i] += (u1 - u0) / (2 * d)
		dT[i] = (i1 - i0) / (2 * d)
	}
	varT, varH := p.along(&dT), p.along(&dH)
	return prediction{
		inS: in, sdS: math.Sqrt(max(varT, 1e-8)), height: x[0] + up,
		sdM: math.Sqrt(max(varH, 1e-8)),
	}
}

// along is the variance of a linear function of the state.
func (p *mat) along(d *vec) float64 {
	sum := 0.0
	for i := range states {
		for j := range states {
			sum += d[i] * d[j] * p[i][j]
		}
	}
	return sum
}
