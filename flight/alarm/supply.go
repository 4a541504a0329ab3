package alarm

import (
	"math"

	"padlark/flight/phrase"
)

// supply is what padlark knows of one kind of battery, in V for the whole
// pack. The zero value is a supply that nobody named.
type supply struct {
	name string
	// cells in series, for limits that are given per cell.
	cells float64
	// full is a freshly charged pack, low the resting voltage below which
	// nobody should fly, cutoff where discharging must stop.
	full, low, cutoff float64
	// servo says whether it can drive a release servo.
	servo bool
}

// supplies are the supplies that a rocket may name. The lithium cell: 4.20 V
// charged (cell makers' pages, second hand), 3.0 V a conservative end of
// discharge (advice of a battery maker; many cells allow 2.75 V or 2.5 V). All
// other numbers are common practice, no source.
var supplies = []supply{
	{name: "lipo-1s", cells: 1, full: 4.2, low: 3.6, cutoff: 3.0, servo: true},
	{name: "lipo-2s", cells: 2, full: 8.4, low: 7.2, cutoff: 6.0, servo: true},
	{name: "liion-1s", cells: 1, full: 4.2, low: 3.5, cutoff: 3.0, servo: true},
	{name: "9v", cells: 6, full: 9.6, low: 7.5, cutoff: 5.4},
	{name: "aa-3", cells: 3, full: 4.9, low: 3.6, cutoff: 2.7, servo: true},
	{name: "aa-4", cells: 4, full: 6.5, low: 4.8, cutoff: 3.6, servo: true},
}

// supplyOf finds a supply by the name in the configuration.
func supplyOf(name string) supply {
	for _, s := range supplies {
		if s.name == name {
			return s
		}
	}
	return supply{}
}

func (s supply) known() bool { return s.cells > 0 }

// cellLow: the supply's resting voltage is too low to fly.
type cellLow struct {
	gate gate
	mean smoothed
}

func (r *cellLow) check(v *view) cond {
	if !v.fresh || !v.supply.known() || math.IsNaN(v.cellV) {
		return unsure
	}
	mean := r.mean.add(v.t, v.cellV, 1)
	if v.phase == "landed" {
		return r.gate.step(v.t, false, 0, 0)
	}
	// A supply told as 0 V is a divider that is not connected: wrong-supply
	// says so.
	low := mean < v.supply.low && mean > v.supply.cutoff/2
	if r.gate.state {
		low = mean < v.supply.low+0.03*v.supply.cells
	}
	return r.gate.step(v.t, low, 3, 3)
}

func (r *cellLow) words(v *view) words {
	return words{prioIf(v.inFlight(), prioKnow, prioAct), v.tell("cell-low.say"), v.tell("cell-low", volts("volts", r.mean.value), v.supply.named(), volts("low", v.supply.low))}
}

// named is the supply's name for a sentence.
func (s supply) named() phrase.Arg { return phrase.Word("supply", s.name) }

// wrongSupply: the voltage cannot be that of the configured supply.
type wrongSupply struct {
	gate gate
	mean smoothed
}

func (r *wrongSupply) check(v *view) cond {
	if !v.fresh || !v.supply.known() || math.IsNaN(v.cellV) {
		return unsure
	}
	mean := r.mean.add(v.t, v.cellV, 1)
	return r.gate.step(v.t, mean > v.supply.full*1.05 || mean < v.supply.cutoff/2, 3, 3)
}

func (r *wrongSupply) words(v *view) words {
	key := "wrong-supply"
	switch m := r.mean.value; {
	case m < v.supply.cutoff/2:
		key = "wrong-supply.none"
	case m > 5.5 && v.supply.cells == 1 && v.rocket.Release == "servo":
		key = "wrong-supply.nine"
	}
	return words{prioAct, v.tell("wrong-supply.say"), v.tell(key, volts("volts", r.mean.value), v.supply.named(), volts("full", v.supply.full))}
}

// cellFlat: the supply is below its end of discharge after the flight.
type cellFlat struct {
	gate gate
	mean smoothed
}

func (r *cellFlat) check(v *view) cond {
	if !v.fresh || !v.supply.known() || math.IsNaN(v.cellV) {
		return unsure
	}
	mean := r.mean.add(v.t, v.cellV, 1)
	flat := mean < v.supply.cutoff && mean > v.supply.cutoff/2 && v.phase == "landed"
	return r.gate.step(v.t, flat, 3, 3)
}

