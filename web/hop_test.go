package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

func inventedRockets() []flight.Rocket {
	id := func(n uint32) *uint32 { return &n }
	return []flight.Rocket{
		{Name: "Teal", ID: id(7), Cell: "lipo-1s", Release: "servo", ParachuteM: 0.6, MassKg: 0.145, RateHz: 20, DiameterM: 0.09, Cd: 0.45},
		{Name: "Rust", ID: id(8), Cell: "lipo-1s", Release: "servo", ParachuteM: 0.5, MassKg: 0.18, RateHz: 20, DiameterM: 0.09, Cd: 0.5},
		{Name: "Plum", ID: id(9), Cell: "lipo-1s", Release: "servo", ParachuteM: 0.7, MassKg: 0.21, RateHz: 20, DiameterM: 0.11, Cd: 0.5},
	}
}

// hop is one invented flight.
type hop struct {
	rocket    string
	link      string
	pad       float64 // s on the pad before liftoff
	after     float64 // s on the ground afterwards
	speed     float64 // m/s at burnout
	push      float64 // s from liftoff to burnout; 0.35 if not given
	sink      float64 // m/s under the parachute
	ballistic bool    // the parachute never comes
	noFlight  bool    // stays on the pad
	cell      float64 // V
}

// heightOf is the true height in m and whether the release is open, t s after
// liftoff: a push, a fall without air, a sink at one speed. Rough,
// and good enough for a page to show.
func (h hop) heightOf(t float64) (height float64, open bool) {
	const g = 9.81
	push := h.push
	if push == 0 {
		push = 0.35
	}
	if t <= 0 {
		return 0, false
	}
	a := h.speed / push
	if t < push {
		return a * t * t / 2, false
	}
	h1 := a * push * push / 2
	top := push + h.speed/g
	if t < top || h.ballistic {
		d := t - push
		return max(0, h1+h.speed*d-g*d*d/2), false
	}
	apex := h1 + h.speed*h.speed/2/g
	d := t - top - 0.4 // the release comes 0.4 s late
	if d < 0 {
		e := t - top
		return apex - g*e*e/2, false
	}
	return max(0, apex-g*0.08-h.sink*d), true
}

func (h hop) airborne() float64 {
	for t := 1.0; t < 300; t += 0.05 {
		if height, _ := h.heightOf(t); height <= 0 {
			return t
		}
	}
	return 300
}

func (h hop) length() float64 {
	if h.noFlight {
		return h.pad + h.after
	}
	return h.pad + h.airborne() + h.after
}

// samplesOf renders a hop at 20 Hz from the session's epoch on: pressure with
// noise of 4 Pa, about 0.35 m.
func samplesOf(session string, epoch time.Time, h hop, seed uint64) []decode.Sample {
	rng := rand.New(rand.NewPCG(seed, 1))
	n := int(h.length() * 20)
	names := []string{decode.PressurePa, decode.TemperatureC, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed}
	if h.rocket == "Teal" {
		names = append(names, decode.LatitudeDeg, decode.LongitudeDeg)
	}
	out := make([]decode.Sample, 0, n)
	for i := range n {
		t := float64(i) / 20
		height, open := 0.0, false
		if !h.noFlight {
			height, open = h.heightOf(t - h.pad)
		}
		// ISO 2533, the lowest layer, to the accuracy that a picture needs.
		p := 100800*math.Pow(1-2.25577e-5*height, 5.25588) + 4*rng.NormFloat64()
		us, on, armed := 1100.0, 0.0, 0.0
		if !h.noFlight && t > h.pad {
			armed = 1
		}
		if open {
			us, on = 1900, 1
		}
		at := epoch.Add(time.Duration(t * 1e9))
		heard := at.Add(12 * time.Millisecond)
		rssi := -60 - height/8 + rng.NormFloat64()
		values := []float64{math.Round(p), 21.5, math.Round((h.cell-0.0002*t)*1000) / 1000, us, on, armed}
		if h.rocket == "Teal" { // it has a receiver that tells twice a second
			lat, lon := h.placeAt(math.Floor(2*t)/2 - h.pad)
			values = append(values, lat, lon)
		}
		out = append(out, decode.Sample{
			Session: session, Link: h.link, N: uint64(i + 1), Rocket: h.rocket, Boot: 1, Seq: int64(i), Clock: int64(t * 1e6),
			At: at, Heard: heard, Passed: heard.Sub(epoch).Nanoseconds(), RSSI: &rssi,
			Values: decode.Channels{Names: names, Values: values},
		})
	}
	return out
}

// placeAt is where the rocket is over the ground t s after its liftoff, in degrees:
// from the top on the wind carries it 3 m/s east and 1 m/s north, and before the
// liftoff the receiver's last digit turns over now and then.
func (h hop) placeAt(t float64) (lat, lon float64) {
	const lat0, lon0, metre = 52.10, 5.30, 1 / 111_000.0
	drifted := 0.0
	if top := h.speed / 9.81; !h.noFlight && t > top {
		drifted = min(t, h.airborne()) - top
	}
	jitter := 1e-7 * float64(int(2*t)%2)
	return lat0 + jitter + drifted*metre, lon0 + 3*drifted*metre/math.Cos(lat0*math.Pi/180)
}

func frameOf(s *decode.Sample) ingest.Frame {
	p, _ := s.Values.Get(decode.PressurePa)
	body := fmt.Sprintf("$PLRK,%s,%d,%d,%d,%.0f*00", s.Rocket, s.Boot, s.Seq, s.Clock/1000, p)
	return ingest.Frame{Session: s.Session, Link: s.Link, N: s.N, Heard: s.Heard, Mono: s.Passed, Passed: s.Passed, Wire: len(body) + 2, Baud: 9600, RSSI: s.RSSI, Bytes: []byte(body)}
}
