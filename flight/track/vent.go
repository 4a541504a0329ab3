package track

import "math"

// A vent that errs by the part c of the dynamic pressure shows y = h + c v²/2g, and
// with v' = -g - D v² that falls by
//
//	y'' = -g (1-c) - D v² (1-4c) + 3 c D² v⁴/g
//
// Near the top that is a climb with another gravity: so it is estimated (xPort), in
// heights as they read, and height and speed are corrected for people (unvented).

// vent is by which part of v²/2g the readings are high at speed, with its standard
// deviation, as far as the climb has shown it by now.
func (t *Tracker) vent() (part, sd float64) {
	if !t.fl.burntOut || t.fl.inAir {
		return 0, portPart
	}
	f := &t.filter
	return f.x[coast][xPort], max(leastPort, math.Sqrt(f.p[coast][xPort][xPort]))
}

// unvented is the height and speed of the rocket where the readings say h and v.
func (t *Tracker) unvented(h, v float64) (height, speed float64) {
	if t.fl.apogee || !t.fl.burntOut || t.filter.w[coast] < 0.5 {
		return h, v
	}
	c, _ := t.vent()
	drag := math.Exp(t.filter.x[coast][xDrag]) * v * v / gravity
	return h - c*v*v/(2*gravity), v * (1 + max(-0.5, min(1, c*(1+drag))))
}

// across is how fast it flies across at the most, about, in m/s.
func (t *Tracker) across() float64 {
	// A filter that was lost may once have seen any speed.
	up := min(t.fl.fastest, 1.6*math.Sqrt(2*gravity*max(1, t.fl.highest)))
	return math.Hypot(1.5*acrossPart*up, max(3, t.cfg.Site.WindMps))
}

// leastCoast is how long in s a rocket coasts at the least that reads h m high after
// so many seconds under thrust. A vent that reads low pressure at
// speed lifts the readings while it is fast and lets them fall while it slows
// down, all before the apogee: of the greatest such error the least speed
// follows, and of the greatest drag how soon that is spent.
func (t *Tracker) leastCoast(thrustS, h float64) float64 {
	const lift = suction / (2 * gravity)
	half := max(thrustS, 0.1) / 2
	v := (math.Sqrt(half*half+4*lift*max(h, 0)) - half) / (2 * lift)
	u := &t.filter.tune
	_, in := ascent(v, u.prior[coast]+2*math.Sqrt(u.priorVar[coast]), 0)
	return in
}

// surely is the part of the least coast before which no apogee is called: what feigns
// one is over by then, and low flights at ten readings a second are not held up.
const surely = 0.7

// suction is the greatest error of a vent, in parts of the dynamic pressure
// (common practice, no source: a hole in the wrong place of a nose or a shoulder).
const suction = 0.35

// aside is what a bad vent feigns at the top, where what flies across slows down and
// the vent's error with it: its standard deviation in m/s, and by how much the climb
// reads too low for sure, if the climb has shown that the vent reads high.
func (t *Tracker) aside() (sd, hides float64) {
	c, sdC := t.vent()
	u := math.Sqrt(2 * gravity * max(0, t.fl.highest))
	f := &t.filter
	slows := func(part, logDrag float64) float64 {
		return math.Exp(logDrag) * part * part * part * u * u * u / gravity
	}
	sd = min(asideMost, math.Hypot(c, sdC)*slows(asidePart, f.x[coast][xDrag]))
	// What is left of the drag beside a vent that errs is too little, more often than not.
	hides = min(hidesMost, max(0, c-1.5*sdC)*slows(hidesPart, max(f.x[coast][xDrag], f.tune.prior[coast])))
	return sd, hides
}

// Parts of the least speed that reaches the height, with which it may still fly across
// at the top: with some drag that of a launch 15 degrees off the vertical, and of one
// 25 degrees off it, where a vent is known to err.
const (
	asidePart = 0.33
	hidesPart = 0.45
	asideMost = 1.0 // m/s
	hidesMost = 0.8 // m/s
)
