package ensemble

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"padlark/decode"
)

// FaultKind names one way in which a flight goes wrong.
type FaultKind string

// FaultTruth is what was injected.
type FaultTruth struct {
	Kind FaultKind
	// Where is the fault's place: flight, pad, link or landed.
	Where string
	// Alarms are the kinds of alarm of which any one is right.
	Alarms []string
	// OnsetS is when the condition that asks for an alarm begins, ByS by when
	// the alarm must be raised, in s since the flight's Epoch; At and By the
	// same as times.
	OnsetS, ByS float64
	At, By      time.Time
}

// Fault is one kind with its meaning.
type Fault struct {
	Kind   FaultKind
	Where  string // flight, pad, link or landed
	Says   string
	Alarms []string // the kinds of alarm of which any one is right

	// before changes the plan before it is flown, after sets what depends on
	// the times of the flight, and both may set onset and by.
	before, after func(*injection)
}

// injection is one fault being put into one flight.
type injection struct {
	p         *plan
	rng       *rand.Rand
	path      *truePath
	marks     marks // as flown; set before after is called
	onset, by float64
	others    []*plan // further boards on the same link
	airtime   float64 // frames closer than this destroy each other; 0 for never
}

// at is the session time of a moment of the flight, s since the epoch.
func (in *injection) at(s float64) float64 { return in.p.liftoff + s }

// from sets onset and by.
func (in *injection) from(onset, within float64) { in.onset, in.by = onset, onset+within }

// stay keeps the rocket on the pad for so many seconds.
func (in *injection) stay(s float64) {
	in.p.liftoff, in.p.end = math.Inf(1), s
}

// padOnset is when a fault on the pad begins: after the board has settled.
func (in *injection) padOnset() float64 { return Range{8, 14}.draw(in.rng) }

// Faults are all kinds of fault.
func Faults() []Fault {
	return slices.Concat(flightFaults(), descentFaults(), padFaults(), boardFaults(), linkFaults(), landedFaults())
}

// ForFaults is the spec whose flights faults are put into: 50 Hz, 0.25 m, and
// high enough that there is time for a warning.
func ForFaults() Spec {
	s := Nominal50()
	s.Name = "for-faults"
	s.WaterM = Range{40, 200}
	return s
}

// Inject puts a fault into a copy of a drawn flight. The same flight and seed
// give the same result. The error names a kind that does not exist, or a
// flight that was not drawn by this package.
func Inject(kind FaultKind, f *Flight, seed uint64) (Flight, FaultTruth, error) {
	i := slices.IndexFunc(Faults(), func(x Fault) bool { return x.Kind == kind })
	if i < 0 {
		return Flight{}, FaultTruth{}, fmt.Errorf("inject %q: there is no such fault; Faults lists them", kind)
	}
	if f.plan == nil {
		return Flight{}, FaultTruth{}, fmt.Errorf("inject %s: the flight has no plan; use one that Draw made", kind)
	}
	fault := Faults()[i]
	in := &injection{p: f.plan.copy(), rng: stream(seed^f.Seed, f.Index, forFault), path: &truePath{}}
	in.p.name = string(kind)
	in.p.cutS = 0
	if fault.before != nil {
		fault.before(in)
	}
	if err := in.p.fly(in.path); err != nil {
		return Flight{}, FaultTruth{}, fmt.Errorf("inject %s: fly again: %w", kind, err)
	}
	in.p.arrange(in.path, -1)
	in.marks = in.path.marks
	if fault.after != nil {
		fault.after(in)
	}
	out := Flight{path: in.path}
	out.render(in.p)
	out.merge(in)
	truth := FaultTruth{
		Kind: kind, Where: fault.Where, Alarms: fault.Alarms, OnsetS: in.onset, ByS: in.by,
		At: out.At(in.onset), By: out.At(in.by),
	}
	return out, truth, nil
}

// copy is a plan that shares nothing that an injection changes.
func (p *plan) copy() *plan {
	q := *p
	q.sensor.bumps = slices.Clone(p.sensor.bumps)
	q.radio.gaps = slices.Clone(p.radio.gaps)
	q.board.reboots = slices.Clone(p.board.reboots)
	q.board.rates = slices.Clone(p.board.rates)
	q.board.jumps = slices.Clone(p.board.jumps)
	q.board.twitches = slices.Clone(p.board.twitches)
	q.board.leaps = slices.Clone(p.board.leaps)
	q.sensor.levels = slices.Clone(p.sensor.levels)
	return &q
}

// second is another board beside the first: same place, its own noise and
// clock, standing on the pad.
func (in *injection) second(name string) *plan {
	q := in.p.copy()
	q.index ^= uint64(forSecond)<<40 + uint64(len(in.others))<<48
	q.board.rocket = name
	q.liftoff = math.Inf(1)
	q.board.servoAt, q.board.closeAt, q.board.armAt = math.Inf(1), math.Inf(1), math.Inf(1)
	q.board.clock0 = 5 + 300*in.rng.Float64()
	q.board.phase = in.rng.Float64() / q.board.rate
	q.sensor.biasPa = 50 * in.rng.NormFloat64()
	in.others = append(in.others, q)
	return q
}

// merge brings the samples of the other boards in, in the order in which they
// are heard, and lets frames that overlap destroy each other.
func (f *Flight) merge(in *injection) {
	if len(in.others) == 0 {
		return
	}
	for _, q := range in.others {
		q.end = in.p.end
		var g Flight
		g.path = &truePath{}
		g.render(q)
		f.Samples = append(f.Samples, g.Samples...)
		f.Sent += g.Sent
	}
	slices.SortStableFunc(f.Samples, func(a, b decode.Sample) int { return int(min(max(a.Passed-b.Passed, -1), 1)) })
	if in.airtime > 0 {
		f.collide(seconds(in.airtime))
	}
	var last int64
	for i := range f.Samples {
		s := &f.Samples[i]
		last = max(last+1, s.Passed)
		s.N, s.Passed, s.Heard = uint64(i+1), last, f.Epoch.Add(time.Duration(last))
	}
}

// collide takes out frames of different rockets that follow within airtime.
// One garbled frame is heard in their place.
func (f *Flight) collide(airtime time.Duration) {
	bad := make([]bool, len(f.Samples))
	for i := 1; i < len(f.Samples); i++ {
		a, b := &f.Samples[i-1], &f.Samples[i]
		if a.Rocket != b.Rocket && b.Passed-a.Passed < int64(airtime) {
			bad[i-1], bad[i] = true, true
			f.Broken = append(f.Broken, time.Duration(b.Passed).Seconds())
		}
	}
	var kept []decode.Sample
	for i := range f.Samples {
		if !bad[i] {
			kept = append(kept, f.Samples[i])
		}
	}
	f.Samples = kept
}
