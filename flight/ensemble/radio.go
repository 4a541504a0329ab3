package ensemble

import "math/rand/v2"

// radio is the way from the board to the station.
type radio struct {
	loss     float64 // fraction of the frames, 0 to below 1
	burst    float64 // mean frames in a loss, at least 1
	latency  float64 // s from measuring to the last byte, at least
	spread   float64 // mean of the further delay, exponential, s
	rssi     float64 // dBm at the pad
	gaps     []span  // nothing is heard in these
	weakFrom float64 // from here the signal falls by weakDb
	weakDb   float64
}

// span is a stretch of time in s since the epoch.
type span struct{ from, to float64 }

func (s span) has(t float64) bool { return t >= s.from && t < s.to }

// channel is a radio at work: a two-state chain (Gilbert 1960, from memory):
// a good state in which all frames pass and a bad one in which none does,
// with geometric lengths. The mean length of a bad stay is the burst, the
// share of bad frames the loss.
type channel struct {
	radio
	rng    *rand.Rand
	bad    bool
	toBad  float64
	toGood float64
}

func newChannel(r radio, rng *rand.Rand) *channel {
	c := &channel{radio: r, rng: rng, toGood: 1 / max(1, r.burst)}
	if r.loss > 0 {
		c.toBad = min(1, r.loss*c.toGood/(1-r.loss))
	}
	c.bad = rng.Float64() < r.loss
	return c
}

// passes says whether the next frame, sent at t, is heard, and how long it
// takes.
func (c *channel) passes(t float64) (heard bool, delay float64) {
	u, e := c.rng.Float64(), c.rng.ExpFloat64()
	if c.bad {
		c.bad = u >= c.toGood
	} else {
		c.bad = u < c.toBad
	}
	heard = !c.bad
	for _, g := range c.gaps {
		if g.has(t) {
			heard = false
		}
	}
	return heard, c.latency + min(e, 5)*c.spread
}
