package ensemble

import (
	"math"
	"math/rand/v2"
)

// sensor is how a barometer and an accelerometer see the truth. Pressures in
// Pa, times in s since the epoch.
type sensor struct {
	noisePa   float64 // white, rms
	driftPa   float64 // slow wander, rms
	driftTau  float64
	gustPa    float64    // of the wind, rms, while it stands, hangs or lies
	gustTaus  [3]float64 // s, of a gust that is a sum; zero for one process
	filterS   float64    // time constant of the board's own low pass, s; 0 for none
	airGust   float64    // part of that which shows between liftoff and release
	portCp    float64    // vent error in parts of the dynamic pressure
	portLag   float64    // time constant of the bay behind the vent, s
	swing     swing      // pa 0 for none
	mount     mount
	levels    []levelStep
	warmK     float64 // final rise of the sensor's temperature
	warmTau   float64
	warmPaK   float64
	stepPa    float64 // readings are whole multiples
	biasPa    float64 // error of the absolute reading
	outlierP  float64 // chance per sample
	outlierPa Range
	bumps     []bump
	landedPa  float64 // change of the level once it lies on the ground
	dragPa    float64 // rms of pressure while it is dragged over the ground

	change change // a fault of the sensor from a moment on

	pairPa     float64 // noise of a second barometer beside the first, rms; 0 for none
	pairBiasPa float64 // by which it reads more

	accel      bool
	accelNoise float64 // m/s2 rms
	accelBias  float64
	accelLimit float64 // the reading stops here
}

// change is how a sensor goes wrong at a moment.
type change struct {
	from       float64 // s since the epoch; +Inf never
	stuck      bool
	noiseTimes float64 // factor on the noise; 0 means 1
	rampPaS    float64 // Pa/s
	stepPa     float64 // coarser steps; 0 for none
	offsetPa   float64
}

func noChange() change { return change{from: math.Inf(1)} }

// levelStep moves the level from a moment on, as a restart may.
type levelStep struct{ from, pa float64 }

// bump is a pulse of pressure.
type bump struct {
	from, lenS float64 // s since the epoch
	pa         float64
	shape      shape
}

// shape is how a bump passes.
type shape int

const (
	box   shape = iota // at once, and at once away
	decay              // at once, then falling away to 5 % at its length
	hump               // half a sine
)

// at is the bump's pressure at a time.
func (b bump) at(t float64) float64 {
	s := (t - b.from) / b.lenS
	if s < 0 || (s >= 1 && b.shape != decay) || s > 2 {
		return 0
	}
	switch b.shape {
	case decay:
		return b.pa * math.Exp(-3*s)
	case hump:
		return b.pa * math.Sin(math.Pi*s)
	default:
		return b.pa
	}
}

// wander is a first-order Gauss-Markov process of unit rms.
type wander struct{ v float64 }

// start puts it at its stationary spread.
func (w *wander) start(rng *rand.Rand) { w.v = rng.NormFloat64() }

// pace is by how much a wander forgets and is stirred in one slow step.
type pace struct{ keep, stir float64 }

func paceOf(tau float64) pace {
	if tau <= 0 {
		return pace{0, 1}
	}
	a := math.Exp(-slowStep / tau)
	return pace{a, math.Sqrt(1 - a*a)}
}

// step moves it on by one slow step.
func (w *wander) step(rng *rand.Rand, p pace) { w.v = p.keep*w.v + p.stir*rng.NormFloat64() }

// Correlation times in s: a gust on the pad, being dragged by the canopy.
const (
	gustTau = 1.5
	dragTau = 2.0
)

// sensing is a sensor at work: what it remembers from sample to sample.
type sensing struct {
	sensor
	noise, slow             *rand.Rand
	drift, gust, rub        wander
	driftBy, gustBy, rubBy  pace
	slowAt                  float64 // time up to which the slow processes are
	driftNow, gustNow, drag float64 // Pa
	frozen                  float64
	portNow, portAt         float64
	mixed                   *gusts  // nil for a gust of one process
	lowPa, lowAt            float64 // of the low pass
	pairNoise               *rand.Rand
	pairNow                 float64 // Pa, of the second barometer
}

func newSensing(s sensor, seed, index uint64) *sensing {
	e := &sensing{
		sensor: s, noise: stream(seed, index, forNoise), slow: stream(seed, index, forSlow),
		driftBy: paceOf(s.driftTau), gustBy: paceOf(gustTau), rubBy: paceOf(dragTau),
		slowAt: math.NaN(), frozen: math.NaN(),
	}
	if s.pairPa > 0 {
		e.pairNoise = stream(seed, index, forPair)
	}
	e.drift.start(e.slow)
	e.gust.start(e.slow)
	e.rub.start(e.slow)
	if s.gustTaus[0] > 0 {
		e.mixed = newGusts(s.gustTaus, e.slow)
	}
	e.lowPa, e.lowAt = math.NaN(), math.NaN()
	return e
}

// slowStep is the step of the slow processes in s.
const slowStep = 0.05

