package ensemble

import (
	"math"
	"math/rand/v2"
)

// Contrary is the world that nothing is mended on: where the others share an assumption
// with the estimators, it breaks it. Its flights are as healthy as those of Rough.
func Contrary() Spec {
	s := Rough()
	s.Name = "contrary"
	h := *s.Hard
	h.PortCp = Range{0, 0.1}
	s.Hard = &h
	s.Contrary = &Contrariness{
		SlowDrag: Range{0.2, 1}, SlowMps: Range{4, 15}, SoundMps: Range{320, 345},
		FilterS: Range{0.02, 0.15}, FilteredShare: 0.6,
		GustTauS: [3]Range{{0.15, 0.5}, {2, 5}, {10, 30}},
		Fade:     Range{0.5, 3}, FadeShare: 0.7,
	}
	return s
}

// Contrariness says from which ranges is drawn what the contrary world does otherwise.
type Contrariness struct {
	// The body's drag coefficient is that of its airframe at high speed, more by
	// SlowDrag times exp(-v/SlowMps) below (the boundary layer parts from it early),
	// and grows towards the speed of sound by Prandtl's and Glauert's rule.
	SlowDrag, SlowMps, SoundMps Range
	// FilteredShare of the boards smooth the pressure by a low pass of first order
	// before they send it, with this time constant.
	FilterS       Range
	FilteredShare float64
	// The wind's pressure is the sum of three processes with these correlation
	// times, together as strong as the one of the other worlds: a spectrum that
	// falls by less, over more than a decade.
	GustTauS [3]Range
	// FadeShare of the thrusts fall from the beginning as (1 - t/T)^Fade, the
	// others grow as (t/T)^(Fade/3).
	Fade      Range
	FadeShare float64
}

// contrary is what was drawn of it; the zero value is that of the other worlds.
type contrary struct {
	slowDrag, slowMps, sound float64
	power                    float64 // of the thrust: above 0 it fades, below it grows
}

// gainsay lays the contrary world over a plan whose hardships are drawn.
func (p *plan) gainsay(spec Spec) {
	c := spec.Contrary
	if c == nil {
		return
	}
	rng := stream(p.seed, p.index, forContrary)
	d := contrary{slowDrag: c.SlowDrag.draw(rng), slowMps: c.SlowMps.draw(rng), sound: c.SoundMps.draw(rng)}
	d.power = c.Fade.draw(rng)
	if rng.Float64() >= c.FadeShare {
		d.power /= -3
	}
	p.hard.contrary = d
	filter, filtered := c.FilterS.drawLog(rng), rng.Float64() < c.FilteredShare
	if filtered {
		p.sensor.filterS = filter
	}
	for i := range p.sensor.gustTaus {
		p.sensor.gustTaus[i] = c.GustTauS[i].drawLog(rng)
	}
}

// drag is by how much the body's drag coefficient at this speed through the air, m/s,
// differs from that of its airframe.
func (c *contrary) drag(air float64) float64 {
	if c.sound == 0 {
		return 1
	}
	mach := min(air/c.sound, 0.8) // the rule ends there
	return (1 + c.slowDrag*math.Exp(-air/c.slowMps)) / math.Sqrt(1-mach*mach)
}

// thrust at a part of the boost, over its mean.
func (c *contrary) thrust(part float64) float64 {
	n := math.Abs(c.power)
	if c.power > 0 {
		part = 1 - part
	}
	return (1 + n) * math.Pow(max(0, min(1, part)), n)
}

// gusts are the processes that make up a gust of another spectrum, each with the same
// part of its variance.
type gusts struct {
	parts [3]wander
	by    [3]pace
}

func newGusts(taus [3]float64, rng *rand.Rand) *gusts {
	g := &gusts{}
	for i, tau := range taus {
		g.by[i] = paceOf(tau)
		g.parts[i].start(rng)
	}
	return g
}

func (g *gusts) step(rng *rand.Rand) float64 {
	sum := 0.0
	for i := range g.parts {
		g.parts[i].step(rng, g.by[i])
		sum += g.parts[i].v
	}
	return sum / math.Sqrt(float64(len(g.parts)))
}
