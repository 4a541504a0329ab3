package track

import (
	"fmt"
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ground"
)

// numbers is the storage that the pointers in the state point to, so that a
// sample costs no allocation.
type numbers struct {
	altitude, altitudeSD, speed, speedSD, accel, highest float64
	toApogee, toApogeeSD, predicted, predictedSD         float64
	vent, ventSD                                         float64
	releaseUs, cell, rssi, pressure, temp, lat, lon      float64
	armed                                                bool
}

// note copies what the sample tells besides height.
func (t *Tracker) note(s *decode.Sample) {
	o := &t.out
	o.Link, o.At, o.Heard, o.Boot = s.Link, s.At, s.Heard, s.Boot
	o.Frames++
	if s.Seq >= 0 {
		if t.last.heard && t.last.boot == s.Boot && t.last.seq >= 0 && s.Seq > t.last.seq+1 {
			o.Lost += uint64(s.Seq - t.last.seq - 1)
		}
		t.last.seq = s.Seq
	}
	n := &t.num
	keep := func(name string, at *float64, to **float64) {
		if v, ok := s.Values.Get(name); ok {
			*at = v
			*to = at
		}
	}
	keep(decode.ReleaseUs, &n.releaseUs, &o.ReleaseUs)
	keep(decode.CellV, &n.cell, &o.CellV)
	keep(decode.PressurePa, &n.pressure, &o.PressurePa)
	keep(decode.TemperatureC, &n.temp, &o.TempC)
	keep(decode.LatitudeDeg, &n.lat, &o.Latitude)
	keep(decode.LongitudeDeg, &n.lon, &o.Longitude)
	keep(decode.RSSIDbm, &n.rssi, &o.RSSIDbm)
	if s.RSSI != nil {
		n.rssi = *s.RSSI
		o.RSSIDbm = &n.rssi
	}
	if v, ok := s.Values.Get(decode.Armed); ok {
		n.armed = v > 0.5
		o.Armed = &n.armed
	}
}

// fill writes height, speed and prediction.
func (t *Tracker) fill() {
	o, n := &t.out, &t.num
	if !t.last.heard {
		return
	}
	o.ToApogeeS, o.ToApogeeSD, o.PredictedM, o.PredictedSD = nil, nil, nil, nil
	if !t.flying {
		t.fillAtRest()
		return
	}
	h, v, varH, varV := t.filter.mean()
	t.fillMotion()
	accel := v / max(0.1, t.last.t-t.fl.liftoff) // under thrust, about
	if o.AccelMps2 != nil {
		accel = n.accel
	}
	h, v = t.unvented(h, v)
	n.altitude, n.altitudeSD = h, t.heightSD(t.last.t, h, v, varH)
	n.speed, n.speedSD = v, t.speedSD(v, accel, varV)
	n.highest = t.fl.highest
	o.AltitudeM, o.AltitudeSD, o.SpeedMps, o.SpeedSD = &n.altitude, &n.altitudeSD, &n.speed, &n.speedSD
	o.HighestM = &n.highest
	if !t.fl.apogee { // afterwards the flow is another
		x, p := &t.filter.x[coast], &t.filter.p[coast]
		n.vent, n.ventSD = x[xPort], math.Sqrt(p[xPort][xPort])
		o.VentPart, o.VentSD = &n.vent, &n.ventSD
	}
	if t.fl.inAir { // the pad is not known
		o.AltitudeM, o.AltitudeSD, o.HighestM = nil, nil, nil
	}
}

// fillAtRest is the state of a rocket on the ground.
func (t *Tracker) fillAtRest() {
	o, n := &t.out, &t.num
	sd := math.Sqrt(t.noise() + t.pad.gusts(usualGust, t.step()))
	level := t.pad.level
	h := 0.0
	if t.hist.n > 0 {
		h = t.col.height(t.hist.at(0).z - level)
	}
	n.altitude, n.altitudeSD, n.speed, n.speedSD, n.accel = h, sd, 0, 0.1, 0
	o.AltitudeM, o.AltitudeSD, o.SpeedMps, o.SpeedSD, o.AccelMps2 = &n.altitude, &n.altitudeSD, &n.speed, &n.speedSD, &n.accel
	if o.Phase == flight.Waiting {
		o.HighestM = nil
	}
}

// fillMotion adds acceleration and, while climbing, the predicted apogee.
func (t *Tracker) fillMotion() {
	o, n, f := &t.out, &t.num, &t.filter
	o.AccelMps2 = nil
	if f.w[boost] > 0.5 {
		return
	}
	n.accel = 0
	for _, m := range [2]mode{coast, canopy} {
		v := f.x[m][1]
		n.accel += f.w[m] / (1 - f.w[boost]) * (-gravity - math.Exp(f.x[m][2])*v*math.Abs(v))
	}
	o.AccelMps2 = &n.accel
	if t.fl.apogee || f.w[coast] < 0.5 {
		return
	}
	p := f.predict2apogee()
	n.toApogee, n.toApogeeSD = p.inS, t.toApogeeSD(&p)
	n.predicted, n.predictedSD = p.height, t.heightSD(t.last.t, p.height, 0, p.sdM*p.sdM)
	o.ToApogeeS, o.ToApogeeSD, o.PredictedM, o.PredictedSD = &n.toApogee, &n.toApogeeSD, &n.predicted, &n.predictedSD
}

// locate follows the place of the rocket; now is the sample's time.
func (t *Tracker) locate(s *decode.Sample, now float64) {
	o := &t.out
	m := ground.Moment{T: now, Phase: o.Phase, Released: o.Released,
		HeightM: orNaN(o.AltitudeM), HeightSD: orNaN(o.AltitudeSD), SinkMps: -orNaN(o.SpeedMps)}
	m.LatitudeDeg, m.LongitudeDeg = ground.FixOf(s)
	t.where.Step(m)
	o.Position, o.Landing = t.where.Position(), t.where.Landing()
}

func orNaN(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// clock turns s since the first sample into UTC.
func (t *Tracker) clock(s float64) time.Time {
	return t.ref.Add(time.Duration(math.Round(s * 1e9))).UTC()
}

// event begins an event of the present flight.
func (t *Tracker) event(k flight.Kind, at, sd float64) flight.Event {
	id := fmt.Sprintf("%s-%d-%s", t.out.Rocket, t.out.Flight, k)
	if t.flying && t.fl.calls > 0 && k != flight.Touchdown { // the second of its kind
		id = fmt.Sprintf("%s-%d", id, t.fl.calls+1)
	}
	return flight.Event{
		Session: t.cfg.Session, Rocket: t.out.Rocket, Kind: k, Flight: t.out.Flight, ID: id,
		At: t.clock(at), AtSD: num(math.Hypot(sd, t.receiver(ReceiverS))),
	}
}

// emit appends the event, called now: at the newest reading.
func (t *Tracker) emit(e flight.Event) { t.emitNow(e, t.last.t) }

// emitNow appends the event with the time of the call. Events found while
// older readings are taken again were still called at the newest.
func (t *Tracker) emitNow(e flight.Event, now float64) {
	e.CalledAt = t.clock(max(now, t.last.t))
	// A board's clock that fell back leaves marks that are still to come.
	if e.At.After(e.CalledAt) {
		e.At = e.CalledAt
	}
	if e.Kind != flight.Touchdown && t.flying && e.SpeedMps == nil && e.Kind != flight.Liftoff {
		_, v, _, _ := t.filter.mean()
		e.SpeedMps = num(v)
	}
	t.events = append(t.events, e)
}

func num(v float64) *float64 { return &v }
