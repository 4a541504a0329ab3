package ensemble

import (
	"math"
	"time"

	"padlark/decode"
)

// names gives the channel names of a plan, in the order in which fill writes.
func (p *plan) names() []string {
	out := []string{decode.PressurePa}
	if p.board.altStepM > 0 {
		out[0] = decode.AltitudeM
	}
	if !p.board.bare {
		out = append(out, decode.TemperatureC, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed)
	}
	if p.sensor.accel {
		out = append(out, decode.AccelMps2)
	}
	if p.board.axes {
		out = append(out, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2)
	}
	if p.board.gps {
		out = append(out, decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSFix)
	}
	if p.board.gpsAlt {
		out = append(out, decode.GPSAltitudeM)
	}
	if p.sensor.pairPa > 0 {
		out = append(out, decode.Pressure2Pa)
	}
	return out
}

// source makes the samples of one board, one after the other.
type source struct {
	plan    *plan
	names   []string
	epoch   time.Time
	path    cursor
	timing  *timing
	sensing *sensing
	channel *channel
	held    float64
	heldFor float64 // index of the sensor's own cycle
	sent    int64   // sent, heard or not
	n       uint64  // heard
	passed  int64

	zeroed    bool // of a board that sends metres
	zeroBoot  uint32
	zero      float64
	fix       float64 // the receiver's height
	fixDue    float64
	fixWander float64
}

func newSource(p *plan, path *truePath, epoch time.Time) *source {
	return &source{
		plan: p, names: p.names(), epoch: epoch, path: cursor{path: path},
		timing:  newTiming(p.board, stream(p.seed, p.index, forBoard)),
		sensing: newSensing(p.sensor, p.seed, p.index),
		channel: newChannel(p.radio, stream(p.seed, p.index, forRadio)),
		heldFor: math.Inf(-1),
	}
}

// next writes the next heard sample. Vals is where its channels go and must
// have room for names(); rssi is where its signal goes. False at the end.
func (s *source) next(out *decode.Sample, vals []float64, rssi *float64) bool {
	for {
		shot := s.timing.next()
		if shot.t > s.plan.end {
			return false
		}
		s.sent++
		m := s.moment(shot.t)
		pressure := s.read(m)
		heard, delay := s.channel.passes(shot.t)
		if !heard {
			continue
		}
		s.fill(vals, m, pressure)
		*rssi = s.signal(m)
		s.stampOn(out, shot, delay)
		out.RSSI = rssi
		out.Values = decode.Channels{Names: s.names, Values: vals}
		return true
	}
}

// moment is the truth at t.
func (s *source) moment(t float64) moment {
	p := s.plan
	m := moment{t: t, air: p.air, truth: Point{Force: g0}}
	since := t - p.liftoff
	if s.path.path == nil || since < 0 {
		return m
	}
	m.truth = s.path.at(since)
	marks := &s.path.path.marks
	m.landed = since >= marks.touchdown
	m.flying = !m.landed && !(since >= marks.release)
	return m
}

// read is the pressure that the frame carries: a new reading, or the held one
// when the sensor is slower than the frames.
func (s *source) read(m moment) float64 {
	if s.plan.board.hold <= 0 {
		return s.sensing.pressure(m)
	}
	if k := math.Floor(m.t * s.plan.board.hold); k != s.heldFor {
		s.heldFor = k
		s.held = s.sensing.pressure(m)
	}
	return s.held
}

