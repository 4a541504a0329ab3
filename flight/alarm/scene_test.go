package alarm

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
)

var start = time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)

// teal is the rocket of most tests. Its parachute lets it sink at 3.9 m/s
// in standard air (0.60 m, 0.20 kg, Cd 0.75: computed from the published drag
// equation), and at 4.0 m/s in the thinner air of these tests.
func teal() flight.Rocket {
	id := uint32(7)
	return flight.Rocket{
		Name: "Teal", ID: &id, Cell: "lipo-1s", Release: "servo", ReleaseDelayS: 1,
		ReleaseRestUs: 1000, ReleaseOpenUs: 1900, ReleaseMinUs: 800, ReleaseMaxUs: 2200,
		ParachuteM: 0.60, ParachuteCd: 0.75, MassKg: 0.20, DiameterM: 0.09, Cd: 0.5, RateHz: 50,
	}
}

func num(v float64) *float64 { return &v }

// scene feeds a book with the samples and states of one rocket, 50 a second,
// and a tick each 0.2 s. A test changes st, ch and sample as time goes on.
type scene struct {
	*testing.T
	book   *Book
	now    float64 // s since start
	st     flight.State
	ch     map[string]float64
	ev     []flight.Event // sent with the next sample
	boot   uint32
	seq    int64
	clock  float64 // board's clock minus now, s
	rssi   float64
	mute   bool // nothing is heard
	drop   int  // this many of ten frames are lost
	exact  bool // no noise on the pressure
	rng    *rand.Rand
	raised []flight.Alarm
	all    []flight.Alarm // all changes
	ticked float64
}

func newScene(t *testing.T, cfg Config) *scene {
	t.Helper()
	if cfg.Rockets == nil {
		cfg.Rockets = []flight.Rocket{teal()}
	}
	if cfg.Session == "" {
		cfg.Session = "s1"
	}
	book, err := New(cfg)
	if err != nil {
		t.Fatalf("make the book: %v", err)
	}
	return &scene{T: t, book: book, boot: 1, clock: 3, rssi: -60, rng: rand.New(rand.NewPCG(1, 2)),
		st: flight.State{Session: "s1", Rocket: "Teal", Link: "pad", Phase: flight.Waiting,
			AltitudeM: num(0), AltitudeSD: num(0.3), SpeedMps: num(0), SpeedSD: num(0.3)},
		ch: map[string]float64{decode.PressurePa: 98000, decode.CellV: 4.0, decode.ReleaseUs: 1000,
			decode.ReleaseOn: 0, decode.Armed: 0},
	}
}

// run lets so many seconds pass; each, if not nil, is called before every
// sample with the seconds since run began.
func (s *scene) run(seconds float64, each func(t float64)) *scene {
	s.Helper()
	from := s.now
	for n := int(math.Round(seconds * 50)); n > 0; n-- {
		s.now += 0.02
		if s.now-s.ticked >= 0.2 {
			s.ticked = s.now
			s.take(s.book.Tick(s.at(s.now)))
		}
		if each != nil {
			each(s.now - from)
		}
		s.seq++
		if s.mute || s.drop > 0 && int(s.seq%10) < s.drop {
			continue
		}
		s.take(s.book.Sample(s.sample("Teal"), s.state(), s.ev))
		s.ev = nil
	}
	return s
}

func (s *scene) at(t float64) time.Time { return start.Add(time.Duration(t * 1e9)) }

// sample is the frame of now, with 3 Pa of noise on the pressure.
func (s *scene) sample(rocket string) *decode.Sample {
	out := &decode.Sample{Session: "s1", Link: "pad", N: uint64(s.seq), Rocket: rocket, Boot: s.boot, Seq: s.seq,
		Clock: int64((s.now + s.clock) * 1e6), At: s.at(s.now), Heard: s.at(s.now), RSSI: &s.rssi}
	names := []string{}
	for n := range s.ch {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		v := s.ch[n]
		if n == decode.PressurePa && !s.exact {
			v = math.Round((v+3*s.rng.NormFloat64())*10) / 10
		}
		out.Values.Names, out.Values.Values = append(out.Values.Names, n), append(out.Values.Values, v)
	}
	return out
}

