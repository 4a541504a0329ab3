package track

import "math"

// What the readings are off by that the filter's covariance knows nothing of,
// because it moves slowly or not at all: the standard deviations that a person
// reads contain it, those that the rules of this package use do not.
const (
	toldKelvin   = 1.5   // K, sd of a temperature that somebody typed in (common practice, no source)
	untoldKelvin = 11.5  // K, of the default: the air is anywhere from -5 to 35 degC
	linearity    = 0.002 // of the pressure difference
	leastPort    = 0.016 // of the dynamic pressure: what speed does to the reading of a vent, at least
	wanderQ      = 1e-3  // m2/s: weather and sensor move the level of the pad by 0.1 m in 10 s
	acrossPart   = 0.12  // of the greatest speed: how fast it flies across, at about
)

// scaleSD is the relative standard deviation of all heights: the temperature of
// the air, 0.35 % per kelvin, and the sensor.
func (t *Tracker) scaleSD() float64 {
	if t.last.by == byReceiver {
		return 0
	}
	kelvin, sd := 15+zeroC, untoldKelvin
	if c := t.cfg.Site.TemperatureC; c != nil && !t.col.plain {
		kelvin, sd = *c+zeroC, toldKelvin
	}
	return math.Hypot(sd/kelvin, linearity)
}

// levelVar is the variance in m2 of the level of the pad by now.
func (t *Tracker) levelVar(now float64) float64 {
	gusts := t.fl.gust - t.filter.gust // those that the pad's level met and the filter leaves out
	return t.fl.sdPad*t.fl.sdPad + max(0, gusts) + wanderQ*max(0, now-t.fl.liftoff)
}

// heightSD is the standard deviation in m of a height h above the pad whose
// variance by the filter is varH, at the vertical speed v.
func (t *Tracker) heightSD(now, h, v, varH float64) float64 {
	part, sd := t.vent()
	port, scale := sd*v*v/(2*gravity), t.scaleSD()*h
	// What it flies across makes a pressure too, also at the top.
	aside := math.Hypot(part, sd) * t.across() * t.across() / (2 * gravity)
	return math.Sqrt(varH + t.levelVar(now) + t.receiver(ReceiverM*ReceiverM) + port*port + aside*aside + scale*scale)
}

// speedSD is the standard deviation in m/s of a vertical speed v whose variance by
// the filter is varV, at the acceleration a: a vent's error grows with the square
// of the speed, so that its change looks like speed.
func (t *Tracker) speedSD(v, a, varV float64) float64 {
	_, sd := t.vent()
	port, scale := sd*v*a/gravity, t.scaleSD()*v
	return math.Sqrt(varV + port*port + scale*scale)
}

// badVentS is the standard deviation in s of the apogee's time by a vent that errs: what
// flies across at the top slows down there, and the error with it, which feigns a climb
// or a fall. A vent of 23 % dated a top too early by 4 % of the climb, one of 30 % in a
// fast flight by as much (over drawn flights). 0 for a vent that may well be a good one.
func (t *Tracker) badVentS(h float64) float64 {
	part, sd := t.vent()
	if math.Abs(part) < 2*max(sd, leastPort) {
		return 0
	}
	return ventAtTop * math.Abs(part) * math.Sqrt(2*max(h, 0)/gravity)
}

const ventAtTop = 0.1

// toApogeeSD is the standard deviation in s of the time to the apogee. What flies
// across as well is slowed by drag even where it hardly climbs any more, and so is
// sooner at the top than what flies straight up.
func (t *Tracker) toApogeeSD(p *prediction) float64 {
	f := &t.filter
	in := max(0, p.inS)
	across := math.Exp(f.x[coast][xDrag]) * acrossPart * t.fl.fastest * in * in / 2
	port := leastPort / gravity * f.x[coast][xSpeed]
	return math.Sqrt(p.sdS*p.sdS + across*across + port*port)
}
