package ensemble

import (
	"math"

	"padlark/flight"
)

// plan is everything that a flight is made from, after all random choices
// about it are made. A named case or a fault changes the plan and renders it
// again; the noise stays that of the same seed.
type plan struct {
	name        string
	seed, index uint64
	rocket      flight.Rocket
	site        flight.Site
	air         air
	craft       craft
	outing      outing
	liftoff     float64 // s since the epoch; +Inf if it never flies
	end         float64 // no sample after this, s since the epoch; set by fly
	afterS      float64 // from touchdown to the end
	cutS        float64 // from the release to the end if above 0

	tiltDeg, sinkMps float64 // as drawn, for the Setup

	hard   *hard // nil but in the rough world
	sensor sensor
	board  board
	radio  radio
	power  power
}

// outing is how one flight goes after the launch.
type outing struct {
	lag     float64 // from apogee to the release in s; NaN if by the clock or never
	byClock float64 // from liftoff to the release in s; NaN if not by the clock
	stuckIn bool    // the parachute stays in although released
	chute   float64 // factor on the parachute's diameter: torn, or too large
	groundM float64 // height above the pad at which it comes to lie
}

// never is the outing in which nothing opens.
func never() outing { return outing{lag: math.NaN(), byClock: math.NaN(), chute: 1} }

// after is the outing with a release lag seconds after apogee.
func after(lag float64) outing {
	o := never()
	o.lag = lag
	return o
}

// craft can fly an outing. It writes the true motion into the path.
type craft interface {
	fly(o outing, p *truePath) error
}

// fly sets path and end for the plan's outing.
func (p *plan) fly(path *truePath) error {
	path.reset()
	if math.IsInf(p.liftoff, 1) {
		return nil
	}
	if err := p.craft.fly(p.outing, path); err != nil {
		return err
	}
	p.finish(path)
	return nil
}

// finish sets the time of the last sample from a flown path.
func (p *plan) finish(path *truePath) {
	p.end = p.liftoff + path.marks.touchdown + p.afterS
	if p.cutS > 0 {
		stop := path.marks.release
		if math.IsNaN(stop) {
			stop = path.marks.apogee
		}
		p.end = min(p.end, p.liftoff+stop+p.cutS)
	}
}

// parametric is the craft with the closed boost.
type parametric struct{ motion motion }

func (c parametric) fly(o outing, p *truePath) error {
	m := c.motion
	m.ground = o.groundM
	m.stuckIn = o.stuckIn
	m.chuteA *= o.chute * o.chute
	m.release = math.Inf(1)
	switch {
	case !math.IsNaN(o.byClock):
		m.release = o.byClock
	case !math.IsNaN(o.lag):
		m.release = max(0, m.naturalApogee()+o.lag)
	}
	m.fly(p)
	return nil
}

// naturalApogee is the time of the apogee, in s after liftoff, if nothing is
// released before it.
func (m *motion) naturalApogee() float64 {
	s, t := state{}, 0.0
	free := *m
	free.release = math.Inf(1)
	free.burning = true
	dt := free.boostS / boostSteps
	for range boostSteps {
		s = free.step(t, dt, s)
		t += dt
	}
	free.burning = false
	for s.v > 0 && t < longestS {
		next := free.step(t, stepCoast, s)
		if next.v <= 0 {
			return t + stepCoast*s.v/(s.v-next.v)
		}
		s, t = next, t+stepCoast
	}
	return t
}
