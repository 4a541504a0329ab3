package ground

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
)

func ptr(v float64) *float64 { return &v }

// drop is a made flight: up for 4 s, down at a steady rate with a steady drift.
type drop struct {
	pad          Place
	top, sink    float64 // m, m/s
	driftE       float64 // m/s over ground
	driftN       float64
	noise, every float64 // of the fixes: m, s
	biasE        float64 // m, of the receiver
	gps          bool
}

const upS = 4.0

func (d drop) duration() float64 { return upS + d.top/d.sink }

// at is the truth at t s after the liftoff.
func (d drop) at(t float64) (phase flight.Phase, height, sink, east, north float64) {
	switch {
	case t < 0:
		return flight.Waiting, 0, 0, 0, 0
	case t < upS:
		u := t / upS
		return flight.Coast, d.top * u * (2 - u), -2 * d.top / upS * (1 - u), 0, 0
	case t < d.duration():
		s := t - upS
		return flight.Descent, d.top - d.sink*s, d.sink, d.driftE * s, d.driftN * s
	}
	s := d.top / d.sink
	return flight.Landed, 0, 0, d.driftE * s, d.driftN * s
}

// fly steps a follower from 20 s before the liftoff to an end.
func (d drop) fly(f *Follower, rng *rand.Rand, end float64, each func(t float64)) {
	next := -20.0
	lat, lon := math.NaN(), math.NaN()
	for i := -400; float64(i)*0.05 <= end; i++ {
		t := float64(i) * 0.05
		phase, h, v, e, n := d.at(t)
		if t >= next && d.gps {
			p := ofPlane(d.pad, e+d.biasE+rng.NormFloat64()*d.noise, n+rng.NormFloat64()*d.noise)
			lat, lon = p.LatitudeDeg, p.LongitudeDeg
			next += d.every
		}
		f.Step(Moment{T: t, LatitudeDeg: lat, LongitudeDeg: lon, Phase: phase, Released: t > upS+0.5,
			HeightM: h, HeightSD: 0.5, SinkMps: v})
		if each != nil {
			each(t)
		}
	}
}

var field = Place{52.1, 5.3}

// From the air and from the ground: where it comes down is found to the metre when
// fixes are exact, whatever the receiver's own error is, and seen from the pad.
func TestLandingByFixes(t *testing.T) {
	d := drop{pad: field, top: 100, sink: 5, driftE: 3, driftN: -4, every: 0.5, biasE: 7, gps: true}
	f := New(flight.Rocket{}, flight.Site{LatitudeDeg: ptr(field.LatitudeDeg), LongitudeDeg: ptr(field.LongitudeDeg)})
	seen := 0
	d.fly(f, rand.New(rand.NewPCG(1, 1)), d.duration()+5, func(now float64) {
		phase, h, _, e, n := d.at(now)
		p, l := f.Position(), f.Landing()
		if now > -19 && p == nil {
			t.Fatalf("no position at %.2f s", now)
		}
		if phase == flight.Descent && p.ElevationDeg != nil && now < d.duration()-0.5 {
			// The newest fix is 0.5 s old at the most.
			if off := math.Hypot(p.EastM-e, p.NorthM-n); off > 2.6 {
				t.Fatalf("%.2f s: position is %.2f m off", now, off)
			}
			if want := math.Atan2(h, math.Hypot(p.EastM, p.NorthM)) / rad; math.Abs(*p.ElevationDeg-want) > 1e-6 {
				t.Fatalf("elevation %.3f°, want %.3f", *p.ElevationDeg, want)
			}
		}
		if phase != flight.Descent || now < upS+5 {
			return
		}
		seen++
		if off := math.Hypot(l.EastM-60, l.NorthM+80); off > 3 {
			t.Fatalf("%.2f s: landing foretold %.2f m off: %+v", now, off, l)
		}
		if math.Abs(l.AngleDeg-143.13) > 0.5 || l.AlongM < l.AcrossM { // atan2(3, -4)
			t.Fatalf("ellipse %+v", l)
		}
	})
	if seen < 200 {
		t.Fatalf("looked at %d moments", seen)
	}
	l := f.Landing()
	if math.Abs(l.RangeM-100) > 0.5 || math.Abs(l.BearingDeg-143.13) > 0.3 || l.AlongM != 8 || l.AcrossM != 8 {
		t.Errorf("landing %+v, want 100 m off at 143.13° ± 8 m", l)
	}
	if e, n := Plane(Place{*l.LatitudeDeg, *l.LongitudeDeg}, ofPlane(field, 67, -80)); math.Hypot(e, n) > 0.5 {
		t.Errorf("the place on earth is %.2f m off", math.Hypot(e, n)) // with the receiver's own 7 m
	}
}

