package alarm

import (
	"padlark/flight"
	"padlark/flight/phrase"
)

// cond is what a rule says about its condition.
type cond int

const (
	unsure cond = iota // not enough known: leave the alarm as it is
	off                // the condition does not hold
	on                 // the condition holds
)

// words are how an alarm is told.
type words struct {
	priority flight.Priority
	say      phrase.Phrase // short enough to speak
	reason   phrase.Phrase // the numbers, and what to do
}

// rule watches for one condition of one rocket.
type rule interface {
	// check looks at the view after a sample or a tick.
	check(v *view) cond
	// words tells the condition; called right after check returned on, when the
	// alarm is being raised and once a second at most while it lasts, so it may
	// format at leisure.
	words(v *view) words
}

// newRules makes one rule of each kind for one rocket, in the order of kinds:
// most urgent first, so that a callout hears of danger before detail.
func newRules() []rule {
	rules := make([]rule, 0, len(kinds))
	for _, k := range kinds {
		rules = append(rules, k.make())
	}
	return rules
}

// since measures how long a condition has held without a break, in s. The zero
// value is ready to use.
type since struct {
	held  bool
	start float64
}

// hold notes whether the condition holds at time t and gives how long it has
// held by now; 0 when it does not.
func (s *since) hold(t float64, holds bool) float64 {
	if !holds {
		s.held = false
		return 0
	}
	if !s.held {
		s.held, s.start = true, t
	}
	return t - s.start
}

// gate is a condition with a delay either way: it turns on after holding for
// onS, and off after not holding for offS. The zero value is off.
type gate struct {
	state     bool
	high, low since
}

// step notes whether the condition holds at t and gives the gate's state. A
// condition that must hold for a time is on from the sample that completes it.
func (g *gate) step(t float64, holds bool, onS, offS float64) cond {
	up, down := g.high.hold(t, holds), g.low.hold(t, !holds)
	switch {
	case holds && !g.state && up >= onS:
		g.state = true
	case !holds && g.state && down >= offS:
		g.state = false
	}
	return asCond(g.state)
}

func asCond(b bool) cond {
	if b {
		return on
	}
	return off
}
