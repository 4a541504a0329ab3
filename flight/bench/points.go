package bench

import (
	"math"
	"time"

	"padlark/decode"
)

// point is what one sample tells the bench; NaN where it says nothing.
type point struct {
	heard   float64 // s since the checkup began
	clock   float64 // s, of the board; NaN if it sends none
	boot    uint32
	seq     int64 // -1 if none
	pa      float64
	altM    float64 // as the board computed it
	tempC   float64
	cellV   float64
	pulseUs float64
	on      float64
	armed   float64
}

func newPoint(s *decode.Sample, begin time.Time) point {
	p := point{heard: s.Heard.Sub(begin).Seconds(), clock: math.NaN(), boot: s.Boot, seq: s.Seq}
	if s.Clock >= 0 {
		p.clock = float64(s.Clock) * 1e-6
	}
	get := func(name string) float64 { v, _ := s.Values.Get(name); return v }
	p.pa, p.altM, p.tempC = get(decode.PressurePa), get(decode.AltitudeM), get(decode.TemperatureC)
	p.cellV, p.pulseUs = get(decode.CellV), get(decode.ReleaseUs)
	p.on, p.armed = get(decode.ReleaseOn), get(decode.Armed)
	return p
}

// record is what was heard in one step. It is bounded by mostPoints: what comes
// later is left out, and the step ends.
type record struct {
	points []point
	steady bool // the board's clock may be used as time
	zero   float64
}

const mostPoints = 1 << 20

func (r *record) add(p point) { r.points = append(r.points, p) }

// time of a point in s: by the board's own clock where that runs well, for
// what arrives late was still measured on time.
func (r *record) time(p point) float64 {
	if r.steady && !math.IsNaN(p.clock) {
		return p.clock + r.zero
	}
	return p.heard
}

// settle decides whether the board's clock can be used: it must run as fast as
// ours within a tenth, in one boot.
func (r *record) settle() {
	r.steady = false
	if len(r.points) < 3 {
		return
	}
	a, b := r.points[0], r.points[len(r.points)-1]
	for _, p := range r.points {
		if p.boot != a.boot || math.IsNaN(p.clock) {
			return
		}
	}
	if ratio := (b.clock - a.clock) / (b.heard - a.heard); ratio > 0.9 && ratio < 1.1 {
		r.steady, r.zero = true, a.heard-a.clock
	}
}

// column gives times and values of the points that have one.
func (r *record) column(of func(point) float64) (t, v []float64) {
	for _, p := range r.points {
		if x := of(p); !math.IsNaN(x) {
			t, v = append(t, r.time(p)), append(v, x)
		}
	}
	return t, v
}
