package smooth

import "math"

// burn is the boost as far as the readings tell: an even acceleration from
// rest at liftoff to burnout, where the coast takes over in height and speed.
// With pressure alone there may be two readings in it or none.
type burn struct {
	liftoff, liftoffSD float64 // s
	burnout, burnoutSD float64 // s
	length, lengthSD   float64 // s
	speed, speedSD     float64 // m/s at burnout
	accel, accelSD     float64 // m/s2, mean over the boost, of the motion
	ok                 bool
}

// Prior length of a boost: its median in s and the sd of its logarithm
// (common practice, no source).
const (
	waterBoostS, waterBoostSD = 0.22, 0.6
	solidBoostS, solidBoostSD = 0.9, 0.7
	burnGrid                  = 240
	// The thrust is not even: by how much of its length the boost's ends move
	// when it is strong early or late.
	unevenPart = 0.1
)

// findBurn follows the fitted coast back to the pad. An even acceleration from
// rest covers half the distance that the final speed would, so for each
// burnout on the coast there is exactly one liftoff, and only the length of
// the boost is open. It is found on a grid from the readings around the boost
// and the prior.
func findBurn(r *readings, f *fit, solid bool, guess float64) burn {
	median, sd, longest := waterBoostS, waterBoostSD, 1.2
	if solid {
		median, sd, longest = solidBoostS, solidBoostSD, 4.0
	}
	cross, ok := padCrossing(f, guess)
	if !ok {
		return burn{}
	}
	level := levelNear(r, cross-longest)
	from, to := r.at(cross-longest-0.5), r.at(cross+longest)
	best := math.Inf(-1)
	var logs [burnGrid]float64
	var cand [burnGrid]burn
	for i := range burnGrid {
		length := 0.03 * math.Pow(longest/0.03, float64(i)/(burnGrid-1))
		c, fits := burnOf(f, cross, length)
		logs[i] = math.Inf(-1)
		if !fits {
			continue
		}
		d := math.Log(length/median) / sd
		logs[i] = burnLikelihood(r, f, &c, level, from, to) - d*d/2
		cand[i] = c
		best = max(best, logs[i])
	}
	if math.IsInf(best, -1) {
		return burn{}
	}
	m, v := moments2(&logs, &cand, best)
	m.ok = true
	m.spread(f, &v)
	return m
}

// moments2 is the mean and the variance of the candidates, weighted by their
// likelihoods.
func moments2(logs *[burnGrid]float64, cand *[burnGrid]burn, best float64) (m, v burn) {
	fields := func(b *burn) [5]*float64 {
		return [5]*float64{&b.liftoff, &b.burnout, &b.length, &b.speed, &b.accel}
	}
	total := 0.0
	for i := range logs {
		total += math.Exp(logs[i] - best)
	}
	for i := range logs {
		p := math.Exp(logs[i]-best) / total
		for k, x := range fields(&cand[i]) {
			*fields(&m)[k] += p * *x
		}
	}
	for i := range logs {
		p := math.Exp(logs[i]-best) / total
		for k, x := range fields(&cand[i]) {
			*fields(&v)[k] += p * sq(*x-*fields(&m)[k])
		}
	}
	return m, v
}

func sq(x float64) float64 { return x * x }

// spread turns the grid's variances into standard deviations and adds what
// the coast is uncertain by.
func (m *burn) spread(f *fit, v *burn) {
	at := m.burnout
	crossSD := f.sd(func(q *params) float64 {
		h, s := f.path.at(q, at)
		return h / max(s, 1)
	})
	speedSD := f.sd(func(q *params) float64 {
		_, s := f.path.at(q, at)
		return s
	})
	uneven := sq(unevenPart * m.length)
	m.liftoffSD = math.Sqrt(v.liftoff + crossSD*crossSD + uneven)
	m.burnoutSD = math.Sqrt(v.burnout + uneven)
	m.lengthSD = math.Sqrt(v.length + 2*uneven + crossSD*crossSD)
	m.speedSD = math.Sqrt(v.speed + speedSD*speedSD)
	m.accelSD = math.Sqrt(v.accel + sq(0.15*m.accel))
}

