package track

import (
	"fmt"
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
)

// The air that most boards compute with (ISO 2533 at sea level), and what is
// assumed of the site's temperature (common practice, no source): as in the result
// of a flight that was heard by radio.
const (
	standardK  = atmos.StandardTemperature
	toldSDK    = 1.5 // sd of a temperature that somebody typed in
	untoldSDK  = 9.7
	sameAgain  = time.Hour // a board says its height until it is switched off
	roundingSD = 0.288675  // of half a step: 1/sqrt(12)
)

// sounded is what the rocket's sounder said last.
type sounded struct {
	m      float64
	at     time.Time
	flight int
}

// Sounder takes the height that the rocket's sounder has beeped out after a
// landing. It belongs to the flight that was heard by radio before it, or is a
// flight of its own, of which nothing but the height is known. A board says the same
// again and again: that changes nothing. The slice is valid until the next call.
func (t *Tracker) Sounder(s *decode.Sample) []flight.Event {
	t.events = t.events[:0]
	said, ok := s.Values.Get(decode.SounderM)
	if !ok || math.IsNaN(said) {
		return t.events
	}
	last := &t.sounded
	if last.flight > 0 && last.flight == t.out.Flight && math.Abs(said-last.m) < 1e-6 && s.At.Sub(last.at) < sameAgain {
		last.at = s.At
		return t.events
	}
	if t.out.Flight == last.flight { // none by radio since
		t.out.Flight++
	}
	*last = sounded{m: said, at: s.At, flight: t.out.Flight}
	m, sd := t.soundedHeight(s, said)
	note := "from the sounder"
	if n, ok := s.Values.Get(decode.SounderRepeats); ok && n > 1 {
		note += fmt.Sprintf(", heard %.0f times", n)
	}
	if math.Abs(m-said) >= 0.05 {
		note += fmt.Sprintf("; it said %.4g m, for air of 15 °C", said)
	}
	return append(t.events, flight.Event{
		Session: t.cfg.Session, Rocket: t.out.Rocket, Kind: flight.Sounded, Flight: t.out.Flight,
		ID: fmt.Sprintf("%s-%d-%s", t.out.Rocket, t.out.Flight, flight.Sounded),
		At: s.At, CalledAt: s.At, AltitudeM: &m, AltitudeSD: &sd, Note: note,
	})
}

// soundedHeight is the height above the pad and its standard deviation. Pressure
// falls with height as 1/T does: what a board computes for other air is longer or
// shorter by the ratio of the temperatures at the pad.
func (t *Tracker) soundedHeight(s *decode.Sample, said float64) (m, sd float64) {
	step, _ := s.Values.Get(decode.SounderStepM)
	m, kelvin := said, untoldSDK
	if c := t.cfg.Site.TemperatureC; c != nil {
		kelvin = toldSDK
	}
	if standard, _ := s.Values.Get(decode.SounderStandard); standard != 1 {
		return m, math.Hypot(step*roundingSD, m*toldSDK/standardK)
	}
	if c := t.cfg.Site.TemperatureC; c != nil {
		m *= (*c + atmos.ZeroC) / standardK
	}
	return m, math.Hypot(step*roundingSD, m*kelvin/standardK)
}