// state is what a tracker would tell now.
func (s *scene) state() *flight.State {
	st := s.st
	st.At, st.Heard, st.Boot = s.at(s.now), s.at(s.now), s.boot
	get := func(n string) *float64 {
		if v, ok := s.ch[n]; ok {
			return &v
		}
		return nil
	}
	st.CellV, st.PressurePa, st.ReleaseUs = get(decode.CellV), get(decode.PressurePa), get(decode.ReleaseUs)
	st.Latitude, st.Longitude = get(decode.LatitudeDeg), get(decode.LongitudeDeg)
	st.Released = s.ch[decode.ReleaseOn] == 1
	if a, ok := s.ch[decode.Armed]; ok {
		on := a == 1
		st.Armed = &on
	}
	return &st
}

func (s *scene) take(changes []flight.Alarm) {
	for _, a := range changes {
		s.all = append(s.all, a)
		if a.Active && a.ChangedAt.Equal(a.RaisedAt) {
			s.raised = append(s.raised, a)
			s.wellSaid(a)
		}
	}
}

// wellSaid checks that an alarm can be spoken and reads as sentences.
func (s *scene) wellSaid(a flight.Alarm) {
	s.Helper()
	if n := len(a.Say); n == 0 || n > 60 {
		s.Errorf("%s says %q: %d letters are not spoken in time", a.Kind, a.Say, n)
	}
	if !strings.HasSuffix(a.Reason, ".") && !strings.HasSuffix(a.Reason, "?") || strings.Contains(a.Reason, "NaN") || strings.Contains(a.Reason, "Inf") || strings.Contains(a.Reason, "%!") {
		s.Errorf("%s: the reason does not read well: %q", a.Kind, a.Reason)
	}
}

// motion sets phase, height and speed.
func (s *scene) motion(p flight.Phase, alt, speed float64) {
	s.st.Phase, s.st.AltitudeM, s.st.SpeedMps = p, num(alt), num(speed)
	if p != flight.Waiting {
		s.st.Flight = 1
	}
	s.ch[decode.PressurePa] = 98000 - 11.6*alt
}

// event sends an event of now with the next sample.
func (s *scene) event(k flight.Kind, alt float64) {
	s.ev = append(s.ev, flight.Event{Session: "s1", Rocket: "Teal", Kind: k, At: s.at(s.now), Flight: 1, AltitudeM: &alt})
}

// climb flies from the pad to the apogee at 60 m in 3.3 s, armed after 0.5 s.
func (s *scene) climb() *scene {
	s.event(flight.Liftoff, 0)
	return s.run(3.3, func(t float64) {
		v := gravity * (3.3 - t)
		p := flight.Coast
		if t < 0.2 {
			p = flight.Boost
		}
		s.motion(p, 60-gravity*(3.3-t)*(3.3-t)/2, v)
		s.st.ToApogeeS, s.st.ToApogeeSD = num(3.3-t), num(0.05)
		s.ch[decode.Armed] = 0
		if t > 0.5 {
			s.ch[decode.Armed] = 1
		}
	})
}

// apogee calls the apogee; release opens the parachute.
func (s *scene) apogee() *scene {
	s.event(flight.Apogee, 60)
	s.motion(flight.Descent, 60, 0)
	s.st.ToApogeeS, s.st.ToApogeeSD = nil, nil
	return s
}

func (s *scene) release() {
	s.ch[decode.ReleaseOn], s.ch[decode.ReleaseUs] = 1, 1900
	s.event(flight.Release, *s.st.AltitudeM)
}

// fall lets it fall freely for so many s.
func (s *scene) fall(seconds float64) *scene {
	alt, v := *s.st.AltitudeM, *s.st.SpeedMps
	return s.run(seconds, func(t float64) { s.motion(flight.Descent, alt+v*t-gravity*t*t/2, v-gravity*t) })
}

// sink lets it come down at a steady rate.
func (s *scene) sink(rate, seconds float64) *scene {
	alt := *s.st.AltitudeM
	return s.run(seconds, func(t float64) { s.motion(flight.Descent, alt-rate*t, -rate) })
}

// land puts it on the ground, the servo closed again.
func (s *scene) land(alt float64) *scene {
	s.event(flight.Touchdown, alt)
	s.motion(flight.Landed, alt, 0)
	s.ch[decode.ReleaseUs] = 1000
	return s
}

// kinds are those of the alarms raised.
func (s *scene) kinds() []string {
	out := []string{}
	for _, a := range s.raised {
		out = append(out, a.Kind)
	}
	return out
}

// find is the alarm of a kind that was raised.
func (s *scene) find(kind string) flight.Alarm {
	s.Helper()
	for _, a := range s.raised {
		if a.Kind == kind {
			return a
		}
	}
	s.Fatalf("no %s among %v", kind, s.kinds())
	return flight.Alarm{}
}
