package smooth

import (
	"math"
	"time"
)

// Series is the smoothed flight for plots: one entry for each reading.
// Heights in m above the pad, speeds up positive.
type Series struct {
	Start    time.Time // T = 0, UTC
	T        []float64 // s
	Raw      []float64 // m, the reading itself
	Height   []float64
	HeightSD []float64
	Speed    []float64 // m/s
	SpeedSD  []float64
	Accel    []float64 // of the motion, m/s2
	AccelSD  []float64 // what the model of the path may leave out; coarse
	Outlier  []bool    // the reading was left out
	// ApogeeParts say what the standard deviation of the apogee is made of,
	// ApogeeTimeSD is that of its time, in s.
	ApogeeParts  Parts
	ApogeeTimeSD float64
	// DescentReadingsSD is the part of the sink rate's standard deviation that
	// comes from the readings, in m/s; the rest is systematic.
	DescentReadingsSD float64
}

// drift2 is a two-state smoother for what the model path leaves over: its
// height error and the rate of that.
type drift2 struct {
	x [2]float64
	p [3]float64
}

// smoothSeries lays a Rauch-Tung-Striebel smoother (AIAA Journal 3, 1965; from
// memory) over the differences between readings and model path. Where the
// path explains the flight it adds little; where it does not, it follows the
// readings.
func smoothSeries(r *readings, m *motion) Series {
	n := len(r.t)
	s := Series{Start: r.ref, T: append([]float64(nil), r.t...), Raw: append([]float64(nil), r.h...),
		Height: make([]float64, n), HeightSD: make([]float64, n), Speed: make([]float64, n), SpeedSD: make([]float64, n),
		Accel: make([]float64, n), AccelSD: make([]float64, n), Outlier: make([]bool, n)}
	h, v, a := make([]float64, n), make([]float64, n), make([]float64, n)
	m.fill(r.t, h, v, a)
	pre, post := make([]drift2, n), make([]drift2, n)
	cur := drift2{p: [3]float64{1, 0, 25}}
	away := 0 // outliers in a row
	for i := range n {
		if i > 0 {
			cur.predict(r.t[i]-r.t[i-1], m.roughness(r.t[i]))
		}
		pre[i] = cur
		w := cur.p[0] + m.white
		e := r.h[i] - h[i] - cur.x[0]
		if s.Outlier[i] = e*e > 25*w && i > 0; s.Outlier[i] {
			away++
		} else {
			away = 0
			cur.correct(e, w)
		}
		if away > 4 { // not outliers: the smoother lost it
			cur.p[0], cur.p[1], cur.p[2] = cur.p[0]+e*e, 0, cur.p[2]+25
		}
		post[i] = cur
	}
	for i := n - 1; i >= 0; i-- {
		if i < n-1 {
			post[i].back(&pre[i+1], &post[i+1], r.t[i+1]-r.t[i])
		}
		q := math.Sqrt(m.roughness(r.t[i]) * 5)
		s.Height[i], s.HeightSD[i] = h[i]+post[i].x[0], math.Sqrt(max(post[i].p[0], 0))
		s.Speed[i], s.SpeedSD[i] = v[i]+post[i].x[1], math.Sqrt(max(post[i].p[2], 0))
		s.Accel[i], s.AccelSD[i] = a[i], q
	}
	return s
}

func (d *drift2) predict(dt, q float64) {
	d.x[0] += dt * d.x[1]
	d.p[0] += dt*(2*d.p[1]+dt*d.p[2]) + q*dt*dt*dt/3
	d.p[1] += dt*d.p[2] + q*dt*dt/2
	d.p[2] += q * dt
}

func (d *drift2) correct(e, s float64) {
	k0, k1 := d.p[0]/s, d.p[1]/s
	d.x[0] += k0 * e
	d.x[1] += k1 * e
	d.p[2] -= k1 * d.p[1]
	d.p[1] -= k0 * d.p[1]
	d.p[0] -= k0 * d.p[0]
}

