package flight_test

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/ensemble"
	"padlark/flight/track"
)

// raise is one alarm being raised, at s since the flight's Epoch.
type raise struct {
	alarm flight.Alarm
	at    float64
}

// tickEvery is the station's tick, in s.
const tickEvery = 0.2

// listener runs the samples of a flight through the live trackers and the
// alarm rules as a station does: ticks at fixed multiples, each before the
// samples that follow it.
type listener struct {
	flight   *ensemble.Flight
	book     *alarm.Book
	trackers map[string]*track.Tracker
	names    []string
	ticked   int
	raised   []raise
}

// listen gives the alarms that a flight raises; it goes on ticking until the
// time until, in s since the Epoch.
func listen(f *ensemble.Flight, until float64) ([]raise, error) { return listenAt(f, until, 0) }

// listenAt is listen with another stated rate of false ballistic alarms.
func listenAt(f *ensemble.Flight, until, fallsAFalse float64) ([]raise, error) {
	rockets := []flight.Rocket{f.Rocket}
	for _, name := range []string{"Rust", "Plum"} { // the faults' further boards
		r := f.Rocket
		r.Name = name
		rockets = append(rockets, r)
	}
	book, err := alarm.New(alarm.Config{Session: "bench", Site: f.Site, Rockets: rockets, FallsAFalse: fallsAFalse})
	if err != nil {
		return nil, fmt.Errorf("make the rules for flight %d: %w", f.Index, err)
	}
	l := &listener{flight: f, book: book, trackers: map[string]*track.Tracker{}}
	for i := range f.Samples {
		s := &f.Samples[i]
		l.ticksTo(time.Duration(s.Passed).Seconds())
		t := l.tracker(s.Rocket)
		ev := t.Sample(s)
		l.note(book.Sample(s, t.State(), ev))
	}
	l.ticksTo(until)
	return l.raised, nil
}

func (l *listener) tracker(name string) *track.Tracker {
	t := l.trackers[name]
	if t == nil {
		r := l.flight.Rocket
		r.Name = name
		t = track.New(track.Config{Session: "bench", Rocket: r, Site: l.flight.Site})
		l.trackers[name] = t
		l.names = append(l.names, name)
		sort.Strings(l.names)
	}
	return t
}

func (l *listener) ticksTo(s float64) {
	for due := int(math.Floor(s / tickEvery)); l.ticked < due; {
		l.ticked++
		now := l.flight.At(float64(l.ticked) * tickEvery)
		for _, n := range l.names {
			if ev := l.trackers[n].Tick(now); len(ev) > 0 {
				l.book.Note(l.trackers[n].State(), ev)
			}
		}
		l.note(l.book.Tick(now))
	}
}

func (l *listener) note(changes []flight.Alarm) {
	for _, a := range changes {
		if a.Active && a.ChangedAt.Equal(a.RaisedAt) {
			l.raised = append(l.raised, raise{a, l.flight.S(a.RaisedAt)})
		}
	}
}

// outcome is how the rules did on one flight with a fault.
type outcome struct {
	hit    bool
	delay  float64 // from the onset to the first right alarm, s
	others []raise // of other kinds, or before the fault was there
	flight ensemble.Flight
	truth  ensemble.FaultTruth
	first  raise
}

// early is by how much a right alarm may come before the onset, in s: clocks
// and the tracker's apogee are not exact.
const early = 0.25

// faulty draws a flight of a spec, puts the fault in and listens.
func faulty(spec ensemble.Spec, kind ensemble.FaultKind, seed, index uint64) (outcome, error) {
	f, err := ensemble.Draw(spec, seed, index)
	if err != nil {
		return outcome{}, err
	}
	g, truth, err := ensemble.Inject(kind, &f, seed)
	if err != nil {
		return outcome{}, err
	}
	o := outcome{flight: g, truth: truth, delay: math.NaN()}
	if (kind == "ballistic" || kind == "no-release") && spec.Name != ensemble.ForFaults().Name {
		truth.ByS = g.Truth.TouchdownS // here the question is how much of the fall is left
	}
	from := causeOf(kind, &g, truth) - early
	raised, err := listen(&g, truth.ByS)
	if err != nil {
		return outcome{}, err
	}
	for _, r := range raised {
		switch {
		case !slices.Contains(truth.Alarms, r.alarm.Kind) || r.at < from:
			o.others = append(o.others, r)
		case !o.hit && r.at <= truth.ByS:
			o.hit, o.delay, o.first = true, r.at-truth.OnsetS, r
		}
	}
	return o, nil
}

// causeOf is when an alarm may come at the earliest. It is the fault's onset
// but for descents, which can be judged, and whose end can be foretold, before
// the parachute is quite open or the edge of the field is crossed.
func causeOf(kind ensemble.FaultKind, f *ensemble.Flight, truth ensemble.FaultTruth) float64 {
	switch kind {
	case "fast-descent", "slow-descent", "out-of-field":
		return f.Truth.ReleaseS
	}
	return truth.OnsetS
}

// falseAlarms are the alarms of a nominal flight that tell of something that
// is not so. The wind may well carry a nominal flight out of the field, bursts
// of loss may silence it, and the signal of a high one is weak: such alarms are
// right.
func falseAlarms(f *ensemble.Flight, raised []raise) []raise {
	var out []raise
	for _, r := range raised {
		switch r.alarm.Kind {
		case "out-of-field":
			if leaves(f) {
				continue
			}
		case "losses":
			if f.Setup.Loss > 0 {
				continue
			}
		case "weak-signal":
			if f.Truth.ApogeeM > 500 {
				continue
			}
		case "fast-descent":
			// So it does, under the first of two canopies.
			if second := f.Truth.SecondS; r.at < second+1 {
				continue
			}
		case "silent":
			if heardBefore(f, r.at) < r.at-1.4 {
				continue
			}
		}
		out = append(out, r)
	}
	return out
}

// leaves says whether a flight leaves the field at some time, or would by the wind that
// was told, which is all that a board without a receiver lets anybody know.
func leaves(f *ensemble.Flight) bool {
	u, edge := &f.Truth, 0.9*f.Site.FieldRadiusM
	for t := u.LiftoffS; t < u.TouchdownS; t += 0.5 {
		if math.Abs(u.At(t).Across) > edge {
			return true
		}
	}
	return math.Abs(u.At(u.TouchdownS).Across) > edge || f.Site.WindMps*(u.TouchdownS-u.ApogeeS) > edge
}

// heardBefore is when the last frame before t was heard.
func heardBefore(f *ensemble.Flight, t float64) float64 {
	last := math.Inf(-1)
	for i := range f.Samples {
		if s := f.S(f.Samples[i].Heard); s < t {
			last = s
		}
	}
	return last
}

// quantile of unsorted values, NaN when there are none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(v))
	return s[int(math.Round(q*float64(len(s)-1)))]
}
