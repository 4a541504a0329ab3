package track

import "math"

// mode is one of the three ways in which a rocket can be moving.
type mode int

const (
	boost  mode = iota // under thrust: speed is a random walk
	coast              // body drag only
	canopy             // under a parachute, or anything else that slows it as much
	modes
)

// vec is height in m, speed in m/s and the logarithm of the drag per mass in
// 1/m (a = -g - drag v|v|).
type vec [3]float64

// sym is a symmetric 3x3 matrix: hh hv hl vv vl ll.
type sym [6]float64

// Tuning of the filter.
const (
	outlierShare = 0.02  // of the readings
	outlierM     = 5.0   // half width of the Cauchy tail that they come from, m
	weightFloor  = 1e-12 // no mode is ever given up for good
	longestStep  = 0.05  // s, of one integration step
)

// tune is what depends on the kind of rocket.
type tune struct {
	leave    [modes][modes]float64 // rate of passing from one mode to another, 1/s
	prior    [modes]float64        // mean of the log drag
	priorVar [modes]float64
	boostQ   float64 // m2/s3
}

// filter is a bank of three extended Kalman filters, one for each mode, that
// exchange their estimates as an interacting multiple model does (Blom and
// Bar-Shalom, IEEE Trans. AC-33, 1988; from memory). Each reading counts by
// the probability that it is no outlier, as in probabilistic data association.
type filter struct {
	tune   tune
	t      float64
	w      [modes]float64
	x      [modes]vec
	p      [modes]sym
	noise  float64 // variance of one reading, m2
	inlier float64 // probability that the last reading was none, 0 to 1
	health float64 // running mean of inlier
}

// start sets the filter on the pad, about to move.
func (f *filter) start(t, h, sdH, noise float64) {
	f.t, f.noise, f.inlier, f.health = t, noise, 1, 1
	f.w = [modes]float64{0.98, 0.015, 0.005}
	for m := range modes {
		f.x[m] = vec{h, 0, f.tune.prior[m]}
		f.p[m] = sym{sdH * sdH, 0, 0, 9, 0, f.tune.priorVar[m]}
	}
}

// restart sets the filter on a motion known from elsewhere, with the given
// weights.
func (f *filter) restart(t, h, v, varH, varV float64, w [modes]float64) {
	f.t, f.w, f.health = t, w, 0.8
	for m := range modes {
		f.x[m] = vec{h, v, f.tune.prior[m]}
		f.p[m] = sym{varH, 0, 0, varV, 0, f.tune.priorVar[m]}
	}
}

// step goes on to time t and takes the reading h; force is along the rocket
// or NaN.
func (f *filter) step(t, h, force float64) {
	if dt := t - f.t; dt > 0 {
		f.exchange(dt)
		for m := range modes {
			f.predict(m, dt, force)
		}
		f.t = t
	}
	f.update(h, force)
}

// exchange mixes the modes' estimates by the probability that the rocket
// passed from one to the other during dt.
func (f *filter) exchange(dt float64) {
	var pass [modes][modes]float64
	for i := range modes {
		total := 0.0
		for j := range modes {
			total += f.tune.leave[i][j]
		}
		left := -math.Expm1(-total * dt)
		for j := range modes {
			if total > 0 {
				pass[i][j] = left * f.tune.leave[i][j] / total
			}
		}
		pass[i][i] = 1 - left
	}
	var w [modes]float64
	var x [modes]vec
	var p [modes]sym
	for j := range modes {
		for i := range modes {
			w[j] += pass[i][j] * f.w[i]
		}
		x[j], p[j] = f.blend(j, &pass, w[j])
	}
	f.w, f.x, f.p = w, x, p
}

// blend is the mean and covariance of what arrives in mode j.
func (f *filter) blend(j mode, pass *[modes][modes]float64, total float64) (vec, sym) {
	if f.w[j]*pass[j][j] > (1-1e-10)*total {
		return f.x[j], f.p[j]
	}
	var mean vec
	var part [modes]vec
	var share [modes]float64
	for i := range modes {
		share[i] = pass[i][j] * f.w[i] / total
		part[i] = f.x[i]
		if i != j {
			part[i][2] = f.tune.prior[j] // drag is not carried from mode to mode
		}
		for k := range mean {
			mean[k] += share[i] * part[i][k]
		}
	}
	var cov sym
	for i := range modes {
		c := f.p[i]
		if i != j {
			c[2], c[4], c[5] = 0, 0, f.tune.priorVar[j]
		}
		d := vec{part[i][0] - mean[0], part[i][1] - mean[1], part[i][2] - mean[2]}
		cov[0] += share[i] * (c[0] + d[0]*d[0])
		cov[1] += share[i] * (c[1] + d[0]*d[1])
		cov[2] += share[i] * (c[2] + d[0]*d[2])
		cov[3] += share[i] * (c[3] + d[1]*d[1])
		cov[4] += share[i] * (c[4] + d[1]*d[2])
		cov[5] += share[i] * (c[5] + d[2]*d[2])
	}
	return mean, cov
}

// predict moves one mode on by dt.
func (f *filter) predict(m mode, dt, force float64) {
	x, p := &f.x[m], &f.p[m]
	if m == boost {
		q, a := f.tune.boostQ, 0.0
		if force == force { // measured
			a = force - gravity
			q = 100 + 0.01*a*a
		}
		advance(p, dt, 1, 0, 0)
		x[0] += dt*x[1] + dt*dt/2*a
		x[1] += dt * a
		addNoise(p, dt, q)
		return
	}
	for dt > 0 {
		s := min(dt, longestStep)
		dt -= s
		if dt < 1e-9 {
			s, dt = s+dt, 0
		}
		drag := math.Exp(x[2])
		v := x[1]
		pull := -drag * v * math.Abs(v)
		z := -2 * drag * math.Abs(v) * s
		p1, p2 := phi(z)
		advance(p, s*p1, math.Exp(z), s*s*p2*pull, s*p1*pull)
		x[0] += s*v + s*s*p2*(pull-gravity)
		x[1] += s * p1 * (pull - gravity)
		addNoise(p, s, f.unmodelled(m, v, pull))
		p[5] += s * 0.01
	}
}

