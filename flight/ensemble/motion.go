package ensemble

import "math"

// motion is what the parametric flight needs: a boost given by how fast it
// ends, then gravity and drag in a vertical plane.
type motion struct {
	air     air
	mass    float64 // after burnout, kg
	dragA   float64 // drag coefficient times area of the body, m2
	boostS  float64 // length of the boost
	boostV  float64 // the speed that thrust alone would give, m/s
	front   float64 // thrust at the start over its mean; the end has 2 - front
	tilt    float64 // of the launch rail from the vertical, rad
	railM   float64 // length of the rail or tube
	wind    float64 // along the direction of the tilt, m/s
	release float64 // s after liftoff; +Inf if the board never commands it
	stuckIn bool    // the parachute stays in although released
	chuteA  float64 // drag coefficient times area of the parachute, m2
	fillS   float64 // from release to full parachute
	ground  float64 // height at which it comes to lie, m above the pad
	burning bool    // set by fly while the thrust acts
	// curve is the thrust over its mean at a part of the boost; nil for a straight line.
	curve func(part float64) float64
}

// state is position and velocity in the plane.
type state struct{ x, h, u, v float64 }

// accel is the acceleration at time t, the speed through the air and the
// specific force along the body.
func (m *motion) accel(t float64, s state) (ax, av, airspeed, force float64) {
	along := m.thrust(t)
	ux, uh := s.u-m.wind, s.v
	if m.burning && (math.Hypot(s.x, s.h) < m.railM || math.Abs(s.v) < 0.5) {
		// On the rail, or hardly moving: only along it.
		a := along - g0*math.Cos(m.tilt)
		sp := math.Hypot(s.u, s.v)
		d := m.drag(t, s.h) * sp * sp
		a -= d
		return a * math.Sin(m.tilt), a * math.Cos(m.tilt), sp, along - d
	}
	sp := math.Hypot(ux, uh)
	d := m.drag(t, s.h)
	if sp > 0 && along > 0 {
		ax += along * ux / sp
		av += along * uh / sp
	}
	ax -= d * sp * ux
	av -= d*sp*uh + g0
	return ax, av, sp, along - d*sp*sp
}

// thrust is the specific thrust in m/s2: a straight line over the boost.
func (m *motion) thrust(t float64) float64 {
	if !m.burning {
		return 0
	}
	if m.curve != nil {
		return m.boostV / m.boostS * m.curve(t/m.boostS)
	}
	return m.boostV / m.boostS * (m.front + 2*(1-m.front)*t/m.boostS)
}

// drag is the factor of speed squared, in 1/m. The parachute's area grows
// with the square of the time while it fills.
func (m *motion) drag(t, h float64) float64 {
	a := m.dragA
	if t > m.release && !m.stuckIn {
		f := 1.0
		if m.fillS > 0 {
			f = min(1, (t-m.release)/m.fillS)
		}
		a += m.chuteA * f * f
	}
	return m.air.density(h) * a / (2 * m.mass)
}

// step advances by one Runge-Kutta step of fourth order.
func (m *motion) step(t, dt float64, s state) state {
	d := func(k [4]float64, f float64) state {
		return state{s.x + f*k[0], s.h + f*k[1], s.u + f*k[2], s.v + f*k[3]}
	}
	eval := func(t float64, s state) [4]float64 {
		ax, av, _, _ := m.accel(t, s)
		return [4]float64{s.u, s.v, ax, av}
	}
	k1 := eval(t, s)
	k2 := eval(t+dt/2, d(k1, dt/2))
	k3 := eval(t+dt/2, d(k2, dt/2))
	k4 := eval(t+dt, d(k3, dt))
	f := dt / 6
	return state{
		s.x + f*(k1[0]+2*k2[0]+2*k3[0]+k4[0]), s.h + f*(k1[1]+2*k2[1]+2*k3[1]+k4[1]),
		s.u + f*(k1[2]+2*k2[2]+2*k3[2]+k4[2]), s.v + f*(k1[3]+2*k2[3]+2*k3[3]+k4[3]),
	}
}

// Step lengths in s: fine while the thrust acts and the parachute fills,
// coarse in between and
// at the steady sink.
const (
	stepCoast  = 0.02
	stepSink   = 0.08
	boostSteps = 24
	fillSteps  = 12
	longestS   = 900.0
)

// fly integrates the motion into the path, from liftoff to touchdown.
func (m *motion) fly(p *truePath) {
	p.reset()
	s, t := state{}, 0.0
	m.burning = true
	t, s = m.span(p, t, s, min(m.boostS, m.release), m.boostS/boostSteps)
	if m.release < m.boostS {
		t, s = m.span(p, t, s, m.boostS, m.boostS/boostSteps)
	}
	m.burning = false
	p.marks.burnout = m.boostS
	down := func(s state) bool { return s.h <= m.ground && s.v < 0 }
	for t < m.release && t < longestS && !down(s) {
		t, s = m.span(p, t, s, min(t+stepCoast, m.release), stepCoast)
	}
	if t >= m.release {
		full := m.release + m.fillS
		if !m.stuckIn && t < full && m.fillS > 0 {
			t, s = m.span(p, t, s, full, m.fillS/fillSteps)
		}
		for t < longestS && !down(s) {
			dt := stepCoast
			if !m.stuckIn && t > full+1 {
				dt = stepSink
			}
			t, s = m.span(p, t, s, t+dt, dt)
		}
	}
	p.findApogee()
	p.land(m.ground)
	m.mark(p)
}

// mark sets release and opening, if they came before touchdown.
func (m *motion) mark(p *truePath) {
	if m.release < p.marks.touchdown {
		p.marks.release = m.release
		if !m.stuckIn {
			p.markOpen(m.air, math.Sqrt(2*m.mass*g0/(m.chuteA+m.dragA)))
		}
	}
}

// span integrates from t to end in equal steps of at most dt, with a point
// at each, both ends included, so that the acceleration may jump at either.
func (m *motion) span(p *truePath, t float64, s state, end, dt float64) (float64, state) {
	if end <= t {
		return t, s
	}
	n := math.Ceil((end-t)/dt - 1e-9)
	dt = (end - t) / n
	if len(p.points) == 0 || p.last().T < t || t == m.boostS || t == m.release {
		p.add(m.point(t, s))
	}
	for i := range int(n) {
		at := t + float64(i)*dt
		s = m.step(at, dt, s)
		next := at + dt
		if i == int(n)-1 {
			next = end
		}
		p.add(m.point(next, s))
	}
	return end, s
}

// point is the truth at time t.
func (m *motion) point(t float64, s state) Point {
	_, av, sp, force := m.accel(t, s)
	return Point{T: t, Height: s.h, Speed: s.v, Accel: av, Across: s.x, Air: sp, Force: force}
}
