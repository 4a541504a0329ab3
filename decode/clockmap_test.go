package decode

import (
	"math"
	"math/rand/v2"
	"testing"
)

// delayKind draws how long a frame waits on its way, in s, at most 50 ms.
type delayKind struct {
	name string
	draw func(r *rand.Rand) float64
}

func delayKinds() []delayKind {
	uniform := func(r *rand.Rand) float64 { return 0.050 * r.Float64() }
	return []delayKind{
		{"none", func(*rand.Rand) float64 { return 0 }},
		{"uniform 50 ms", uniform},
		{"exponential 8 ms", func(r *rand.Rand) float64 { return min(0.008*r.ExpFloat64(), 0.050) }},
		{"gamma 4 x 3 ms", func(r *rand.Rand) float64 {
			return min(0.003*(r.ExpFloat64()+r.ExpFloat64()+r.ExpFloat64()+r.ExpFloat64()), 0.050)
		}},
		{"normal 12±4 ms", func(r *rand.Rand) float64 { return min(max(0.012+0.004*r.NormFloat64(), 0), 0.050) }},
		{"poll every 20 ms", func(r *rand.Rand) float64 { return 0.020 * r.Float64() }},
		{"two paths", func(r *rand.Rand) float64 {
			if r.Float64() < 0.9 {
				return 0.030 + 0.020*r.Float64()
			}
			return 0.005 * r.Float64()
		}},
	}
}

// simulated is one board on one link.
type simulated struct {
	rate, skew, loss float64
	resolutionUs     float64
	delay            delayKind
	seed             uint64
	seconds          float64
}

type timing struct {
	rmsAfter30, worstAfter30, meanAfter30, worstRate float64
}

// run feeds a clock map and compares at with the truth. The delay's lower end
// is 0, so that the constant shortest delay, which nobody can observe, is not
// part of the result.
func (s simulated) run(t testing.TB) timing {
	r := rand.New(rand.NewPCG(s.seed, 7))
	var m clockMap
	var n, sum, sq, worst, worstRate float64
	started := false
	lastAt, lastClock := int64(0), int64(0)
	for i := range int(s.seconds * s.rate) {
		truth := 3.0 + float64(i)/s.rate
		heard := truth + s.delay.draw(r)
		if r.Float64() < s.loss {
			continue
		}
		clock := int64(math.Floor(truth*(1+s.skew)*1e6/s.resolutionUs) * s.resolutionUs)
		mono := int64(heard * 1e9)
		if !started {
			m, started = newClockMap(clock, mono, nil), true
		}
		m.observe(clock, mono)
		at := m.at(clock)
		if lastClock > 0 {
			ratio := float64(at-lastAt)/float64(clock-lastClock)/1e3 - 1
			if ratio <= -1 {
				t.Fatalf("%s: at falls back at %.2f s", s.delay.name, truth)
			}
			if truth > 33 {
				worstRate = math.Max(worstRate, math.Abs(ratio))
			}
		}
		lastAt, lastClock = at, clock
		if truth > 33 {
			miss := float64(at)*1e-9 - truth
			n, sum, sq = n+1, sum+miss, sq+miss*miss
			worst = math.Max(worst, math.Abs(miss))
		}
	}
	return timing{math.Sqrt(sq/n) * 1e3, worst * 1e3, sum / n * 1e3, worstRate}
}

// TestClockMapResidual is the promise: under 3 ms rms after 30 s with jitter
// to 50 ms, skew to 500 ppm and losses, at 10 to 100 frames a second. The
// truth is the simulation's.
func TestClockMapResidual(t *testing.T) {
	worst := map[string]timing{}
	for _, d := range delayKinds() {
		for _, rate := range []float64{10, 25, 50, 100} {
			for _, skew := range []float64{-500e-6, -40e-6, 0, 500e-6} {
				for seed := range uint64(3) {
					s := simulated{rate: rate, skew: skew, loss: 0.2, resolutionUs: 1000, delay: d, seed: seed, seconds: 150}
					got := s.run(t)
					if got.rmsAfter30 > 3 {
						t.Errorf("%s, %g Hz, %g ppm, seed %d: %.2f ms rms", d.name, rate, skew*1e6, seed, got.rmsAfter30)
					}
					// 1 ms/s of slewing, the skew, and a clock in whole ms.
					if limit := 0.0016 + 0.0005 + 1e-3; got.worstRate > limit {
						t.Errorf("%s, %g Hz, %g ppm, seed %d: at runs %.4f off the device clock", d.name, rate, skew*1e6, seed, got.worstRate)
					}
					w := worst[d.name]
					if got.rmsAfter30 > w.rmsAfter30 {
						worst[d.name] = got
					}
				}
			}
		}
	}
	for _, d := range delayKinds() {
		w := worst[d.name]
		t.Logf("%-18s worst of 48 runs: rms %.2f ms, mean %+.2f ms, largest %.2f ms, at against device clock within %.5f",
			d.name, w.rmsAfter30, w.meanAfter30, w.worstAfter30, w.worstRate)
	}
}

