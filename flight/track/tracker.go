package track

import (
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ground"
)

// SetSite is for a site whose place becomes known later; nothing else of it may have
// changed.
func (t *Tracker) SetSite(s flight.Site) {
	t.cfg.Site = s
	t.where.SetSite(s)
}

// Config is what a tracker needs to know. All of Rocket and Site is optional.
type Config struct {
	Session string
	Rocket  flight.Rocket
	Site    flight.Site
}

// Tracker follows one rocket through its flights. It is not safe for use by
// several goroutines.
type Tracker struct {
	cfg     Config
	airDue  bool // the column is not yet that of cfg.Site
	col     column
	ref     time.Time // t = 0
	begun   bool
	hist    history
	pad     pad
	filter  filter
	fl      flightNow
	force   force
	where   *ground.Follower
	flying  bool
	last    lastHeard
	out     flight.State
	num     numbers // what the pointers in out point to
	events  []flight.Event
	sounded sounded
	pair    Barometers
}

// lastHeard is what the next sample is compared with.
type lastHeard struct {
	t        float64 // s, of the newest reading
	by       source
	raw      float64 // pressure or altitude as sent
	quantum  float64 // smallest step seen between two readings, raw unit; 0 unknown
	repeats  int
	held     int     // so many frames in a row have repeated a value although the rocket moved
	freshAt  float64 // s, of the newest measurement
	old      int     // samples in a row that were older than the newest
	boot     uint32
	newest   uint32 // the highest boot so far
	seq      int64
	heard    bool
	released bool    // the board says so
	tells    bool    // the board says whether
	restUs   float64 // servo pulse at rest
}

// New makes a tracker that has heard nothing yet.
func New(cfg Config) *Tracker {
	t := &Tracker{cfg: cfg, col: newColumn(cfg.Site), pad: newPad(), where: ground.New(cfg.Rocket, cfg.Site), events: make([]flight.Event, 0, 8)}
	t.filter.tune = tuneFor(cfg.Rocket)
	t.last.restUs = math.NaN()
	t.out = flight.State{Session: cfg.Session, Rocket: cfg.Rocket.Name, Phase: flight.Waiting}
	return t
}

// Reconfigure gives the tracker another rocket's or site's data between two
// samples. The air of a flight stays what it was until the rocket is down.
func (t *Tracker) Reconfigure(rocket flight.Rocket, site flight.Site) {
	t.cfg.Rocket, t.cfg.Site, t.airDue = rocket, site, true
	t.filter.tune = tuneFor(rocket)
	t.where.Reconfigure(rocket, site)
}

// Fuse makes one pressure of two barometers', for this tracker and whoever else reads
// the sample.
func (t *Tracker) Fuse(s *decode.Sample) { t.out.LeftOut = t.pair.Fuse(s) }

// Sample takes the next decoded frame and returns what was found with it. The
// slice is valid until the next call; the events themselves may be kept.
// Samples come in the order in which they were heard.
func (t *Tracker) Sample(s *decode.Sample) []flight.Event {
	t.events = t.events[:0]
	if t.airDue && !t.flying {
		air := newColumn(t.cfg.Site)
		t.col.scale, t.col.bend, t.airDue = air.scale, air.bend, false
	}
	if !t.begun {
		t.begun, t.ref = true, s.At
		t.last.boot, t.last.newest = s.Boot, s.Boot
		if t.out.Rocket == "" {
			t.out.Rocket = s.Rocket
		}
	}
	now := s.At.Sub(t.ref).Seconds()
	t.note(s)
	if s.Boot != t.last.boot {
		t.reboot(s, now)
	}
	if r, fresh, ok := t.read(s, now); ok {
		t.take(r, fresh)
		t.watchRelease(s, r.t)
	} else {
		t.watchRelease(s, now)
	}
	t.fill()
	t.locate(s, now)
	return t.events
}

// Tick tells the tracker that it is now, on the samples' time scale, and that
// no sample up to now is still to come. It finds what silence means.
func (t *Tracker) Tick(now time.Time) []flight.Event {
	t.events = t.events[:0]
	if t.begun {
		t.silence(now.Sub(t.ref).Seconds())
		t.fill()
	}
	return t.events
}

// State is the picture after the last call. It and what it points to belong to
// the tracker and are valid until the next call.
func (t *Tracker) State() *flight.State { return &t.out }

