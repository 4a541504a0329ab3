package alarm

import (
	"math"
	"math/rand/v2"
	"testing"

	"padlark/flight"
)

// TestFallsOfTheMixture: without a canopy a hypothesis falls by the closed form with
// quadratic drag, and under a full one at the rate that it is made for.
func TestFallsOfTheMixture(t *testing.T) {
	const vt = 30.0
	h := hypothesis{closed: true, body: gravity / (vt * vt), from: math.Inf(1)}
	for _, at := range []float64{0.3, 1, 2.5, 6} {
		h.fallTo(at)
		if want := fallSpeed(at, vt); math.Abs(h.v-want) > 0.01 {
			t.Errorf("after %g s %.3f m/s, want %.3f", at, h.v, want)
		}
		if want := fallDistance(at, vt); math.Abs(h.drop-want) > 0.03 {
			t.Errorf("after %g s %.3f m, want %.3f", at, h.drop, want)
		}
	}
	open := hypothesis{body: gravity / (vt * vt), canopy: gravity / 25, from: 0.5, fillM: 3}
	open.fallTo(8)
	// Both brake: 1/v² = 1/25 + 1/900.
	if want := 1 / math.Sqrt(1./25+1./900); math.Abs(open.v-want) > 0.01 {
		t.Errorf("sinks at %.3f m/s, want %.3f", open.v, want)
	}
}

// falls feeds the odds with a fall of 100 m whose height at t s after the apogee is
// given, with noise and, from the opening on, a swing; and gives when the lead first
// reached the limit, in s after the apogee, or NaN.
func falls(seed uint64, rocket flight.Rocket, told float64, noise float64, drop func(t float64) float64, swing func(t float64) float64) float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	v := &view{rocket: rocket, limits: defaults("water"), state: noState(), flown: noFlight(), self: &entry{tellsRelease: !math.IsNaN(told)}}
	v.apogeeAt, v.apogeeM, v.releaseAt = 100, 100, math.NaN()
	v.self.pad.noise = noise * v.perMetre()
	var o fallOdds
	begun := 0
	for i := range 300 {
		at := -1 + float64(i)*0.02
		h := 100 - gravity*at*at/2
		if at > 0 {
			h = 100 - drop(at) + swing(at)
		}
		o.ring[o.n%fallRing] = seen{100 + at, h + noise*rng.NormFloat64()}
		o.n++
		switch {
		case begun == 0 && at > 0.05:
			o.begin(v)
			begun = 1
		case begun == 1 && at > told:
			v.releaseAt = 100 + told
			o.begin(v)
			begun = 2
		case begun > 0:
			o.weigh()
		}
		if begun > 0 && o.lead > math.Log(falseFalls) && o.fits > 0.6 && !(at < told) {
			return at
		}
	}
	return math.NaN()
}

func still(float64) float64 { return 0 }

// TestOddsOfOpenFalls: parachutes that open within what the rule knows, with a swing
// of up to 10 Pa under them, do not get to the limit, told and untold.
func TestOddsOfOpenFalls(t *testing.T) {
	wrong, n := 0, 0
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 3))
		told := rng.Float64() * 0.9
		h := hypothesis{body: gravity / 900, canopy: gravity / 25, from: told + 0.05 + 0.3*rng.Float64(), fillM: 1.5 + 3*rng.Float64()}
		drops := []float64{}
		for i := range 260 {
			h.fallTo(0.02 * float64(i+1))
			drops = append(drops, h.drop)
		}
		drop := func(at float64) float64 { return drops[min(len(drops)-1, max(0, int(math.Round(at/0.02))-1))] }
		size, hz, phase := 0.8*rng.Float64(), 0.5+rng.Float64(), 6*rng.Float64()
		swing := func(at float64) float64 {
			since := at - h.from
			if since < 0 {
				return 0
			}
			return size * -math.Expm1(-since) * math.Sin(2*math.Pi*hz*since+phase)
		}
		for _, release := range []float64{told, math.NaN()} {
			n++
			if at := falls(seed, teal(), release, 0.25, drop, swing); !math.IsNaN(at) {
				wrong++
				t.Logf("seed %d, told %v: out at %.2f s, taken for a closed fall at %.2f s", seed, release, h.from, at)
			}
		}
	}
	// One in falseFalls of them at the most, by what is stated.
	if most := 1 + n/falseFalls; wrong > most {
		t.Errorf("%d of %d falls under a parachute got to the limit, want %d at most", wrong, n, most)
	}
}

// TestOddsOfClosedFalls: what nothing brakes gets there, and within a second after a
// told release.
func TestOddsOfClosedFalls(t *testing.T) {
	for seed := range uint64(40) {
		told := 0.02 * float64(seed)
		drop := func(at float64) float64 { return fallDistance(at, 30) }
		if at := falls(seed, teal(), told, 0.25, drop, still); !(at < told+1.5) {
			t.Errorf("seed %d: released %.2f s after the apogee, found %.2f s after it", seed, told, at)
		}
		if at := falls(seed, teal(), math.NaN(), 0.25, drop, still); !(at < 2.2) {
			t.Errorf("seed %d, untold: found %.2f s after the apogee", seed, at)
		}
	}
}

// TestAnAlarmIsRenewed: while a rocket falls the words tell the height of now, once a
// second; it stays the same alarm, raised once.
func TestAnAlarmIsRenewed(t *testing.T) {
	s := newScene(t, Config{})
	s.run(10, nil).climb().apogee().fall(0.2)
	s.release()
	s.fall(3.2)
	first := s.find("ballistic")
	n := 0
	last := first
	for _, a := range s.all {
		if a.Kind == "ballistic" && a.Active {
			n++
			last = a
		}
	}
	if n < 2 || n > 3 {
		t.Errorf("told %d times in about 2 s, want 2 or 3", n)
	}
	if last.Reason == first.Reason || last.ID != first.ID || !last.RaisedAt.Equal(first.RaisedAt) || last.Change == first.Change {
		t.Errorf("renewed as %+v after %+v", last, first)
	}
}
