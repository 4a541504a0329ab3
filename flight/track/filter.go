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

// Parts of a mode's state.
const (
	xHeight = iota // m
	xSpeed         // m/s
	xDrag          // logarithm of the drag per mass in 1/m (a = -g - drag v|v|)
	xGust          // m, by how much the wind moves the reading
	xPort          // by which part of v²/2g a reading is high: what speed does to the vent
	states
)

// vec is the state of one mode, mat its covariance.
type (
	vec [states]float64
	mat [states][states]float64
)

// Tuning of the filter.
const (
	outlierShare = 0.02  // of the readings
	outlierM     = 5.0   // half width of the Cauchy tail that they come from, m
	weightFloor  = 1e-12 // no mode is ever given up for good
	longestStep  = 0.05  // s, of one integration step
	gustTau      = 1.5   // s, correlation time of gusts (common practice, no source)
	portPart     = 0.1   // sd of the vent's error in parts of the dynamic pressure (common practice, no source)
	portMost     = 0.8
	portQ        = 1e-4 // 1/s, by how much it changes as the rocket turns, and
	portFades    = 0.02 // 1/s, in parts of it, as the rocket slows down
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
	p      [modes]mat
	noise  float64 // variance of one reading, m2
	gust   float64 // variance of the gusts, m2
	holdTo float64 // until then no mode is left: it is still on the pad or just above it
	opens  float64 // rate of passing from coast to canopy, 1/s
	inlier float64 // probability that the last reading was none, 0 to 1
	health float64 // running mean of inlier
	aside  float64 // m/s, sd of a speed that is feigned while the rocket slows down across
	hides  float64 // m/s of climb that such a vent hides for sure
}

// start sets the filter on the pad, about to move.
func (f *filter) start(t, h, varH float64) {
	f.t, f.inlier, f.health = t, 1, 1
	f.w = [modes]float64{1, weightFloor, weightFloor}
	f.reset(h, 0, varH, 9)
}

// restart sets the filter on a motion known from elsewhere, with the given
// weights.
func (f *filter) restart(t, h, v, varH, varV float64, w [modes]float64) {
	f.t, f.w, f.health = t, w, 0.8
	f.reset(h, v, varH, varV)
}

func (f *filter) reset(h, v, varH, varV float64) {
	for m := range modes {
		f.x[m] = vec{h, v, f.tune.prior[m], 0, 0}
		f.p[m] = mat{}
		for i, d := range [states]float64{varH, varV, f.tune.priorVar[m], f.gust, portPart * portPart} {
			f.p[m][i][i] = d
		}
	}
}

// longestMix is the longest time in s over which a change of mode is taken to
// come first: in a gap it may come at any time.
const longestMix = 0.12

// step goes on to time t and takes the reading h; force is along the rocket
// or NaN.
func (f *filter) step(t, h, force float64) {
	worth := min(1, (t-f.t)/forceS)
	if dt := t - f.t; dt > 0 {
		n := math.Ceil(dt / longestMix)
		for i := range int(n) {
			now := math.NaN() // the force is that of the end
			if i == int(n)-1 {
				now = force
			}
			f.advance(dt/n, now)
		}
		f.t = t
	}
	f.update(h, force, worth)
}

// advance moves all modes on by dt.
func (f *filter) advance(dt, force float64) {
	f.t += dt
	if f.t > f.holdTo {
		f.exchange(dt)
	}
	for m := range modes {
		f.predict(m, dt, force)
	}
}

// exchange mixes the modes' estimates by the probability that the rocket
// passed from one to the other during dt.
func (f *filter) exchange(dt float64) {
	var pass [modes][modes]float64
	f.tune.leave[coast][canopy] = f.opens
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
	var p [modes]mat
	for j := range modes {
		for i := range modes {
			w[j] += pass[i][j] * f.w[i]
		}
		f.blend(j, &pass, w[j], &x[j], &p[j])
	}
	f.w, f.x, f.p = w, x, p
}

