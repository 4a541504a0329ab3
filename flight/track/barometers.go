package track

import (
	"math"

	"padlark/decode"
	"padlark/flight/atmos"
)

// Barometers makes one pressure of a board's two: each counts by the noise that it had
// on the pad, and one that lies is left out until it agrees again. It is for one rocket
// and one goroutine; the zero value is ready to use.
type Barometers struct {
	one  [2]barometer
	out  int     // 1 or 2 is left out, 0 none
	at   float64 // s, of the newest frame, since the first
	pa   float64 // the pressure then
	rate float64 // Pa/s, of late
	calm float64 // s, how long it has been at rest
	far  float64 // s, how long the two have been apart
	near float64 // s, how long the one left out has agreed
	n    int     // frames with both, at rest
	ref  int64   // ns, of the first frame
}

// barometer is what is known of one.
type barometer struct {
	raw   float64 // Pa, the newest
	level float64 // Pa, by which it reads more than the pressure that is made
	noise float64 // Pa2
	step  float64 // Pa, from the reading before to the newest
	held  int     // readings that were the same
	heard float64 // s, when it was last heard
}

// What two barometers of one board may do (common practice, no source).
const (
	pairLearns  = 10.0 // s, memory of the levels and the noise
	pairKnown   = 20   // frames after which the levels are known
	pairRest    = 2.0  // s at rest before anything is learnt
	pairRestMps = 1.0  // m/s, below which it rests
	pairFar     = 30.0 // Pa that two may differ besides their noise: 2.5 m, as holes do in wind
	pairSDs     = 6.0
	pairRam     = 0.1 // of the dynamic pressure that they may differ by: the holes are apart
	pairHeld    = 5   // readings in a row that are the same, while the other moves
	pairAgain   = 1.0 // s that one must agree to be heard again
	pairAlone   = 1.0 // s without the other after which one that was left out is heard
	pairAnew    = 5.0 // s at rest after which one that has stepped has another level
	pairLeastPa = 0.3 // Pa, noise of a good one at the least
	pairPause   = 5.0 // s without a frame, after which nothing is known of how fast it moves
)

// pascalPerM is what the air near the ground loses on a metre.
const pascalPerM = atmos.StandardDensity * atmos.StandardGravity

// Fuse replaces a sample's pressure by what both barometers say. It gives the one that
// is left out, "" for none. A sample without a second barometer stays as it is.
func (b *Barometers) Fuse(s *decode.Sample) (leftOut string) {
	names := [2]string{decode.PressurePa, decode.Pressure2Pa}
	var p [2]float64
	where := [2]int{-1, -1}
	for k, name := range names {
		p[k] = math.NaN()
		for i, n := range s.Values.Names {
			if n == name {
				where[k] = i
				if v := s.Values.Values[i]; v > 1000 && v < 120000 {
					p[k] = v
				}
			}
		}
	}
	if where[1] < 0 {
		return ""
	}
	if b.ref == 0 {
		b.ref = s.At.UnixNano()
	}
	v := b.take(float64(s.At.UnixNano()-b.ref)/1e9, p)
	all, values := s.Values.Names, append([]float64(nil), s.Values.Values...) // the caller's stay
	if where[0] < 0 {
		all, values = append(append([]string(nil), all...), names[0]), append(values, v)
	} else {
		values[where[0]] = v
	}
	s.Values = decode.Channels{Names: all, Values: values}
	if b.out == 0 {
		return ""
	}
	return names[b.out-1]
}

