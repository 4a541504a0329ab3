package smooth_test

import (
	"math"
	"math/rand/v2"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// drawn is a flight of this file's own small simulator. It shares nothing with the
// smoother or with flight/ensemble: another parachute that fills with time and not
// with distance, and that swings; a board that sends clock and pressure.
type drawn struct {
	cfg      flight.Rocket
	site     flight.Site
	samples  []decode.Sample
	epoch    time.Time
	liftoff  float64 // s
	apogee   float64
	apogeeM  float64
	release  float64 // NaN if never
	fastest  float64 // m/s downward, before it is slowed
	sink     float64 // m/s, mean of the last stage
	landed   float64
	fullAt   float64
	lastFull float64
	noiseM   float64
	swingPa  float64
	rateHz   float64
}

// drawSpec says what a drawn flight is like.
type drawSpec struct {
	lag         func(*rand.Rand) float64 // of the release after the apogee, s; NaN for never
	described   bool                     // rocket and site are told
	coldAndHot  bool                     // the air is anywhere from -5 to 35 degC
	stages      bool                     // a small parachute at the top, a large one lower
	tumbles     bool                     // without a parachute it comes down sideways
	endsInAir   float64                  // part of the descent that is heard; 0 for all
	padS        float64                  // s on the pad that are heard; below 0: begins at liftoff
	afterS      float64
	swingPa     [2]float64
	rates       []float64
	apogeeRange [2]float64
}

func usual() drawSpec {
	return drawSpec{
		lag: func(r *rand.Rand) float64 { return r.Float64() * 0.95 }, described: true, padS: 12, afterS: 8,
		swingPa: [2]float64{1, 10}, rates: []float64{5, 10, 20, 25, 50, 100}, apogeeRange: [2]float64{25, 400},
	}
}

// randSource is what flights are drawn with.
type randSource = rand.Rand

func logUniform(r *rand.Rand, lo, hi float64) float64 {
	return lo * math.Pow(hi/lo, r.Float64())
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// draw flies one. Constants are of common practice; no source.
func draw(spec drawSpec, seed, index uint64) *drawn {
	r := rand.New(rand.NewPCG(seed, index))
	const g, dt = 9.80665, 0.001
	d := &drawn{epoch: time.Date(2026, 6, 6, 9, 0, 0, 0, time.UTC), release: math.NaN()}
	tempC := between(r, 8, 26)
	if spec.coldAndHot {
		tempC = between(r, -5, 35)
	}
	padPa := between(r, 93000, 102500)
	kelvin := tempC + 273.15
	rho := padPa / (287.05 * kelvin)
	mass := logUniform(r, 0.08, 0.8)
	aim := logUniform(r, spec.apogeeRange[0], spec.apogeeRange[1])
	diameter := math.Sqrt(mass * between(r, 0.7, 1.4) * 0.03)
	bodyCd := between(r, 0.3, 0.6)
	body := rho * bodyCd * math.Pi / 4 * diameter * diameter / (2 * mass)
	for body > 0.6/aim {
		body *= 0.7
		bodyCd *= 0.7
	}
	sinkV := between(r, 3, 8)
	drogue := between(r, 14, 24)
	canopy := g / (sinkV * sinkV)
	first := canopy
	changeM := between(r, 0.25, 0.5) * aim
	if spec.stages {
		first = g / (drogue * drogue)
	}
	fill, dead := logUniform(r, 0.12, 0.8), between(r, 0, 0.12)
	power := 1 + r.Float64()
	boostS := between(r, 0.1, 0.4)
	v0 := math.Sqrt(g / body * math.Expm1(2*body*aim))
	boostA := v0/boostS + g
	wind := between(r, 0, 4)
	lag := spec.lag(r)
	d.liftoff = max(spec.padS, 0.05)
	across := between(r, 0, 0.12) * v0
	tumble := g / math.Pow(between(r, 16, 30), 2)

	var h, v, u float64
	u = -wind
	var heights []float64
	var airs []float64
	d.apogee, d.landed = math.NaN(), math.NaN()
	t := 0.0
	second := math.NaN()
	for t < 1200 {
		heights, airs = append(heights, h), append(airs, v*v+u*u)
		drag := body
		if !math.IsNaN(d.release) && t > d.release+dead {
			f := min(1, (t-d.release-dead)/fill)
			drag += first * math.Pow(f, power)
			if own := math.Sqrt(g / first); f == 1 && d.fullAt == 0 && math.Abs(-v/own-1) < 0.1 {
				d.fullAt = t // it carries
			}
		}
		if spec.stages && h < changeM && v < 0 && !math.IsNaN(d.release) {
			if math.IsNaN(second) {
				second = t
			}
			drag += canopy * math.Pow(min(1, (t-second)/fill), power)
		}
		if spec.tumbles && v < 0 && math.IsNaN(lag) {
			drag = tumble
		}
		a, au := -g, 0.0
		sp := math.Hypot(v, u)
		if t < boostS {
			a += boostA
			au = across / boostS
		}
		a -= drag * math.Exp(-h/9500) * sp * v
		au -= drag * math.Exp(-h/9500) * sp * u
		if h <= 0 && v <= 0 && a < 0 && math.IsNaN(d.apogee) {
			a = 0
		}
		v += a * dt
		u += au * dt
		h += v * dt
		t += dt
		if math.IsNaN(d.apogee) && t > boostS && v <= 0 {
			d.apogee, d.apogeeM = t, h
			if !math.IsNaN(lag) && lag >= 0 {
				d.release = t + lag
			}
		}
		if lag < 0 && math.IsNaN(d.release) && t > boostS && v < -lag*g {
			d.release = t
		}
		d.fastest = max(d.fastest, -v)
		if h <= 0 && !math.IsNaN(d.apogee) {
			d.landed = t
			break
		}
	}
	d.sink = math.NaN()
	if d.fullAt > 0 && d.landed > d.fullAt+0.5 {
		from := d.fullAt
		if !math.IsNaN(second) {
			from = second + fill + 0.5
		}
		d.lastFull = from
		if i := int(from / dt); i < len(heights) {
			d.sink = heights[i] / (d.landed - from)
		}
	}
	at := func(x float64) (float64, float64) {
		i := int(x / dt)
		if x < 0 || i < 0 {
			return 0, 0
		}
		if i >= len(heights) {
			return 0, 0
		}
		return heights[i], airs[i]
	}
	d.rateHz = spec.rates[r.IntN(len(spec.rates))]
	d.noiseM = logUniform(r, 0.08, 0.5)
	d.swingPa = logUniform(r, spec.swingPa[0], spec.swingPa[1])
	swingHz, phase := between(r, 0.5, 1.5), r.Float64()*2*math.Pi
	gustM, gust := between(r, 0, 0.25), r.NormFloat64()
	driftM, drift := between(r, 0, 0.3), r.NormFloat64()
	port := between(r, -0.03, 0.03)
	end := d.liftoff + d.landed + spec.afterS
	if spec.endsInAir > 0 {
		end = d.liftoff + d.apogee + spec.endsInAir*(d.landed-d.apogee)
	}
	step := 1 / d.rateHz
	names := []string{decode.PressurePa}
	n := 0
	perM := padPa * g / (287.05 * kelvin)
	for s := r.Float64() * step; s < end; s += step {
		x := s - d.liftoff
		hh, air := at(x)
		k := math.Exp(-step / 1.5)
		gust = k*gust + math.Sqrt(1-k*k)*r.NormFloat64()
		k = math.Exp(-step / 60)
		drift = k*drift + math.Sqrt(1-k*k)*r.NormFloat64()
		noise := d.noiseM*r.NormFloat64() + driftM*drift
		white := 0.1 // in free flight a rocket moves with what turns it
		if x < 0 || d.fullAt > 0 && x > d.fullAt {
			white = 1
		}
		noise += white * gustM * gust
		if d.fullAt > 0 && x > d.fullAt && x < d.landed {
			grow := min(1, (x-d.fullAt)/2)
			noise += d.swingPa / perM * math.Sqrt2 * grow * math.Sin(2*math.Pi*swingHz*x+phase)
		}
		p := padPa*math.Pow(1-0.0065*hh/kelvin, g/(287.05*0.0065)) - noise*perM + port*rho*air/2
		at := d.epoch.Add(time.Duration(s * 1e9))
		if spec.padS < 0 && x < 0 {
			continue
		}
		n++
		d.samples = append(d.samples, decode.Sample{Session: "drawn", Link: "l", N: uint64(n), Rocket: "Drawn", Boot: 1, Seq: int64(n),
			Clock: int64(s * 1e6), Heard: at, At: at, Passed: int64(s * 1e9), Values: decode.Channels{Names: names, Values: []float64{math.Round(p)}}})
	}
	d.apogee += d.liftoff
	d.release += d.liftoff
	d.landed += d.liftoff
	d.cfg = flight.Rocket{Name: "Drawn"}
	if spec.described {
		d.cfg = flight.Rocket{Name: "Drawn", Kind: "water", MassKg: mass, DiameterM: diameter, Cd: bodyCd * between(r, 0.8, 1.25), ReleaseDelayS: 1}
		d.cfg.ParachuteM = math.Sqrt(8*mass*canopy/(math.Pi*rho*0.75)) * between(r, 0.85, 1.2)
		told := math.Round(tempC)
		d.site.TemperatureC = &told
	}
	return d
}
