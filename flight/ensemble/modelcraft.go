package ensemble

import (
	"math"

	"padlark/flight/model"
)

// physical is the craft that flies by flight/model.
type physical struct {
	rocket model.Rocket
	launch model.Launch
	air    air
}

// Spacing of the points that are taken from a trajectory, in s. The motion
// between is smooth, so that the cubic through two points errs by less than a
// tenth of a millimetre.
const (
	gridBoost  = 0.01
	gridCoast  = 0.04
	gridCanopy = 0.02
	gridSink   = 0.25
	canopyS    = 2.0 // after the release the speed settles within this
	aHair      = 1e-9
)

func (c physical) fly(o outing, p *truePath) error {
	r := c.rocket
	r.Release = model.Release{}
	r.Parachute *= o.chute
	switch {
	case o.stuckIn:
	case !math.IsNaN(o.byClock):
		r.Release = model.Release{How: model.AfterLiftoff, Seconds: o.byClock}
	case !math.IsNaN(o.lag):
		r.Release = model.Release{How: model.AfterApogee, Seconds: o.lag}
	}
	tr, err := model.Fly(r, c.launch)
	if err != nil {
		return err
	}
	p.reset()
	c.trace(&tr, p)
	p.findApogee()
	p.land(o.groundM)
	c.mark(&tr, r, o, p)
	return nil
}

// trace copies the trajectory to points.
func (c physical) trace(tr *model.Trajectory, p *truePath) {
	m := &tr.Marks
	out := m.Touchdown.T
	if m.Release.Seen {
		out = min(out, m.Release.T)
	}
	t := 0.0
	t = c.span(tr, p, t, m.Burnout.T, min(gridBoost, m.Burnout.T/24), 0)
	t = c.span(tr, p, t, out, gridCoast, 0)
	t = c.span(tr, p, t, min(out+canopyS, m.Touchdown.T), gridCanopy, out)
	c.span(tr, p, t, m.Touchdown.T, gridSink, out)
	if m.Touchdown.Seen {
		p.points[len(p.points)-1].Height = 0 // not a hair above
	}
	p.marks.burnout = m.Burnout.T
	p.marks.maxSpeed = max(p.marks.maxSpeed, tr.MaxSpeed)
	p.marks.maxAccel = max(p.marks.maxAccel, tr.MaxAccel)
}

// span copies from t to end with a point at both ends, each taken a hair
// inside. Released is when the canopy came out, 0 for not yet.
func (c physical) span(tr *model.Trajectory, p *truePath, t, end, dt, released float64) float64 {
	if end <= t+aHair {
		return t
	}
	n := int(math.Ceil((end-t)/dt - 1e-6))
	dt = (end - t) / float64(n)
	for i := 0; i <= n; i++ {
		at := t + float64(i)*dt
		from := at
		switch i {
		case 0:
			from += aHair
		case n:
			at, from = end, end-aHair
		}
		p.add(c.point(tr.At(from), at, released > 0))
	}
	return end
}

// point turns the model's point into ours. The force along the body is thrust
// less drag; under the canopy the lines carry the weight.
func (c physical) point(q model.Point, t float64, canopy bool) Point {
	wind := c.launch.Wind
	if c.launch.Shear > 0 && q.Height > 2 {
		wind *= math.Pow(q.Height/2, c.launch.Shear)
	}
	sp := math.Hypot(q.Sweep-wind, q.Speed)
	if sp < math.Abs(q.Speed) || q.Height < 0.01 {
		sp = math.Abs(q.Speed)
	}
	area := c.rocket.Cd * math.Pi / 4 * c.rocket.Diameter * c.rocket.Diameter
	force := (q.Thrust - c.air.density(q.Height)*area*sp*sp/2) / q.Mass
	if canopy {
		force = q.Accel + g0
	}
	return Point{T: t, Height: q.Height, Speed: q.Speed, Accel: q.Accel, Across: q.Drift, Air: sp, Force: force}
}

// mark sets release and opening. A release by the clock while the thrust
// still acts opens the canopy at burnout in the model; the command is when it
// was given.
func (c physical) mark(tr *model.Trajectory, r model.Rocket, o outing, p *truePath) {
	release := math.NaN()
	switch {
	case !math.IsNaN(o.byClock):
		release = o.byClock
	case tr.Marks.Release.Seen:
		release = tr.Marks.Release.T
	case !math.IsNaN(o.lag):
		release = p.marks.apogee + o.lag
	}
	if !(release < p.marks.touchdown) {
		return
	}
	p.marks.release = release
	if tr.Marks.Release.Seen {
		area := math.Pi / 4 * (r.ParachuteCd*r.Parachute*r.Parachute + r.Cd*r.Diameter*r.Diameter)
		p.markOpen(c.air, math.Sqrt(2*tr.Marks.Touchdown.Mass*g0/area))
	}
}
