package smooth

import (
	"math"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
)

// readings are the height measurements of one flight, one slice for each
// quantity, in order of time and without repeated values.
type readings struct {
	ref   time.Time // t = 0
	t     []float64 // s
	h     []float64 // m above the pad's level as first guessed
	force []float64 // along the rocket, m/s2; NaN if not measured
	// Where the accelerometer was at the end of its range; its noise on the pad.
	clipped []bool
	forceSD float64 // m/s2
	air     atmos.Column
	kelv    float64 // of the site, K
	plain   bool    // the board sent metres
	fixes   bool    // those are a satellite receiver's: it sent no others
	doubt   float64 // K, of the temperature that it reckoned with
	step    float64 // m, size of the sensor's steps; 0 if fine
	pulse   []bool  // far off what is read for seconds about it
}

// minReadings is how few readings make no flight.
const minReadings = 8

// read picks the height channel and turns it into metres above a level that
// is the median of the readings before `until` (the liftoff), or of the first
// few if there are none.
func read(cfg Config, samples []decode.Sample, until time.Time) (readings, bool) {
	var r readings
	if len(samples) == 0 {
		return r, false
	}
	r.ref = samples[0].At
	raw := make([]float64, 0, len(samples))
	name := decode.PressurePa
	if r.plain = !has(samples, name); r.plain {
		name = decode.AltitudeM
		if r.fixes = !has(samples, name); r.fixes {
			name = decode.GPSAltitudeM
		}
	}
	order := byTime(samples)
	x, hasForce := findAxis(samples, order, func(s *decode.Sample) bool { return until.Sub(s.At).Seconds() > restEndS })
	for _, i := range order {
		s := &samples[i]
		v, ok := s.Values.Get(name)
		if !ok || !plausible(v, r.plain) || r.fixes && !s.HasFix() {
			continue
		}
		t := s.At.Sub(r.ref).Seconds()
		if n := len(r.t); n > 0 && t == r.t[n-1] && v == raw[n-1] {
			continue // the same frame twice
		}
		f, clipped := math.NaN(), false
		if hasForce {
			f, clipped = x.along(s)
		}
		r.t, raw, r.force, r.clipped = append(r.t, t), append(raw, v), append(r.force, f), append(r.clipped, clipped)
	}
	if len(r.t) < minReadings {
		return r, false
	}
	r.forceSD = r.restNoise(until.Sub(r.ref).Seconds())
	raw = r.dropHeld(r.dropNearlyHeld(raw))
	if len(raw) < minReadings {
		return r, false
	}
	return r, r.toHeight(cfg.Site, raw, until.Sub(r.ref).Seconds())
}

func has(samples []decode.Sample, channel string) bool {
	for i := range samples {
		if _, ok := samples[i].Values.Get(channel); ok {
			return true
		}
	}
	return false
}

func plausible(v float64, plain bool) bool {
	if plain {
		return math.Abs(v) < 50000
	}
	return v > 1000 && v < 120000
}

// byTime orders samples by when they were measured; those of equal time stay
// in the order in which they were heard.
func byTime(samples []decode.Sample) []int {
	order := make([]int, len(samples))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return samples[order[a]].At.Before(samples[order[b]].At) })
	return order
}

// heldPart is a change that is none, as a part of those that are: a board that sends
// faster than it measures repeats its value, or nearly so where it works it out
// again with another temperature. By chance one change in twenty is as small.
const heldPart, heldShare = 0.05, 0.3

// dropNearlyHeld removes values that all but repeat the one before, if most do.
func (r *readings) dropNearlyHeld(raw []float64) []float64 {
	var diffs []float64
	for i := 1; i < len(raw); i++ {
		diffs = append(diffs, math.Abs(raw[i]-raw[i-1]))
	}
	sort.Float64s(diffs)
	least := heldPart * diffs[len(diffs)*4/5]
	small := sort.SearchFloat64s(diffs, least)
	none := sort.SearchFloat64s(diffs, math.SmallestNonzeroFloat64)
	if float64(small-none) < heldShare*float64(len(diffs)) {
		return raw
	}
	n := 1
	for i := 1; i < len(raw); i++ {
		if math.Abs(raw[i]-raw[n-1]) < least && r.t[i]-r.t[n-1] < longestHeldS {
			continue
		}
		r.keep(raw, n, i)
		n++
	}
	return r.cut(raw, n)
}

// keep moves reading i to place n, cut drops those from n on.
func (r *readings) keep(raw []float64, n, i int) {
	raw[n], r.t[n], r.force[n], r.clipped[n] = raw[i], r.t[i], r.force[i], r.clipped[i]
}

func (r *readings) cut(raw []float64, n int) []float64 {
	r.t, r.force, r.clipped = r.t[:n], r.force[:n], r.clipped[:n]
	return raw[:n]
}

// longestHeldS is for how long a value is taken to be held, s.
const longestHeldS = 0.5