// TestClockMapPoorOscillator: boards without a crystal may be 1 % off. It takes
// longer to learn, but the clock is followed.
func TestClockMapPoorOscillator(t *testing.T) {
	for _, skew := range []float64{-0.01, 0.01} {
		r := rand.New(rand.NewPCG(11, 2))
		m := newClockMap(0, 0, nil)
		var sq, n float64
		for i := range 120 * 20 {
			truth := float64(i) / 20
			clock := int64(truth * (1 + skew) * 1e6)
			m.observe(clock, int64((truth+0.020*r.Float64())*1e9))
			miss := float64(m.at(clock))*1e-9 - truth
			if truth > 80 {
				sq, n = sq+miss*miss, n+1
			}
		}
		if rms := math.Sqrt(sq/n) * 1e3; rms > 3 {
			t.Errorf("%g %%: %.2f ms rms", skew*100, rms)
		}
	}
}

// TestClockMapLong follows a skew that drifts by 2 ppm an hour over 6 h, in
// bounded memory.
func TestClockMapLong(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	m := newClockMap(0, 0, nil)
	clock, sq, n := 0.0, 0.0, 0.0
	for i := range 6 * 3600 * 10 {
		truth := float64(i) / 10
		skew := 30e-6 + 2e-6*truth/3600
		clock += 0.1 * (1 + skew)
		m.observe(int64(clock*1e6), int64((truth+0.050*r.Float64())*1e9))
		miss := float64(m.at(int64(clock*1e6)))*1e-9 - truth
		if truth > 60 {
			sq, n = sq+miss*miss, n+1
		}
	}
	if rms := math.Sqrt(sq/n) * 1e3; rms > 3 {
		t.Errorf("%.2f ms rms", rms)
	} else {
		t.Logf("%.2f ms rms over 6 h, %d buckets", rms, len(m.buckets))
	}
	if len(m.buckets) > maxBuckets {
		t.Errorf("%d buckets, at most %d", len(m.buckets), maxBuckets)
	}
}

// TestClockMapHeldBack shows that at never falls back and recovers when a
// link's first frames had been held back for 8 s, as after a TCP connection
// was opened to a device that had queued.
func TestClockMapHeldBack(t *testing.T) {
	m := newClockMap(0, 8e9, nil)
	last := int64(math.MinInt64)
	for i := range 60 * 20 {
		truth := int64(i) * 50e6
		heard := max(truth, 8e9+int64(i)*1e6) // a burst, then live
		m.observe(truth/1000, heard)
		at := m.at(truth / 1000)
		if at <= last {
			t.Fatalf("at falls back at %d ms", truth/1e6)
		}
		last = at
		if truth > 50e9 && at-truth > 200e6 {
			t.Fatalf("%d ms late after %d s", (at-truth)/1e6, truth/1e9)
		}
	}
}

// TestClockMapFastPlayer: frames of a recording that come ten times faster than
// they were made keep the spacing of the device clock.
func TestClockMapFastPlayer(t *testing.T) {
	m := newClockMap(0, 0, nil)
	last := int64(0)
	for i := range int64(4000) {
		clock := i * 50e3 // us
		m.observe(clock, i*5e6)
		at := m.at(clock)
		if step := at - last; clock > 1e6 && (step < 49.99e6 || step > 50.01e6) {
			t.Fatalf("at moves by %d us where the device clock moves by 50000, at %d s", step/1000, clock/1e6)
		}
		last = at
	}
}

// TestClockMapSkewCarriesOver shows that a board that restarts in flight has
// its skew at once.
func TestClockMapSkewCarriesOver(t *testing.T) {
	before := newClockMap(0, 0, nil)
	for i := range 600 {
		x := int64(i) * 100e3
		before.observe(x, int64(float64(x)*1e3*(1+300e-6)))
	}
	m := newClockMap(0, 90e9, &before)
	m.observe(0, 90e9)
	if math.Abs(m.slope-300e-6) > 2e-6 {
		t.Errorf("skew %.1f ppm, want 300", m.slope*1e6)
	}
	// A frame 20 ms late must not turn it by more than allowed.
	m.observe(100e3, 90e9+100e6+20e6)
	if math.Abs(m.slope-300e-6) > priorSkew+1e-9 {
		t.Errorf("skew %.1f ppm after a late frame", m.slope*1e6)
	}
}

func BenchmarkClockMap(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	m := newClockMap(0, 0, nil)
	b.ReportAllocs()
	for i := range b.N {
		clock := int64(i) * 20e3
		m.observe(clock, clock*1000+int64(r.Float64()*50e6))
		m.at(clock)
	}
}
