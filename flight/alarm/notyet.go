package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// settleS is how long a rocket must be heard at rest before it may fly, in s:
// the tracker needs as much to know the pad's level and noise.
const settleS = 5

// relearnS is after how long a silence on the ground the tracker learns the pad
// anew (see flight/track).
const relearnS = 30

// NotYet lists what still keeps a rocket from flying, the most
// important first; empty means go. It is also the answer for rockets that
// nobody has heard or configured. The caller owns the slice.
func (b *Book) NotYet(rocket string) []phrase.Phrase {
	e := b.entries[rocket]
	if e == nil {
		return []phrase.Phrase{phrase.Of("pad.unknown")}
	}
	v := &e.view
	if math.IsNaN(v.first) {
		return []phrase.Phrase{phrase.Of("pad.unheard")}
	}
	now := b.seconds(b.now)
	var out []phrase.Phrase
	switch {
	case v.inFlight():
		return []phrase.Phrase{phrase.Of("pad.flying")}
	case v.phase == flight.Landed:
		out = append(out, phrase.Of("pad.landed"))
	}
	if quiet := now - v.heard; quiet > 2+5/math.Max(1, v.rocket.RateHz) {
		out = append(out, phrase.Of("pad.quiet", seconds("quiet", quiet, 0)))
	}
	for _, s := range e.live {
		if s.Active && s.Priority != flight.Know && s.Kind != "silent" {
			out = append(out, s.ReasonPhrase)
		}
	}
	return append(out, e.notReady(now)...)
}

// notReady lists what is missing that no alarm speaks of.
func (e *entry) notReady(now float64) []phrase.Phrase {
	var out []phrase.Phrase
	v := &e.view
	if !v.known {
		out = append(out, v.tell("pad.guest"))
	}
	if v.phase == flight.Waiting && now-v.anew < settleS {
		out = append(out, phrase.Of("pad.learning", seconds("left", math.Ceil(settleS-(now-v.anew)), 0)))
	}
	if math.IsNaN(v.pressure) {
		out = append(out, phrase.Of("pad.no-pressure"))
	}
	if v.limits.Arms == armsOnPad && v.armed == 0 && v.phase == flight.Waiting {
		out = append(out, phrase.Of("pad.not-armed"))
	}
	return out
}