// take gives the pressure at a time in s, NaN if there is none.
func (b *Barometers) take(t float64, p [2]float64) float64 {
	dt := t - b.at
	if b.n == 0 && b.pa == 0 || dt > pairPause || dt < 0 {
		dt, b.rate, b.calm = 0, 0, 0
	}
	expected := b.pa + b.rate*dt
	var q [2]float64 // what each says, at one level
	for k := range p {
		b.one[k].look(t, p[k])
		q[k] = p[k] - b.one[k].level
	}
	both := !math.IsNaN(q[0]) && !math.IsNaN(q[1])
	switch {
	case both:
		b.compare(q, expected, dt)
	case b.out != 0 && t-b.one[2-b.out].heard > pairAlone && b.one[b.out-1].held < pairHeld:
		b.out = 0 // better than none
	}
	v := math.NaN()
	switch {
	case both && b.out == 0 && b.stands(0):
		v = q[1]
	case both && b.out == 0 && b.stands(1):
		v = q[0]
	case both && b.out == 0 && b.n >= pairKnown:
		w0, w1 := 1/b.one[0].variance(), 1/b.one[1].variance()
		v = (w0*q[0] + w1*q[1]) / (w0 + w1)
	case !math.IsNaN(q[0]) && b.out != 1:
		v = q[0]
	case !math.IsNaN(q[1]) && b.out != 2:
		v = q[1]
	}
	if math.IsNaN(v) {
		return v
	}
	b.learn(t, dt, v, q, both)
	return v
}

// look notes a reading.
func (x *barometer) look(t, raw float64) {
	if math.IsNaN(raw) {
		return
	}
	x.step = raw - x.raw
	if x.held++; x.step != 0 {
		x.held = 0
	}
	x.raw, x.heard = raw, t
}

func (x *barometer) variance() float64 { return math.Max(x.noise, pairLeastPa*pairLeastPa) }

// stands says whether one repeats itself while the other moves.
func (b *Barometers) stands(k int) bool {
	return b.n >= pairKnown && b.one[k].held >= pairHeld && b.one[1-k].held == 0
}

// compare finds out whether one of the two lies, and which.
func (b *Barometers) compare(q [2]float64, expected, dt float64) {
	if b.n < pairKnown {
		return
	}
	speed := math.Abs(b.rate) / pascalPerM
	sd := math.Sqrt(b.one[0].variance() + b.one[1].variance())
	may := pairFar + pairSDs*sd + pairRam*atmos.StandardDensity/2*speed*speed
	if math.Abs(q[1]-q[0]) <= may {
		b.far = 0
		if b.near += dt; b.out != 0 && b.near > pairAgain && b.one[b.out-1].held < pairHeld {
			b.out = 0
		}
		return
	}
	b.near = 0
	b.far += dt
	for k := range q {
		if b.stands(k) {
			b.out = k + 1
			return
		}
	}
	if b.out != 0 {
		return
	}
	// The one that has left the course that both were on.
	b.out = 1
	if math.Abs(q[1]-expected) > math.Abs(q[0]-expected) {
		b.out = 2
	}
}

// learn goes on with the pressure that was made.
func (b *Barometers) learn(t, dt, v float64, q [2]float64, both bool) {
	last := b.pa
	b.at, b.pa = t, v
	if dt <= 0 {
		return
	}
	b.rate += ((v-last)/dt - b.rate) * -math.Expm1(-dt/0.3)
	if math.Abs(b.rate) > pairRestMps*pascalPerM+3*math.Sqrt(b.one[0].variance()) {
		b.calm = 0
		return
	}
	if b.calm += dt; !both || b.n >= pairKnown && b.calm < pairRest {
		return
	}
	b.n++
	part := math.Max(-math.Expm1(-dt/pairLearns), 1/float64(b.n+1))
	for k := range q {
		if k+1 != b.out {
			d := b.one[k].step // of two readings, which scatter alike
			b.one[k].noise += (d*d/2 - b.one[k].noise) * part
		}
	}
	switch d := q[1] - q[0]; {
	case b.out == 0:
		b.one[1].level += d * part
	case b.calm > pairAnew && b.far > pairAnew && b.one[b.out-1].held < pairHeld:
		b.one[b.out-1].level += q[b.out-1] - v // it has stepped, and works
		b.far = 0
	}
}