// The ellipse holds 95 of 100 of the landings where what it assumes is so: drawn
// flights whose sink rate and drift change below by the named parts.
func TestEllipseHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(16, 1))
	inside, all := 0, 0
	for range 400 {
		d := drop{pad: field, top: 80 + 100*rng.Float64(), sink: 4 + 3*rng.Float64(), every: 1, noise: 1, gps: true}
		d.driftE, d.driftN = 6*rng.NormFloat64(), 6*rng.NormFloat64()
		f := New(flight.Rocket{}, flight.Site{})
		at := upS + 0.4*d.top/d.sink
		d.fly(f, rng, at, nil)
		l := f.Landing()
		if l == nil {
			continue
		}
		all++
		_, h, _, e, n := d.at(at)
		speed := math.Hypot(d.driftE, d.driftN)
		left := h / (d.sink * (1 + sinkPart*rng.NormFloat64()))
		along, across := speed*(1+alongPart*rng.NormFloat64())*left, acrossPart*rng.NormFloat64()*speed*left
		x, y := e+(along*d.driftE-across*d.driftN)/speed, n+(along*d.driftN+across*d.driftE)/speed
		sin, cos := math.Sincos(l.AngleDeg * rad)
		dx, dy := x-l.EastM, y-l.NorthM
		if sq((dx*sin+dy*cos)/l.AlongM)+sq((dx*cos-dy*sin)/l.AcrossM) <= 1 {
			inside++
		}
	}
	if part := float64(inside) / float64(all); all < 390 || part < 0.92 || part > 0.995 {
		t.Errorf("%d of %d inside (%.3f), promised 0.95", inside, all, part)
	}
}

// Without fixes the site's wind tells, and without its direction nothing does.
func TestLandingByWind(t *testing.T) {
	d := drop{pad: field, top: 100, sink: 5}
	f := New(flight.Rocket{}, flight.Site{WindMps: 4, WindFromDeg: ptr(270)})
	var early *flight.Landing
	d.fly(f, rand.New(rand.NewPCG(1, 1)), d.duration()+5, func(now float64) {
		if l := f.Landing(); l != nil && early == nil {
			c := *l
			early = &c
		}
	})
	l := f.Landing()
	if l == nil || early == nil || l.Source != flight.FromWind || l.LatitudeDeg != nil {
		t.Fatalf("early %+v, landed %+v", early, l)
	}
	// 20 s in the wind at 2 m times (h/2)^(1/7), whose mean below 100 m is 1.53.
	if math.Abs(l.EastM-4*1.53*20) > 3 || math.Abs(l.NorthM) > 1e-6 || math.Abs(l.BearingDeg-90) > 0.01 {
		t.Errorf("landed %+v", l)
	}
	if math.Abs(early.EastM-l.EastM) > 3 || early.AlongM <= early.AcrossM/1.2 {
		t.Errorf("foretold %+v, landed %+v", early, l)
	}
	f = New(flight.Rocket{}, flight.Site{WindMps: 4})
	d.fly(f, rand.New(rand.NewPCG(1, 1)), d.duration()+5, func(float64) {
		if f.Landing() != nil || f.Position() != nil {
			t.Fatal("a place out of nothing")
		}
	})
}