// fill writes the channels in the order of names().
func (s *source) fill(v []float64, m moment, pressure float64) {
	p := s.plan
	b := &s.timing.board
	v[0] = pressure
	i := 1
	if b.altStepM > 0 {
		v[0] = s.boardAltitude(pressure, m.t)
	}
	if !b.bare {
		us, on := b.pulse(m.t)
		v[1] = round(p.air.padK-zeroC-lapse*m.truth.Height+s.sensing.warmth(m.t), 0.01)
		v[2] = round(p.power.at(m.t, b)+0.004*s.sensing.slow.NormFloat64(), 0.001)
		v[3] = us
		v[4] = bit(on)
		v[5] = bit(m.t >= b.armAt)
		i = 6
	}
	if p.sensor.accel {
		v[i] = s.sensing.force(m)
		i++
	}
	if b.axes {
		s.sensing.axes(m, v[i:i+3])
		i += 3
	}
	if b.gps {
		v[i], v[i+1], v[i+2] = s.position(m)
		i += 3
	}
	if b.gpsAlt {
		v[i] = s.fixHeight(m)
		i++
	}
	if p.sensor.pairPa > 0 {
		v[i] = s.sensing.pairNow
	}
}

// boardAltitude is the height in m that a board works out itself: by the standard
// atmosphere, above where it was switched on.
func (s *source) boardAltitude(pa, t float64) float64 {
	h := 44330.77 * (1 - math.Pow(pa/seaPa, 0.190263))
	if boot := s.timing.boots; !s.zeroed || boot != s.zeroBoot {
		s.zeroed, s.zeroBoot, s.zero = true, boot, h
	}
	return round(h-s.zero, s.timing.altStepM)
}

// fixHeight is the receiver's height above the sea, renewed five times a second:
// it lags and wanders by some metres.
func (s *source) fixHeight(m moment) float64 {
	if m.t >= s.fixDue {
		s.fixDue = m.t + 0.2
		lag := 0.25
		s.fixWander = 0.97*s.fixWander + 0.24*3*s.sensing.slow.NormFloat64()
		h := m.truth.Height - lag*m.truth.Speed
		s.fix = round(*s.plan.site.ElevationM+h+s.fixWander, 0.1)
	}
	return s.fix
}

// metresPerDegree of latitude at 45 degrees, WGS 84 (computed from the
// published ellipsoid).
const metresPerDegree = 111131.8

// position is the receiver's fix, with 2 m of noise, east of the pad.
func (s *source) position(m moment) (lat, lon, fix float64) {
	p := s.plan
	b := &s.timing.board
	east := m.truth.Across
	if m.t > b.walkFrom {
		east += b.walkMps * (m.t - b.walkFrom)
	}
	lat0, lon0 := *p.site.LatitudeDeg, *p.site.LongitudeDeg
	north := 2 * s.sensing.slow.NormFloat64()
	east += 2 * s.sensing.slow.NormFloat64()
	lat = round(lat0+north/metresPerDegree, 1e-7)
	lon = round(lon0+east/(metresPerDegree*math.Cos(lat0*math.Pi/180)), 1e-7)
	return lat, lon, 3
}

// signal is the strength at the station in whole dBm: it falls
// with the square of the distance from 50 m on.
func (s *source) signal(m moment) float64 {
	r := &s.channel.radio
	v := r.rssi
	if d2 := m.truth.Across*m.truth.Across + m.truth.Height*m.truth.Height; d2 > 10 {
		v -= 10 * math.Log10(1+d2/2500)
	}
	if m.landed {
		v -= 6 // the antenna lies in the grass
	}
	if m.t >= r.weakFrom {
		v -= r.weakDb
	}
	return math.Round(v)
}

// stampOn writes identity and times.
func (s *source) stampOn(out *decode.Sample, shot shot, delay float64) {
	s.n++
	heard := seconds(shot.t + delay)
	// One link passes its frames on in order.
	s.passed = max(s.passed+1, int64(heard))
	*out = decode.Sample{
		Session: sessionName, Link: linkName, N: s.n, Rocket: s.plan.board.rocket,
		Boot: shot.boot, Seq: shot.seq, Clock: shot.clock,
		At: s.epoch.Add(seconds(shot.stamp)), Heard: s.epoch.Add(time.Duration(s.passed)), Passed: s.passed,
	}
}

// Names that all samples of the ensemble carry.
const (
	sessionName = "ensemble"
	linkName    = "sim"
)

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

func round(v, step float64) float64 { return math.Round(v/step) * step }

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