// back is one step of the backward pass: d is filtered here, pre what it
// predicted for the next reading and next what is known there in the end.
func (d *drift2) back(pre, next *drift2, dt float64) {
	det := pre.p[0]*pre.p[2] - pre.p[1]*pre.p[1]
	if !(det > 1e-18) {
		return
	}
	// C = P F' inv(Ppre)
	a0, a1 := d.p[0]+dt*d.p[1], d.p[1]
	b0, b1 := d.p[1]+dt*d.p[2], d.p[2]
	i0, i1, i2 := pre.p[2]/det, -pre.p[1]/det, pre.p[0]/det
	c00, c01 := a0*i0+a1*i1, a0*i1+a1*i2
	c10, c11 := b0*i0+b1*i1, b0*i1+b1*i2
	e0, e1 := next.x[0]-pre.x[0], next.x[1]-pre.x[1]
	d.x[0] += c00*e0 + c01*e1
	d.x[1] += c10*e0 + c11*e1
	m0, m1, m2 := next.p[0]-pre.p[0], next.p[1]-pre.p[1], next.p[2]-pre.p[2]
	d.p[0] += c00*(c00*m0+c01*m1) + c01*(c00*m1+c01*m2)
	d.p[1] += c00*(c10*m0+c11*m1) + c01*(c10*m1+c11*m2)
	d.p[2] += c10*(c10*m0+c11*m1) + c11*(c10*m1+c11*m2)
}

// motion is the model of the whole flight: pad, boost, path, rest. Without a
// fit it is nothing but zeros, and rough.
type motion struct {
	f       *fit // nil if none
	coast   *fit // of the climb
	b       burn
	white   float64
	liftoff float64
	release float64 // s; NaN if there was none
	fallen  float64 // s, from when on a fall without a parachute is not fitted
}

// fill writes the model's height, speed and acceleration at times t.
func (m *motion) fill(t, h, v, a []float64) {
	if m.f == nil {
		return
	}
	q := &m.f.q
	p := &m.f.path
	first := 0
	for first < len(t) && t[first] < p.anchor {
		first++
	}
	up, down := 1+m.coast.q[pScale], 1+q[pScale] // in the readings' metres
	climb := m.coast.path.flow(&m.coast.q)
	s, at := anchored(&m.coast.q), m.coast.path.anchor
	for i := first - 1; i >= 0 && t[i] >= m.b.burnout; i-- {
		s = climb.to(at, t[i], s)
		at = t[i]
		h[i], v[i] = s.h*up, s.v*up
		a[i], _, _ = climb.rate(at, s)
	}
	for i := range first {
		if t[i] < m.b.burnout && t[i] > m.b.liftoff {
			u := t[i] - m.b.liftoff
			h[i], v[i], a[i] = m.b.accel/2*u*u, m.b.accel*u, m.b.accel
		}
	}
	fall := p.flow(q)
	s, at = anchored(q), p.anchor
	for i := first; i < len(t); i++ {
		if t[i] >= m.f.touch {
			h[i] = q[pRest] * down
			continue
		}
		s = fall.to(at, t[i], s)
		at = t[i]
		h[i], v[i] = s.h*down, s.v*down
		a[i], _, _ = fall.rate(at, s)
	}
}

// roughness is how strongly the rocket may depart from the model, in m2/s3.
func (m *motion) roughness(t float64) float64 {
	if m.f == nil {
		if t < m.liftoff {
			return 1e-4
		}
		return 400
	}
	switch {
	case t < m.b.liftoff-0.1:
		return 1e-5
	case t < m.b.burnout+0.1:
		return 2000
	case t < m.release:
		return 0.05
	case math.IsNaN(m.release):
		switch {
		case t < m.fallen:
			return 0.05
		case t > m.f.touch+1:
			return 1e-4
		}
		return 100
	case t < m.release+1:
		return 30
	case t < m.f.touch:
		return 0.5
	default:
		return 1e-4
	}
}
