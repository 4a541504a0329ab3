package ensemble

import (
	"iter"
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// Wait is a rocket that stands on the pad for hours and never flies.
type Wait struct {
	Epoch  time.Time
	Rocket flight.Rocket
	Site   flight.Site
	Setup  Setup

	plan *plan
}

// OnPad is the spec of the long wait: all rates, noise up to 1 m, drift, wind,
// a warming sensor, now and then an outlier.
func OnPad() Spec {
	s := Wide()
	s.Name = "on-pad"
	s.SolidShare = 0
	s.OutliersPer1000 = Range{0, 0.5}
	return s
}

// WaitingPad draws a board of the spec that waits for so many hours.
func WaitingPad(spec Spec, seed, index uint64, hours float64) Wait {
	p, _ := drawSetup(spec, seed, index)
	p.liftoff, p.end = math.Inf(1), hours*3600
	p.board.armAt = math.Inf(1)
	p.sensor.bumps = nil // nothing is released
	return Wait{Epoch: epoch, Rocket: p.rocket, Site: p.site, Setup: p.setup(), plan: p}
}

// Samples yields the samples one by one, in the order in which they are heard.
// The sample and its channels are valid until the next one: nothing is kept in
// memory, however long the wait.
func (w Wait) Samples() iter.Seq[*decode.Sample] {
	return func(yield func(*decode.Sample) bool) {
		var (
			out  decode.Sample
			rssi float64
			vals = make([]float64, len(w.plan.names()))
			src  = newSource(w.plan, &truePath{}, w.Epoch)
		)
		for src.next(&out, vals, &rssi) {
			if !yield(&out) {
				return
			}
		}
	}
}