// slowly moves drift and gusts on to time t.
func (e *sensing) slowly(t float64) {
	if math.IsNaN(e.slowAt) {
		e.slowAt = t
	} else if t < e.slowAt+slowStep {
		return
	}
	for t >= e.slowAt+slowStep {
		e.slowAt += slowStep
		e.drift.step(e.slow, e.driftBy)
		e.gust.step(e.slow, e.gustBy)
		if e.mixed != nil {
			e.gust.v = e.mixed.step(e.slow)
		}
		if e.dragPa > 0 {
			e.rub.step(e.slow, e.rubBy)
		}
	}
	e.driftNow, e.gustNow, e.drag = e.driftPa*e.drift.v, e.gustPa*e.gust.v, e.dragPa*e.rub.v
}

// moment is what a sensor needs to know of the truth at one time.
type moment struct {
	t      float64 // s since the epoch
	truth  Point
	air    air
	landed bool
	flying bool // between liftoff and release
}

// pressure is one reading in Pa. It draws the same random numbers whatever
// the settings, so that a changed plan keeps its noise.
func (e *sensing) pressure(m moment) float64 {
	white := e.noise.NormFloat64()
	chance := e.noise.Float64()
	e.slowly(m.t)
	p := m.air.pressure(m.truth.Height) + e.biasPa + e.driftNow
	if e.warmPaK != 0 {
		p += e.warmPaK * e.warmth(m.t)
	}
	if m.flying {
		p += e.airGust * e.gustNow
	} else {
		p += e.gustNow
	}
	p += e.port(m)
	if e.swing.pa != 0 {
		p += e.swing.at(m.t)
	}
	for _, l := range e.levels {
		if m.t >= l.from {
			p += l.pa
		}
	}
	if m.landed {
		p += e.landedPa + e.drag
	}
	for _, b := range e.bumps {
		p += b.at(m.t)
	}
	if e.pairNoise != nil {
		e.pairNow = round(p+e.pairBiasPa+e.pairPa*e.pairNoise.NormFloat64(), 0.1)
	}
	noise, step := e.noisePa, e.stepPa
	if m.t >= e.change.from {
		p, noise, step = e.broken(p, m.t, noise, step)
	}
	p += noise * white
	if chance < e.outlierP {
		p += e.outlierPa.drawSigned(e.noise)
	}
	if !math.IsNaN(e.frozen) {
		p = e.frozen
	} else if e.change.stuck && m.t >= e.change.from {
		e.frozen = p
	}
	if step > 0 {
		p = math.Round(p/step) * step
	}
	return e.lowPassed(p, m.t)
}

// lowPassed is what a board makes of a reading that smooths before it sends.
func (e *sensing) lowPassed(p, t float64) float64 {
	if e.filterS <= 0 {
		return p
	}
	if math.IsNaN(e.lowPa) {
		e.lowPa, e.lowAt = p, t
	}
	e.lowPa += (p - e.lowPa) * -math.Expm1(-(t-e.lowAt)/e.filterS)
	e.lowAt = t
	return e.lowPa
}

// port is the error of the vent in Pa. The bay behind it follows with a lag.
func (e *sensing) port(m moment) float64 {
	if e.portCp == 0 {
		return 0
	}
	now := 0.0
	if m.truth.Air > 0 {
		now = e.portCp * m.air.density(m.truth.Height) * m.truth.Air * m.truth.Air / 2
	}
	if e.portLag <= 0 {
		return now
	}
	if dt := m.t - e.portAt; dt > 0 {
		e.portNow += (now - e.portNow) * -math.Expm1(-dt/e.portLag)
	}
	e.portAt = m.t
	return e.portNow
}

// broken applies the sensor's fault.
func (e *sensing) broken(p, t, noise, step float64) (float64, float64, float64) {
	c := e.change
	p += c.offsetPa + c.rampPaS*(t-c.from)
	if c.noiseTimes > 0 {
		noise *= c.noiseTimes
	}
	if c.stepPa > 0 {
		step = c.stepPa
	}
	return p, noise, step
}

// warmth is by how much the sensor has warmed up, in K.
func (e *sensing) warmth(t float64) float64 {
	if e.warmK == 0 || t <= 0 {
		return 0
	}
	return e.warmK * -math.Expm1(-t/e.warmTau)
}

// force is one reading of the accelerometer in m/s2.
func (e *sensing) force(m moment) float64 {
	v := m.truth.Force + e.accelBias + e.accelNoise*e.noise.NormFloat64()
	v = math.Round(v/accelStep) * accelStep
	return min(max(v, -e.accelLimit), e.accelLimit)
}

// axes is one reading of all three axes. Across the rocket it feels how the
// rocket turns, and how it swings under the canopy.
func (e *sensing) axes(m moment, out []float64) {
	f := m.truth.Force
	across := 0.0
	if m.truth.Air > 1 {
		across = 0.1 * f
	}
	for i := range out {
		v := f*e.mount[i] + across*e.mount[(i+1)%3] + e.accelBias*float64(1-i) + e.accelNoise*e.noise.NormFloat64()
		v = math.Round(v/accelStep) * accelStep
		out[i] = min(max(v, -e.accelLimit), e.accelLimit)
	}
}

// accelStep is the resolution of a 12-bit part at 16 g, m/s2 (common
// practice).
const accelStep = 0.0766