// padCrossing is when the coast, followed back, passes the pad's level.
func padCrossing(f *fit, guess float64) (float64, bool) {
	t := max(guess+0.3, f.path.anchor-30)
	if t > f.path.anchor-0.2 {
		t = f.path.anchor - 0.2
	}
	fl := f.path.flow(&f.q)
	s := fl.to(f.path.anchor, t, anchored(&f.q))
	for range 400 {
		if s.h <= 0 && s.v > 0 {
			for range 20 {
				dt := -s.h / s.v
				s = fl.to(t, t+dt, s)
				t += dt
				if s.v <= 0 || math.IsNaN(s.h) {
					return 0, false
				}
				if math.Abs(s.h) < 1e-3 {
					return t, true
				}
			}
			return 0, false
		}
		if math.IsNaN(s.h) || s.v > mostSpeed {
			return 0, false
		}
		dt := 0.02
		if s.v > 0 {
			dt = max(0.002, min(0.05, s.h/s.v))
		}
		s = fl.to(t, t-dt, s)
		t -= dt
	}
	return 0, false
}

// burnOf is the boost of a given length that meets the coast.
func burnOf(f *fit, cross, length float64) (burn, bool) {
	// About half of it lies after the crossing; two rounds make it exact.
	at := cross + length/2
	for range 6 {
		h, v := f.path.at(&f.q, at)
		if v < 1 || h <= 0 {
			return burn{}, false
		}
		// want 2h/v = length
		at += (length - 2*h/v) / 2
	}
	h, v := f.path.at(&f.q, at)
	if v < 1 || h <= 0 || at > f.path.anchor {
		return burn{}, false
	}
	v *= 1 + f.q[pScale] // in the readings' metres
	return burn{liftoff: at - length, burnout: at, length: length, speed: v, accel: v / length}, true
}

// levelNear is the level of the last seconds before t, which the readings are
// compared with.
func levelNear(r *readings, t float64) float64 {
	i, j := r.at(t-5), r.at(t)
	if j-i < 3 {
		return 0
	}
	return median(r.h[i:j])
}

// burnLikelihood is the logarithm of how well a boost explains the readings
// from index from to to, and what the accelerometer says of it.
func burnLikelihood(r *readings, f *fit, c *burn, level float64, from, to int) float64 {
	sum := 0.0
	s := f.noise.white + 0.3*f.noise.gust + 0.01
	fl := f.path.flow(&f.q)
	m, at := fl.to(f.path.anchor, c.burnout, anchored(&f.q)), c.burnout
	for i := from; i < to; i++ {
		t := r.t[i]
		want, force := 0.0, gravity
		switch {
		case t >= c.burnout:
			m = fl.to(at, t, m)
			at = t
			want = m.h * (1 + f.q[pScale])
			force = math.NaN()
			if t > c.burnout+0.02 {
				force = 0
			}
		case t > c.liftoff:
			want = c.accel / 2 * sq(t-c.liftoff)
			force = c.accel + gravity
		}
		e2 := sq(r.h[i]-level-want) / s
		sum -= math.Min(e2, 9+math.Sqrt(e2)) / 2
		sum += forceTerm(r.force[i], force)
	}
	return sum
}

// forceTerm compares an accelerometer with what it should read, roughly: it
// only has to tell thrust from rest and from coast.
func forceTerm(got, want float64) float64 {
	if math.IsNaN(got) || math.IsNaN(want) {
		return 0
	}
	sd := 3.0
	if want > 15 {
		sd = 0.5 * want
		got = min(got, want) // stronger than even is no evidence against
	} else if want == 0 {
		sd = 5
		if got < 0 {
			got = 0 // drag
		}
	}
	return -math.Min(sq((got-want)/sd), 25) / 2
}