func (r *cellFlat) words(v *view) words {
	return words{prioAct, v.tell("cell-flat.say"), v.tell("cell-flat", volts("volts", r.mean.value), v.supply.named(), volts("cutoff", v.supply.cutoff))}
}

// cellSag: the supply dips too deep when the servo moves, or recovers too
// slowly: the board may start again in the middle of the release.
type cellSag struct {
	rest     smoothed // what the supply has between the loads
	pulse    float64  // the pulse of the sample before
	released bool
	loadAt   float64 // when the servo last moved
	loaded   bool
	deep     int     // readings in a row below the limit
	lowest   float64 // of this dip
	until    float64 // the alarm stands until then
	depth    float64 // of the dip that raised it
	slow     since
	wasSlow  bool
	started  bool
	last     float64 // the reading before
	lately   smoothed
	edgeAt   float64 // when the supply last fell steeply
	edged    bool
}

func (r *cellSag) check(v *view) cond {
	if !v.fresh || !v.supply.known() || math.IsNaN(v.cellV) {
		return unsure
	}
	if !r.started {
		r.started, r.pulse, r.released, r.last = true, v.pulse, v.released, v.cellV
		r.rest.add(v.t, v.cellV, 3)
		return off
	}
	if math.Abs(v.pulse-r.pulse) > 30 || v.released && !r.released {
		r.loadAt, r.loaded = v.t, true
	}
	r.pulse, r.released = v.pulse, v.released
	dip := r.rest.value - v.cellV
	busy := r.loaded && v.t-r.loadAt < 3
	if r.last-v.cellV > 0.3*v.limits.SagV*v.supply.cells {
		r.edgeAt, r.edged = v.t, true
	}
	r.last = v.cellV
	// A supply that falls slowly is one that runs empty: its rest falls too.
	if !busy && !(r.edged && v.t-r.edgeAt < 1) {
		r.rest.add(v.t, v.cellV, 1)
	}
	r.judge(v, dip, busy)
	return asCond(v.t < r.until)
}

// judge notes dips that are too deep or too long.
func (r *cellSag) judge(v *view, dip float64, busy bool) {
	limit := v.limits.SagV * v.supply.cells
	if dip > limit || v.cellV < v.supply.cutoff && dip > limit/3 {
		r.deep++
		if r.deep == 1 || v.cellV < r.lowest {
			r.lowest = v.cellV
		}
	} else {
		r.deep = 0
	}
	steep := r.edged && v.t-r.edgeAt < 1
	if r.deep >= 2 && (busy || steep) || r.deep == 1 && busy && v.t-r.loadAt < 1.5 {
		r.depth, r.wasSlow, r.until = r.rest.value-r.lowest, false, v.t+10
	}
	// One that falls on and on is running empty, not recovering.
	falling := r.lately.add(v.t, v.cellV, 0.5)-v.cellV > 0.02*v.supply.cells
	late := !falling && r.loaded && v.t-r.loadAt > 1.5 && v.t-r.loadAt < 8 && dip > v.limits.RecoverV*v.supply.cells
	if r.slow.hold(v.t, late) > 0.5 {
		r.depth, r.lowest, r.wasSlow, r.until = dip, v.cellV, true, v.t+10
	}
}

func (r *cellSag) words(v *view) words {
	reason := v.tell("cell-sag.slow", volts("depth", r.depth), volts("rest", r.rest.value))
	if !r.wasSlow {
		reason = v.tell("cell-sag", volts("depth", r.depth), volts("lowest", r.lowest), volts("limit", v.limits.SagV*v.supply.cells),
			volts("low", v.supply.low), volts("then", v.supply.low-r.depth), phrase.In("so", brownOut(v.supply, r.depth)))
	}
	return words{prioIf(v.inFlight(), prioKnow, prioAct), v.tell("cell-sag.say"), reason}
}

// brownOut says what such a dip does at the lowest fit charge.
func brownOut(s supply, depth float64) phrase.Phrase {
	if s.low-depth < s.cutoff {
		return phrase.Of("cell-sag.restart", phrase.Qty("cutoff", s.cutoff, 1, "V"))
	}
	return phrase.Of("cell-sag.little")
}

// smoothed is an exponential mean of readings at uneven times.
type smoothed struct {
	value, t float64
	started  bool
}

// add takes a reading x at t, with time constant tau in s, and gives the mean.
func (m *smoothed) add(t, x, tau float64) float64 {
	if !m.started {
		m.value, m.t, m.started = x, t, true
		return x
	}
	dt := math.Max(0, t-m.t)
	m.value += (x - m.value) * (1 - math.Exp(-dt/tau))
	m.t = t
	return m.value
}