// blend writes the mean and covariance of what arrives in mode j.
func (f *filter) blend(j mode, pass *[modes][modes]float64, total float64, mean *vec, cov *mat) {
	if f.w[j]*pass[j][j] > (1-1e-10)*total {
		*mean, *cov = f.x[j], f.p[j]
		return
	}
	var part [modes]vec
	var share [modes]float64
	for i := range modes {
		share[i] = pass[i][j] * f.w[i] / total
		part[i] = f.x[i]
		if i != j {
			part[i][xDrag] = f.tune.prior[j] // drag is not carried from mode to mode
		}
		for k := range mean {
			mean[k] += share[i] * part[i][k]
		}
	}
	for i := range modes {
		if share[i] == 0 {
			continue
		}
		c := f.p[i]
		if i != j {
			for k := range states {
				c[k][xDrag], c[xDrag][k] = 0, 0
			}
			c[xDrag][xDrag] = f.tune.priorVar[j]
		}
		for k := range states {
			for l := range states {
				cov[k][l] += share[i] * (c[k][l] + (part[i][k]-mean[k])*(part[i][l]-mean[l]))
			}
		}
	}
}

// predict moves one mode on by dt.
func (f *filter) predict(m mode, dt, force float64) {
	x, p := &f.x[m], &f.p[m]
	fade := math.Exp(-dt / gustTau)
	p.scaleGust(fade)
	p[xGust][xGust] += f.gust * (1 - fade*fade)
	x[xGust] *= fade
	p[xPort][xPort] += dt * (portQ + portFades*x[xPort]*x[xPort])
	if m == boost {
		q, a := f.tune.boostQ, 0.0
		if force == force { // measured
			a = force - gravity
			q = 100 + 0.01*a*a
		}
		p.advance(dt, 1, 0, 0, 0, 0)
		x[xHeight] += dt*x[xSpeed] + dt*dt/2*a
		x[xSpeed] += dt * a
		p.addNoise(dt, q)
		return
	}
	for dt > 0 {
		s := min(dt, longestStep)
		dt -= s
		if dt < 1e-9 {
			s, dt = s+dt, 0
		}
		drag := math.Exp(x[xDrag])
		v := x[xSpeed]
		pull := -drag * v * math.Abs(v)
		z := -2 * drag * math.Abs(v) * s
		p1, p2 := phi(z)
		own := gravity * (1 - x[xPort])
		p.advance(s*p1, math.Exp(z), s*s*p2*pull, s*p1*pull, s*s*p2*gravity, s*p1*gravity)
		x[xHeight] += s*v + s*s*p2*(pull-own)
		x[xSpeed] += s * p1 * (pull - own)
		p.addNoise(s, unmodelled(m, v, pull))
		p[xDrag][xDrag] += s * 0.01
	}
}