// unmodelled is the density in m2/s3 of the accelerations that mode m leaves
// out: gusts and a tilted path while coasting, swinging under a canopy.
func (f *filter) unmodelled(m mode, v, pull float64) float64 {
	if m == canopy {
		return 8
	}
	a := 0.25 + 0.08*math.Abs(pull)
	return a * a * 0.5
}

// phi is (e^z-1)/z and (e^z-1-z)/z^2, for the exponential Euler step: second
// order, and stable however strong the drag.
func phi(z float64) (p1, p2 float64) {
	if z > -1e-3 {
		return 1 + z/2*(1+z/3), 0.5 + z/6*(1+z/4)
	}
	e := math.Expm1(z)
	return e / z, (e - z) / (z * z)
}

// advance is p = F p F' with
//
//	F = 1 hv hl
//	    0 vv vl
//	    0 0  1
func advance(p *sym, hv, vv, hl, vl float64) {
	hh, hvp, hlp, vvp, vlp, ll := p[0], p[1], p[2], p[3], p[4], p[5]
	// rows of F p
	a0 := hh + hv*hvp + hl*hlp
	a1 := hvp + hv*vvp + hl*vlp
	a2 := hlp + hv*vlp + hl*ll
	b1 := vv*vvp + vl*vlp
	b2 := vv*vlp + vl*ll
	p[0] = a0 + hv*a1 + hl*a2
	p[1] = vv*a1 + vl*a2
	p[2] = a2
	p[3] = vv*b1 + vl*b2
	p[4] = b2
}

// addNoise adds white acceleration of density q over dt.
func addNoise(p *sym, dt, q float64) {
	p[0] += q * dt * dt * dt / 3
	p[1] += q * dt * dt / 2
	p[3] += q * dt
}

// update takes a reading of height and, if measured, of force.
func (f *filter) update(h, force float64) {
	total, inlier := 0.0, 0.0
	for m := range modes {
		like, in := f.correct(m, h)
		like *= forceLikelihood(m, force, f.x[m])
		f.w[m] *= like
		total += f.w[m]
		inlier += f.w[m] * in
	}
	if !(total > 0) { // every likelihood underflowed: keep the weights even
		f.w = [modes]float64{1. / 3, 1. / 3, 1. / 3}
		total, inlier = 1, 0
	}
	f.inlier = inlier / total
	f.health += (f.inlier - f.health) / 8
	for m := range modes {
		f.w[m] = max(weightFloor, f.w[m]/total)
	}
}

// correct moves mode m towards the reading by the probability that it is no
// outlier, and returns its likelihood and that probability.
func (f *filter) correct(m mode, h float64) (like, in float64) {
	x, p := &f.x[m], &f.p[m]
	e := h - x[0]
	s := p[0] + f.noise
	good := (1 - outlierShare) * math.Exp(-e*e/(2*s)) / math.Sqrt(2*math.Pi*s)
	bad := outlierShare / (math.Pi * outlierM * (1 + e*e/(outlierM*outlierM)))
	in = good / (good + bad)
	k := vec{p[0] / s, p[1] / s, p[2] / s}
	grow := in * (1 - in) * e * e
	c0, c1, c2 := p[0], p[1], p[2]
	p[0] += k[0] * (grow*k[0] - in*c0)
	p[1] += k[0] * (grow*k[1] - in*c1)
	p[2] += k[0] * (grow*k[2] - in*c2)
	p[3] += k[1] * (grow*k[1] - in*c1)
	p[4] += k[1] * (grow*k[2] - in*c2)
	p[5] += k[2] * (grow*k[2] - in*c2)
	for i := range x {
		x[i] += in * k[i] * e
	}
	x[2] = max(-10, min(4, x[2]))
	return good + bad, in
}

// forceLikelihood is how well mode m explains what the accelerometer reads;
// 1 without one. The densities are broad on purpose: boards are mounted
// askew, and sensors clip.
func forceLikelihood(m mode, force float64, x vec) float64 {
	if force != force {
		return 1
	}
	switch m {
	case boost:
		if force < 0 {
			return 2e-4
		}
		return 1. / 200
	case coast:
		want := -math.Exp(x[2]) * x[1] * math.Abs(x[1])
		sd := 2 + 0.3*math.Abs(want)
		d := (force - want) / sd
		return 2e-4 + math.Exp(-d*d/2)/(sd*2.5)
	default:
		return 1. / 60
	}
}

// mean is the height, speed and their variances over all modes.
func (f *filter) mean() (h, v, varH, varV float64) {
	for m := range modes {
		h += f.w[m] * f.x[m][0]
		v += f.w[m] * f.x[m][1]
	}
	for m := range modes {
		dh, dv := f.x[m][0]-h, f.x[m][1]-v
		varH += f.w[m] * (f.p[m][0] + dh*dh)
		varV += f.w[m] * (f.p[m][3] + dv*dv)
	}
	return h, v, varH, varV
}

// faster is the probability that the speed exceeds v.
func (f *filter) faster(v float64) float64 {
	sum := 0.0
	for m := range modes {
		sum += f.w[m] * 0.5 * math.Erfc((v-f.x[m][1])/math.Sqrt(2*f.p[m][3]))
	}
	return sum
}
