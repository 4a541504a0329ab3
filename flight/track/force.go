package track

import (
	"math"

	"padlark/decode"
)

// force is what the accelerometer tells, by what the sensor shows of itself: boards are
// mounted anyhow, some send a size without a sign, and some sensors stick or clip.
type force struct {
	rest     [3]float64 // m/s2, mean at rest, of the axes or of the one that is sent
	axes     bool       // three were sent
	n        int        // readings at rest, up to forceMemory
	signed   bool       // in this flight it has read what pulls back: it is no size, and does not stick
	strikes  int        // readings of this flight that cannot be
	distrust bool
}

// What an accelerometer must show before it is believed (common practice, no source).
const (
	forceMemory = 100
	restMost    = 3.0  // m/s2, by which it may err at rest on the pad
	pullsBack   = -1.5 // m/s2, that no bias of a sensor feigns in free flight
	pushes      = 5.0  // m/s2, that only thrust and a parachute do
	mostStrikes = 6
)

// along is the force along the rocket in m/s2, 9.81 at rest on the pad, as the sample
// tells it; NaN if it does not or if the sensor is not believed. The axis is that of
// gravity on the pad.
func (f *force) along(s *decode.Sample, resting bool) float64 {
	a, axes, ok := Acceleration(s)
	if !ok {
		return math.NaN()
	}
	if axes != f.axes {
		*f = force{axes: axes}
	}
	if resting {
		f.learn(a)
		return math.NaN()
	}
	size := math.Sqrt(f.rest[0]*f.rest[0] + f.rest[1]*f.rest[1] + f.rest[2]*f.rest[2])
	if f.n < forceMemory/5 || math.Abs(size-gravity) > restMost {
		return math.NaN()
	}
	v := (a[0]*f.rest[0]+a[1]*f.rest[1]+a[2]*f.rest[2])/size - (size - gravity)
	f.signed = f.signed || v < pullsBack
	if !f.signed || f.distrust {
		return math.NaN()
	}
	if v > pushes { // no thrust comes back
		f.strikes++
		f.distrust = f.strikes > mostStrikes
		return math.NaN()
	}
	return v
}

// learn takes a reading at rest.
func (f *force) learn(a [3]float64) {
	f.n = min(f.n+1, forceMemory)
	for i := range a {
		f.rest[i] += (a[i] - f.rest[i]) / float64(f.n)
	}
	f.signed, f.strikes, f.distrust = false, 0, false
}

// Acceleration is what a sample tells of the acceleration, and whether by three axes.
func Acceleration(s *decode.Sample) (a [3]float64, axes, ok bool) {
	if v, has := s.Values.Get(decode.AccelMps2); has {
		return [3]float64{v}, false, true
	}
	for i, name := range [3]string{decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2} {
		v, has := s.Values.Get(name)
		if !has {
			return a, true, false
		}
		a[i] = v
	}
	return a, true, true
}