// unmodelled is the density in m2/s3 of the accelerations that mode m leaves
// out: gusts and a tilted path while coasting, swinging under a canopy. What
// still rises cannot swing: it is slowed by gravity at least.
func unmodelled(m mode, v, pull float64) float64 {
	if m == canopy && v < 0 {
		return 0.2 + 1.5*min(1, v*v/9)
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

// advance is p = F p F' where F is the identity but for
//
//	height: 1 hv hl 0 hc
//	speed:  0 vv vl 0 vc
func (p *mat) advance(hv, vv, hl, vl, hc, vc float64) {
	for j := range states { // rows: F p
		h, v, l, c := p[xHeight][j], p[xSpeed][j], p[xDrag][j], p[xPort][j]
		p[xHeight][j] = h + hv*v + hl*l + hc*c
		p[xSpeed][j] = vv*v + vl*l + vc*c
	}
	for i := range states { // columns: (F p) F'
		h, v, l, c := p[i][xHeight], p[i][xSpeed], p[i][xDrag], p[i][xPort]
		p[i][xHeight] = h + hv*v + hl*l + hc*c
		p[i][xSpeed] = vv*v + vl*l + vc*c
	}
}

// scaleGust multiplies the gust by a.
func (p *mat) scaleGust(a float64) {
	for i := range states {
		p[i][xGust] *= a
		p[xGust][i] *= a
	}
}

// addNoise adds white acceleration of density q over dt.
func (p *mat) addNoise(dt, q float64) {
	p[xHeight][xHeight] += q * dt * dt * dt / 3
	c := q * dt * dt / 2
	p[xHeight][xSpeed] += c
	p[xSpeed][xHeight] += c
	p[xSpeed][xSpeed] += q * dt
}

// update takes a reading of height and, if measured, of force, of which the part worth
// is new.
func (f *filter) update(h, force, worth float64) {
	total, inlier := 0.0, 0.0
	for m := range modes {
		like, in := f.correct(m, h)
		if force == force {
			like *= math.Pow(forceLikelihood(m, force), worth)
		}
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
	e := h - x[xHeight] - x[xGust]
	var c vec // covariance of the state with the reading
	for i := range states {
		c[i] = p[i][xHeight] + p[i][xGust]
	}
	s := c[xHeight] + c[xGust] + f.noise
	good := (1 - outlierShare) * math.Exp(-e*e/(2*s)) / math.Sqrt(2*math.Pi*s)
	bad := outlierShare / (math.Pi * outlierM * (1 + e*e/(outlierM*outlierM)))
	in = good / (good + bad)
	shrink := (in - in*(1-in)*e*e/s) / s
	for i := range states {
		for j := range states {
			p[i][j] -= shrink * c[i] * c[j]
		}
		x[i] += in * c[i] / s * e
	}
	x[xDrag] = max(-10, min(4, x[xDrag]))
	if math.Abs(x[xPort]) > portMost {
		x[xPort] = math.Copysign(portMost, x[xPort])
		p[xPort][xPort] = max(p[xPort][xPort], portPart*portPart/4)
	}
	return good + bad, in
}

// forceS is how long a force lasts, s: readings that are closer tell less that is new.
const forceS = 0.1

// forceLikelihood is how well mode m explains what the accelerometer reads: whether
// thrust has ended. A coast and a canopy are not told apart by it: where a vent errs, so
// does the drag that a coast should have, and a parachute was seen that was none.
func forceLikelihood(m mode, force float64) float64 {
	switch {
	case m != boost:
		return 1. / 60
	case force < 0:
		return 4e-3
	}
	return 1. / 200
}

// mean is the height, speed and their variances over all modes.
func (f *filter) mean() (h, v, varH, varV float64) {
	for m := range modes {
		h += f.w[m] * f.x[m][xHeight]
		v += f.w[m] * f.x[m][xSpeed]
	}
	for m := range modes {
		dh, dv := f.x[m][xHeight]-h, f.x[m][xSpeed]-v
		varH += f.w[m] * (f.p[m][xHeight][xHeight] + dh*dh)
		varV += f.w[m] * (f.p[m][xSpeed][xSpeed] + dv*dv)
	}
	return h, v, varH, varV
}

// faster is the probability that it climbs on for more than t seconds, were
// there only gravity.
func (f *filter) faster(t float64) float64 {
	sum := 0.0
	for m := range modes {
		x, p := &f.x[m], &f.p[m]
		left := x[xSpeed] + f.hides - gravity*t*(1-x[xPort])
		k := gravity * t
		aside := f.aside
		if m == canopy { // it has lost that speed
			aside = 0
		}
		sd := math.Sqrt(p[xSpeed][xSpeed] + aside*aside + k*(2*p[xSpeed][xPort]+k*p[xPort][xPort]))
		sum += f.w[m] * 0.5 * math.Erfc(-left/(math.Sqrt2*sd))
	}
	return sum
}