// read makes a reading of a sample. ok is false when there is nothing to
// measure height with, or it is older than what is known; fresh is false when
// the board only repeated its last value.
func (t *Tracker) read(s *decode.Sample, now float64) (r reading, fresh, ok bool) {
	raw, by, ok := heightChannel(s)
	if !ok {
		return reading{}, false, false
	}
	if t.last.heard && by != t.last.by && t.last.by == byReceiver && !t.flying {
		t.changeSource(by)
	}
	if t.last.heard && now < t.last.t {
		if t.last.t-now > 0.02 {
			t.last.old++
			if t.last.old < 10 {
				return reading{}, false, false
			}
			t.hist.clear() // the time scale was set back
		} else {
			now = t.last.t
		}
	}
	t.last.old = 0
	if !t.last.heard {
		t.last.by, t.col.plain = by, by != byPressure
	} else if by != t.last.by {
		return reading{}, false, false
	}
	r = reading{t: now, z: raw, h: math.NaN(), v: math.NaN(), force: math.NaN()}
	if !t.col.plain {
		r.z = t.col.z(raw)
	}
	if !t.flying || !t.fl.apogee { // how it flies afterwards nobody knows
		r.force = t.force.along(s, !t.flying && t.atRest(r.z))
	}
	fresh = t.isFresh(raw, now)
	t.last.t, t.last.raw, t.last.heard = now, raw, true
	return r, fresh, true
}

// atRest says whether a height on the ground is about that of the pad: what has left
// it teaches nothing of gravity.
func (t *Tracker) atRest(z float64) bool {
	return t.pad.blocks > 0 && math.Abs(t.col.height(z-t.pad.level)) < leastHeight/2+2*math.Sqrt(t.noise())
}

// isFresh tells a measurement from a repetition of the last one. Boards that
// send faster than they measure repeat to the last digit. A coarse sensor also
// gives equal values, but those are measurements: they are told apart by the
// size of the steps between values, and, of a rocket that moves, by how far it
// must have come meanwhile.
func (t *Tracker) isFresh(raw, now float64) bool {
	fresh := t.measured(raw, now)
	if fresh {
		t.last.repeats, t.last.freshAt = 0, now
	}
	return fresh
}

func (t *Tracker) measured(raw, now float64) bool {
	if !t.last.heard {
		return true
	}
	if d := math.Abs(raw - t.last.raw); d > 0 {
		if t.last.quantum == 0 || d < t.last.quantum {
			t.last.quantum = d
		}
		return true
	}
	if now == t.last.t {
		return false // the same frame twice
	}
	t.last.repeats++
	step := t.last.quantum
	if !t.col.plain {
		step *= t.col.scale / raw
	}
	if t.moved(now) > 2*step+3*math.Sqrt(t.pad.white) {
		t.last.held = max(t.last.held, min(t.last.repeats, stuckAfter))
	} else if step*step > 0.25*t.pad.white {
		return t.last.repeats > t.last.held
	}
	return t.last.repeats > stuckAfter // then it is what the board measures
}

// stuckAfter is how many equal values in a row no board repeats.
const stuckAfter = 20

// moved is how far in m the rocket has come since the newest measurement.
func (t *Tracker) moved(now float64) float64 {
	if !t.flying {
		return 0
	}
	_, v, _, _ := t.filter.mean()
	return math.Abs(v) * (now - t.last.freshAt)
}

// noise is the variance of one reading in m2: what was measured at rest, and
// the rounding of a coarse sensor.
func (t *Tracker) noise() float64 {
	step := t.step()
	return max(t.pad.white*1.05, min(step*step/12, 1), 0.0025)
}

// step is the sensor's smallest step in m; 0 if not known.
func (t *Tracker) step() float64 {
	if !t.col.plain && t.last.raw > 0 {
		return t.last.quantum * t.col.scale / t.last.raw
	}
	return t.last.quantum
}

// tuneFor sets what depends on the kind of rocket.
func tuneFor(r flight.Rocket) tune {
	u := tune{boostQ: 25000}
	leaveBoost, drag, wide := 5.0, 0.010, 0.9
	if r.Kind == "solid" {
		leaveBoost, drag, wide = 1.0, 0.003, 1.0
	}
	if r.MassKg > 0 && r.DiameterM > 0 && r.Cd > 0 {
		drag = 1.2 * r.Cd * math.Pi / 4 * r.DiameterM * r.DiameterM / (2 * r.MassKg)
		wide = 0.4
	}
	sink := 0.4
	if r.MassKg > 0 && r.ParachuteM > 0 {
		sink = 1.2 * r.CanopyCd() * math.Pi / 4 * r.ParachuteM * r.ParachuteM / (2 * r.MassKg)
	}
	u.prior = [modes]float64{math.Log(drag), math.Log(drag), math.Log(sink)}
	u.priorVar = [modes]float64{wide * wide, wide * wide, 1}
	u.leave[boost] = [modes]float64{0, leaveBoost, 0}
	u.leave[coast] = [modes]float64{0, 0, 0.1}
	return u
}