// What a receiver does when it has no place: zeros, leaps, the last one again.
func TestFalseFixes(t *testing.T) {
	f := New(flight.Rocket{}, flight.Site{})
	step := func(t, lat, lon float64) {
		f.Step(Moment{T: t, LatitudeDeg: lat, LongitudeDeg: lon, Phase: flight.Waiting, HeightM: 0, HeightSD: 0.5})
	}
	step(0, 0, 0)
	step(1, 91, 5)
	if f.Position() != nil {
		t.Fatalf("a position of no fix: %+v", f.Position())
	}
	for i := range 10 {
		step(2+float64(i), 52.1, 5.3+float64(i%2)*1e-5)
	}
	step(12, 53, 5.3) // 100 km in a second
	if p := f.Position(); p.RangeM > 2 {
		t.Errorf("followed a leap: %+v", p)
	}
	for i := range 8 {
		step(13+float64(i), 53, 5.3+float64(i%2)*1e-5)
	}
	if p := f.Position(); math.Abs(*p.LatitudeDeg-53) > 1e-6 {
		t.Errorf("did not believe that it was carried away: %+v", p)
	}
}

// In flight nothing is allocated.
func TestNoAllocation(t *testing.T) {
	f := New(flight.Rocket{}, flight.Site{WindMps: 3, WindFromDeg: ptr(10)})
	i := 0
	if n := testing.AllocsPerRun(500, func() {
		i++
		f.Step(Moment{T: float64(i) / 10, LatitudeDeg: 52 + float64(i)*1e-6, LongitudeDeg: 5, Phase: flight.Descent, HeightM: 80, SinkMps: 4})
	}); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
	if f.Landing() == nil {
		t.Error("no landing was foretold")
	}
}

// After a flight the same is found from its samples and its result.
func TestTrace(t *testing.T) {
	d := drop{pad: field, top: 60, sink: 5, driftE: 2, driftN: 1, every: 1, gps: true}
	zero := time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC)
	at := func(s float64) *time.Time { x := zero.Add(time.Duration(s * 1e9)); return &x }
	res := flight.Result{LaunchedAt: at(0), ApogeeAt: at(upS), ReleaseAt: at(upS + 0.5), TouchdownAt: at(d.duration())}
	var samples []decode.Sample
	for i := -200; i < 500; i++ {
		s := float64(i) * 0.05
		_, _, _, e, n := d.at(math.Floor(s))
		p := ofPlane(field, e, n)
		samples = append(samples, decode.Sample{At: *at(s), Values: decode.Channels{
			Names:  []string{decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSFix},
			Values: []float64{p.LatitudeDeg, p.LongitudeDeg, 1}}})
	}
	height := func(when time.Time) (float64, float64) {
		_, h, v, _, _ := d.at(when.Sub(zero).Seconds())
		return h, v
	}
	track, l := Trace(flight.Rocket{}, flight.Site{}, samples, &res, height)
	if l == nil || l.Source != flight.FromGPS || math.Hypot(l.EastM-24, l.NorthM-12) > 2.5 {
		t.Fatalf("landing %+v, want 24 m east and 12 m north", l)
	}
	if n := len(track.T); n < 10 || math.Abs(track.EastM[n-1]-2*(math.Floor(track.T[n-1])-upS)) > 1e-3 || track.HeightM[5] < 10 {
		t.Errorf("track %+v", track)
	}
	for i := range samples { // the board says that it has no fix
		samples[i].Values.Values[2] = 0
	}
	if track, l = Trace(flight.Rocket{}, flight.Site{}, samples, &res, height); l != nil || len(track.T) > 0 {
		t.Errorf("a track without a fix: %+v %+v", track, l)
	}
}
