package model

import "math"

// state is what is integrated: position and velocity in the plane of flight,
// and one quantity of the stage, scaled to about 1: the gas volume over that of
// the bottle, the gas mass over that at the start of the stage, or the part of
// the filling distance that the canopy has met.
type state [5]float64

const (
	iX = iota // drift, m
	iZ        // height, m
	iVX
	iVZ
	iQ
)

// tolerance is the local error that a step may make, relative and absolute.
type tolerance struct{ rel, abs float64 }

// The Dormand-Prince pair of orders 5 and 4 with its continuous extension of
// order 4: J. R. Dormand and P. J. Prince, J. Comp. Appl. Math. 6 (1980) 19;
// extension as in Hairer, Norsett, Wanner, Solving Ordinary Differential
// Equations I, II.6. Coefficients from memory; the tests measure the order of
// both.
const (
	a21                          = 1.0 / 5
	a31, a32                     = 3.0 / 40, 9.0 / 40
	a41, a42, a43                = 44.0 / 45, -56.0 / 15, 32.0 / 9
	a51, a52, a53, a54           = 19372.0 / 6561, -25360.0 / 2187, 64448.0 / 6561, -212.0 / 729
	a61, a62, a63, a64, a65      = 9017.0 / 3168, -355.0 / 33, 46732.0 / 5247, 49.0 / 176, -5103.0 / 18656
	a71, a73, a74, a75, a76      = 35.0 / 384, 500.0 / 1113, 125.0 / 192, -2187.0 / 6784, 11.0 / 84
	e1, e3, e4, e5, e6, e7       = 71.0 / 57600, -71.0 / 16695, 71.0 / 1920, -17253.0 / 339200, 22.0 / 525, -1.0 / 40
	c2, c3, c4, c5               = 1.0 / 5, 3.0 / 10, 4.0 / 5, 8.0 / 9
	d1, d3, d4                   = -12715105075.0 / 11282082432, 87487479700.0 / 32700410799, -10690763975.0 / 1880347072
	d5, d6, d7                   = 701980252875.0 / 199316789632, -1453857185.0 / 822651844, 69997945.0 / 29380423
	growMost, growLeast, caution = 6.0, 0.2, 0.9
)

// slopes gives the time derivative of a state.
type slopes interface {
	slope(t float64, y, dy *state)
}

// attempt is one step that was tried: the slopes at its seven points and the
// state at its end.
type attempt struct {
	k  [7]state
	y1 state
	w  state // the point at which a slope is taken; here so that it is not allocated
}

// try makes one step of h from (t, y) whose slope is in a.k[0], and returns the
// error relative to the tolerance: 1 or less is good.
func (a *attempt) try(f slopes, t, h float64, y *state, tol tolerance) float64 {
	k, w := &a.k, &a.w
	for i := range w {
		w[i] = y[i] + h*a21*k[0][i]
	}
	f.slope(t+c2*h, w, &k[1])
	for i := range w {
		w[i] = y[i] + h*(a31*k[0][i]+a32*k[1][i])
	}
	f.slope(t+c3*h, w, &k[2])
	for i := range w {
		w[i] = y[i] + h*(a41*k[0][i]+a42*k[1][i]+a43*k[2][i])
	}
	f.slope(t+c4*h, w, &k[3])
	for i := range w {
		w[i] = y[i] + h*(a51*k[0][i]+a52*k[1][i]+a53*k[2][i]+a54*k[3][i])
	}
	f.slope(t+c5*h, w, &k[4])
	for i := range w {
		w[i] = y[i] + h*(a61*k[0][i]+a62*k[1][i]+a63*k[2][i]+a64*k[3][i]+a65*k[4][i])
	}
	f.slope(t+h, w, &k[5])
	for i := range w {
		a.y1[i] = y[i] + h*(a71*k[0][i]+a73*k[2][i]+a74*k[3][i]+a75*k[4][i]+a76*k[5][i])
	}
	f.slope(t+h, &a.y1, &k[6])
	var worst float64
	for i := range w {
		e := h * (e1*k[0][i] + e3*k[2][i] + e4*k[3][i] + e5*k[4][i] + e6*k[5][i] + e7*k[6][i])
		scale := tol.abs + tol.rel*math.Max(math.Abs(y[i]), math.Abs(a.y1[i]))
		if r := math.Abs(e) / scale; r > worst || math.IsNaN(r) {
			worst = r
		}
	}
	return worst
}

// next is the length of the step after one of length h with error e.
func next(h, e float64) float64 {
	if math.IsNaN(e) || math.IsInf(e, 0) {
		return h * growLeast
	}
	if e < 1e-10 {
		return h * growMost
	}
	return h * math.Min(growMost, math.Max(growLeast, caution*math.Pow(e, -0.2)))
}

// dense is the continuous extension over one step.
type dense [5]state

// extension gives the continuous extension of the step of h from y.
func (a *attempt) extension(h float64, y *state) dense {
	var c dense
	k := &a.k
	for i := range y {
		diff := a.y1[i] - y[i]
		bow := h*k[0][i] - diff
		c[0][i], c[1][i], c[2][i] = y[i], diff, bow
		c[3][i] = diff - h*k[6][i] - bow
		c[4][i] = h * (d1*k[0][i] + d3*k[2][i] + d4*k[3][i] + d5*k[4][i] + d6*k[5][i] + d7*k[6][i])
	}
	return c
}

// at gives the state at the part u of the step, 0 to 1.
func (c *dense) at(u float64) state {
	var y state
	v := 1 - u
	for i := range y {
		y[i] = c[0][i] + u*(c[1][i]+v*(c[2][i]+u*(c[3][i]+v*c[4][i])))
	}
	return y
}
