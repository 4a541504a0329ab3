package callout

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Planner makes calls from what the watch found. It keeps one number per
// rocket and is not safe for concurrent use.
type Planner struct {
	// Ours, if set, says which rockets are called out: nobody can do anything
	// about one that nobody knows, and forty of them must not drown one of ours.
	Ours func(rocket string) bool
	// Reader is whom calls are for.
	Reader phrase.Reader

	cfg    Config
	off    map[string]bool
	passed map[string]float64 // the last height called, m
	out    []Call
}

// NewPlanner makes a planner.
func NewPlanner(cfg Config) *Planner {
	p := &Planner{cfg: cfg, Reader: phrase.Reader{Aloud: true}, off: map[string]bool{}, passed: map[string]float64{}}
	for _, k := range cfg.Off {
		p.off[k] = true
	}
	return p
}

// Take gives the calls for one step of the watch: the state after it (nil if
// there is none), its events and its changes of alarms. The most urgent comes
// first. The slice is valid until the next call.
func (p *Planner) Take(st *flight.State, events []flight.Event, alarms []flight.Alarm) []Call {
	p.out = p.out[:0]
	for i := range alarms {
		p.alarm(&alarms[i])
	}
	for i := range events {
		p.event(&events[i])
	}
	if st != nil {
		p.height(st)
	}
	// Alarms come sorted by urgency, and before events; only notices that
	// precede a warning are out of order.
	for i := 1; i < len(p.out); i++ {
		for j := i; j > 0 && p.out[j].Rank < p.out[j-1].Rank; j-- {
			p.out[j], p.out[j-1] = p.out[j-1], p.out[j]
		}
	}
	return p.out
}

// Again gives the calls of warnings that stood before this program was started:
// whether they were said nobody knows. The slice is valid until the next call.
func (p *Planner) Again(alarms []flight.Alarm) []Call {
	p.out = p.out[:0]
	for _, a := range alarms {
		if a.Priority == flight.LookUp {
			a.ChangedAt = a.RaisedAt
			p.alarm(&a)
		}
	}
	return p.out
}

// alarm calls an alarm that is raised and needs somebody now.
func (p *Planner) alarm(a *flight.Alarm) {
	if !a.Active || a.Acked || p.isGuest(a.Rocket) {
		return
	}
	if !a.ChangedAt.Equal(a.RaisedAt) {
		return // said already, with the numbers of then
	}
	rank := Notice
	switch a.Priority {
	case flight.LookUp:
		rank = Warning
	case flight.Act:
		if p.off[a.Kind] {
			return
		}
	default:
		return
	}
	p.add(Call{At: a.ChangedAt, Rocket: a.Rocket, Rank: rank, Kind: a.Kind, Text: p.Reader.Write(a.SayPhrase, a.Say)})
}

// event calls the moments of a flight.
func (p *Planner) event(e *flight.Event) {
	kind := string(e.Kind)
	if p.off[kind] || p.isGuest(e.Rocket) {
		return
	}
	var args []phrase.Arg
	if e.AltitudeM != nil {
		args = append(args, spoken(*e.AltitudeM))
	}
	text := ""
	switch e.Kind {
	case flight.Liftoff:
		delete(p.passed, e.Rocket)
		text = p.tell("call.liftoff", e.Rocket)
	case flight.Apogee:
		text = p.tell("call.apogee", e.Rocket)
		if e.AltitudeM != nil {
			text = p.tell("call.apogee.at", e.Rocket, args...)
		}
	case flight.Release:
		text = p.tell("call.release", e.Rocket)
	case flight.Sounded:
		if e.AltitudeM != nil {
			text = p.tell("call.sounded", e.Rocket, args...)
		}
	case flight.Touchdown:
		text = p.tell("call.down", e.Rocket)
	default:
		return
	}
	p.add(Call{At: e.CalledAt, Rocket: e.Rocket, Rank: Moment, Kind: kind, Text: text})
}

// height calls the heights passed on the way up.
func (p *Planner) height(st *flight.State) {
	every := p.cfg.HeightsM
	if every <= 0 || st.AltitudeM == nil || p.off["height"] || p.isGuest(st.Rocket) {
		return
	}
	if st.Phase != flight.Boost && st.Phase != flight.Coast {
		delete(p.passed, st.Rocket)
		return
	}
	step := math.Floor(*st.AltitudeM/every) * every
	if step <= p.passed[st.Rocket] {
		return
	}
	p.passed[st.Rocket] = step
	p.add(Call{At: st.At, Rocket: st.Rocket, Rank: Number, Kind: "height",
		Text: p.tell("call.height", st.Rocket, phrase.Qty("height", step, 0, "m"))})
}

func (p *Planner) isGuest(rocket string) bool {
	return rocket != "" && p.Ours != nil && !p.Ours(rocket)
}

func (p *Planner) add(c Call) {
	c.Tones = tones(c.Kind, c.Rank)
	p.out = append(p.out, c)
}

// tell writes a call about a rocket.
func (p *Planner) tell(key, rocket string, args ...phrase.Arg) string {
	return p.Reader.Write(phrase.Of(key, append(args, phrase.Word("rocket", rocket))...), "")
}

// spoken is a height as it is said, always in metres.
func spoken(m float64) phrase.Arg {
	key := "call.metres"
	if math.Round(m) == 1 {
		key = "call.metre"
	}
	return phrase.In("height", phrase.Of(key, phrase.Qty("height", math.Round(m), 0, "m")))
}