// dropHeld removes repetitions of the last value by a board that sends faster
// than it measures. A coarse sensor repeats too, but it measures: it is known
// by steps that are large against the noise.
func (r *readings) dropHeld(raw []float64) []float64 {
	quantum, same := math.Inf(1), 0
	var diffs []float64
	for i := 1; i < len(raw); i++ {
		d := math.Abs(raw[i] - raw[i-1])
		if d == 0 {
			same++
			continue
		}
		quantum = min(quantum, d)
		diffs = append(diffs, d)
	}
	if len(diffs) == 0 {
		return raw
	}
	sort.Float64s(diffs)
	noise := diffs[len(diffs)/2] * 0.74 / math.Sqrt2 * 2 // from the median of |difference|
	metres := 1.0
	if !r.plain {
		metres = 0.083
	}
	r.step = quantum * metres
	if quantum > 0.4*noise || 10*same < len(raw) {
		return raw
	}
	n := 1
	for i := 1; i < len(raw); i++ {
		if raw[i] == raw[i-1] {
			continue
		}
		r.keep(raw, n, i)
		n++
	}
	return r.cut(raw, n)
}

// toHeight fills h.
func (r *readings) toHeight(site flight.Site, raw []float64, until float64) bool {
	n := sort.SearchFloat64s(r.t, until-0.2)
	if n < 3 {
		n = min(3, len(raw))
	}
	from := 0
	for from < n-3 && r.t[from] < until-20 {
		from++
	}
	pad := median(raw[from:n])
	r.h = make([]float64, len(raw))
	r.kelv = site.Kelvin()
	p := atmos.Pad{Pressure: pad, Temperature: r.kelv}
	if r.plain {
		p.Pressure = atmos.StandardPressure
	}
	if site.Humidity != nil {
		p.Humidity = *site.Humidity
	}
	air, err := atmos.NewColumn(p)
	if err != nil {
		return false
	}
	r.air = air
	board, doubt := boardKelvin(pad, site)
	if r.fixes {
		board, doubt = r.kelv, 0 // its metres hang on no air
	}
	r.doubt = doubt
	for i, v := range raw {
		if r.plain {
			r.h[i] = (v - pad) * r.kelv / board
		} else {
			r.h[i] = air.Height(v)
		}
	}
	return true
}

// boardKelvin is the temperature that a board takes the air for which turns pressure
// into metres by the standard atmosphere (ISO 2533), as nearly all do: 15 degrees where
// its own height is 0, 6.5 K less for each kilometre. One that reads 0 at the pad may
// have been set to 0 there before or after that, and so reckons with 15 degrees or with
// those of the site's elevation: between them it is in doubt, K.
func boardKelvin(pad float64, site flight.Site) (kelvin, doubt float64) {
	standard := func(h float64) float64 { return atmos.StandardTemperature - atmos.Lapse*max(-500, min(h, 5000)) }
	if math.Abs(pad) > zeroedM || site.ElevationM == nil {
		return standard(pad), 0
	}
	there := standard(*site.ElevationM)
	return (standard(pad) + there) / 2, math.Abs(standard(pad)-there) / 2
}

// zeroedM is how far from 0 a board may read at the pad that was set to 0 there, m.
const zeroedM = 20.0

// at is the index of the first reading at or after t.
func (r *readings) at(t float64) int { return sort.SearchFloat64s(r.t, t) }

// time turns s into UTC.
func (r *readings) time(s float64) time.Time {
	return r.ref.Add(time.Duration(math.Round(s * 1e9))).UTC()
}

// median of a copy.
func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := append([]float64(nil), x...)
	sort.Float64s(y)
	n := len(y)
	if n%2 == 1 {
		return y[n/2]
	}
	return (y[n/2-1] + y[n/2]) / 2
}

// Pulses: readings so far off the median of the seconds about them, in m and in
// standard deviations of the usual distance, tell of the vent and not of the flight. A
// nose that comes off has read 40 m for a second, a shock 600 m for a moment.
const (
	pulseWindowS = 3.0
	pulseM       = 12.0
	pulseSDs     = 6.0
	pulseVar     = 1e6 // m2, what such a reading counts by
)

// findPulses marks them between from and to.
func (r *readings) findPulses(from, to float64) {
	r.pulse = make([]bool, len(r.t))
	i, j := r.at(from), r.at(to)
	off := make([]float64, 0, j-i)
	for k := i; k < j; k++ {
		lo, hi := r.at(r.t[k]-pulseWindowS/2), r.at(r.t[k]+pulseWindowS/2)
		n := min(k-lo, hi-1-k) // as much on either side, or a slope would be one
		off = append(off, math.Abs(r.h[k]-median(r.h[k-n:k+n+1])))
	}
	if len(off) == 0 {
		return
	}
	limit := max(pulseM, pulseSDs*1.4826*median(off))
	for k, d := range off {
		r.pulse[i+k] = d > limit
	}
}
