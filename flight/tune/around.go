package tune

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"padlark/flight/atmos"
	"padlark/flight/ensemble"
)

// Traits are what recorded flights tell of a board and a rocket.
type Traits struct {
	Flights int `json:"flights"`
	// RateHz is how often the board reads.
	RateHz float64 `json:"rate_hz"`
	// NoiseM is the rms of the readings' noise on the pad, from reading to
	// reading; the lowest and the highest of the flights.
	NoiseM [2]float64 `json:"noise_m"`
	// WanderPa is the rms of what is slower than a second, on the pad.
	WanderPa float64 `json:"wander_pa"`
	// StepPa is the smallest step between readings.
	StepPa float64 `json:"step_pa"`
	// ApogeeM are the lowest and the highest apogee.
	ApogeeM [2]float64 `json:"apogee_m"`
	PadPa   float64    `json:"pad_pa"`
	// Solid says that they are flights of a solid rocket.
	Solid bool `json:"solid"`
}

// mostRates is how far apart the rates of one board's flights may be.
const mostRates = 1.3

// errNoFlights is returned when there is nothing to take traits from.
var errNoFlights = errors.New("measure recorded flights: there is none")

// errTwoKinds is returned for flights of two kinds of rocket.
var errTwoKinds = errors.New("measure recorded flights: some are of a water rocket and some of a solid one; choose those of one rocket")

// measure takes the traits from recorded flights of one board. The error says
// when they cannot be of one.
func measure(flights []Flight) (Traits, error) {
	if len(flights) == 0 {
		return Traits{}, errNoFlights
	}
	t := Traits{Flights: len(flights), NoiseM: [2]float64{math.Inf(1), 0}, ApogeeM: [2]float64{math.Inf(1), 0}, StepPa: math.Inf(1)}
	var wander float64
	slowest, fastest := math.Inf(1), 0.0
	for i := range flights {
		f := &flights[i]
		n := len(f.Ms)
		rate := float64(n-1) / (f.AtS[n-1] - f.AtS[0])
		slowest, fastest = min(slowest, rate), max(fastest, rate)
		t.RateHz += rate / float64(len(flights))
		pad := f.pad()
		mean, white, slow := quiet(pad, rate)
		noise := white / 10 * atmos.GasConstantISO * (15 + atmos.ZeroC) / (atmos.StandardGravity * mean / 10) // dPa to m
		t.NoiseM[0], t.NoiseM[1] = min(t.NoiseM[0], noise), max(t.NoiseM[1], noise)
		t.ApogeeM[0], t.ApogeeM[1] = min(t.ApogeeM[0], f.ApogeeM), max(t.ApogeeM[1], f.ApogeeM)
		t.Solid = flights[0].Solid
		if f.Solid != t.Solid {
			return t, errTwoKinds
		}
		t.PadPa += mean / 10 / float64(len(flights))
		t.StepPa = min(t.StepPa, step(f.DPa)/10)
		wander += slow * slow / 100
	}
	if fastest > mostRates*slowest {
		return t, fmt.Errorf("measure recorded flights: they have %.1f to %.1f readings a second, so they are not of one board; choose those of one rocket", slowest, fastest)
	}
	t.WanderPa = math.Sqrt(wander / float64(len(flights)))
	return t, nil
}

// pad are the readings before liftoff, dPa.
func (f *Flight) pad() []int32 {
	n := 0
	for n < len(f.AtS) && f.AtS[n] < f.LiftoffS-0.3 {
		n++
	}
	return f.DPa[:n]
}

// quiet gives mean, noise from reading to reading, and what is slower than a
// second, of readings at rest; all in the readings' unit. The noise comes from
// the median size of the second differences (that of a normal one is 0.6745
// standard deviations, and a second difference has a variance of 6), so that
// lone readings far off do not count.
func quiet(pad []int32, rate float64) (mean, white, slow float64) {
	if len(pad) == 0 {
		return 10 * atmos.StandardPressure, 0, 0
	}
	var d []float64
	for i, p := range pad {
		mean += float64(p) / float64(len(pad))
		if i > 1 {
			d = append(d, math.Abs(float64(pad[i]-2*pad[i-1]+pad[i-2])))
		}
	}
	if len(d) > 0 {
		slices.Sort(d)
		white = d[len(d)/2] / 0.6745 / math.Sqrt(6)
	}
	block := max(int(rate), 1)
	var blocks []float64
	for i := 0; i+block <= len(pad); i += block {
		var m float64
		for _, p := range pad[i : i+block] {
			m += float64(p) / float64(block)
		}
		blocks = append(blocks, m)
	}
	if len(blocks) > 1 {
		var m, v float64
		for _, b := range blocks {
			m += b / float64(len(blocks))
		}
		for _, b := range blocks {
			v += (b - m) * (b - m) / float64(len(blocks)-1)
		}
		slow = math.Sqrt(max(v-white*white/float64(block), 0))
	}
	return mean, white, slow
}

// step is the largest step in dPa of which nearly all differences between
// readings are whole multiples.
func step(p []int32) float64 {
	for _, s := range []int32{1000, 500, 200, 100, 50, 40, 30, 25, 20, 10, 5, 4, 3, 2} {
		off, all := 0, 0
		for i := 1; i < len(p); i++ {
			if d := p[i] - p[i-1]; d != 0 {
				all++
				if d%s != 0 {
					off++
				}
			}
		}
		if all > 20 && off*20 < all {
			return float64(s)
		}
	}
	return 1
}

// spread are the factors by which the ensemble around recorded flights goes
// beyond them: apogees of 0.7 to 1.4 times, noise of 0.8 to 1.5 times (common
// practice, no source).
var spread = struct{ apogee, noise [2]float64 }{[2]float64{0.7, 1.4}, [2]float64{0.8, 1.5}}

// apogeesAround are the apogees to try where some of lo to hi metres were
// flown, or are expected.
func apogeesAround(lo, hi float64) ensemble.Range {
	return ensemble.Range{Lo: max(lo*spread.apogee[0], 5), Hi: max(hi*spread.apogee[1], 10)}
}

// around is an ensemble around what was recorded. What recordings of one board
// do not tell (vent, wind on other days) stays as in usual.
func around(t Traits) ensemble.Spec {
	s := usual()
	s.Name = "recorded"
	s.RateHz = []float64{min(max(math.Round(t.RateHz*10)/10, 1), 1000)}
	s.WaterM = apogeesAround(t.ApogeeM[0], t.ApogeeM[1])
	s.SolidM = s.WaterM
	if t.Solid {
		s.SolidShare = 1
	}
	s.NoiseM = ensemble.Range{Lo: max(t.NoiseM[0]*spread.noise[0], 0.02), Hi: max(t.NoiseM[1]*spread.noise[1], 0.03)}
	s.GustPa = ensemble.Range{Lo: 0, Hi: max(3, 1.5*t.WanderPa)}
	s.StepPa = []float64{t.StepPa}
	if t.PadPa > 0 {
		s.PadPa = ensemble.Range{Lo: t.PadPa - 1000, Hi: t.PadPa + 1000}
	}
	return s
}
