package ensemble

import (
	"math"
	"testing"

	"padlark/decode"
)

// still is a spec with white noise only.
func still(hz, noise float64) Spec {
	s := Nominal50()
	s.RateHz, s.NoiseM = []float64{hz}, Fixed(noise)
	s.DriftM, s.GustPa, s.BumpM = Fixed(0), Fixed(0), Fixed(0)
	s.Parametric = true
	s.PadS = Fixed(200)
	s.CutS = 1
	return s
}

// padHeights are the readings before liftoff as metres above the true pad
// pressure.
func padHeights(f *Flight) []float64 {
	var out []float64
	for i := range f.Samples {
		if f.trueS(i) < f.Truth.LiftoffS-0.1 {
			out = append(out, f.plan.air.height(f.Samples[i].Values.Values[0]-f.plan.sensor.biasPa))
		}
	}
	return out
}

func meanRMS(x []float64) (mean, rms float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		rms += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, math.Sqrt(rms)
}

// The rms of n white readings is known to sigma/sqrt(2n), the correlation of
// neighbours to 1/sqrt(n): five times that is allowed.
func TestNoiseIsWhiteAndAsDrawn(t *testing.T) {
	for _, noise := range []float64{0.1, 0.25, 0.5, 1} {
		f, err := Draw(still(50, noise), 11, 0)
		if err != nil {
			t.Fatal(err)
		}
		x := padHeights(&f)
		mean, rms := meanRMS(x)
		n := float64(len(x))
		if math.Abs(rms/noise-1) > 5/math.Sqrt(2*n) {
			t.Errorf("%g m: rms %.4f m over %d readings", noise, rms, len(x))
		}
		if math.Abs(mean) > 5*noise/math.Sqrt(n) {
			t.Errorf("%g m: mean %.4f m", noise, mean)
		}
		var c float64
		for i := 1; i < len(x); i++ {
			c += (x[i] - mean) * (x[i-1] - mean) / (rms * rms * n)
		}
		if math.Abs(c) > 5/math.Sqrt(n) {
			t.Errorf("%g m: neighbours correlate by %.4f", noise, c)
		}
	}
}

// The wander's rms over many draws is as asked for; 400 independent ends know
// it to 1/sqrt(800) of itself.
func TestDriftSpread(t *testing.T) {
	s := still(10, 0.1)
	s.DriftM, s.DriftTauS = Fixed(2), Fixed(20)
	s.PadS = Fixed(5)
	var ends []float64
	var f Flight
	for i := range uint64(400) {
		if err := DrawInto(&f, s, 4, i); err != nil {
			t.Fatal(err)
		}
		x := padHeights(&f)
		ends = append(ends, x[len(x)-1])
	}
	if _, rms := meanRMS(ends); math.Abs(rms/2-1) > 5/math.Sqrt(800) {
		t.Errorf("rms %.3f m, want 2 m", rms)
	}
}

// Share of lost frames and mean length of a loss. Bursts of mean b make the
// losses of n frames count as about n/(2b) independent ones.
func TestLossesAreAsDrawn(t *testing.T) {
	for _, c := range []struct{ loss, burst float64 }{{0, 1}, {0.05, 1}, {0.1, 3}, {0.3, 6}} {
		s := still(50, 0.25)
		s.PadS = Fixed(1200)
		s.Loss, s.BurstFrames = Fixed(c.loss), Fixed(c.burst)
		f, err := Draw(s, 6, 0)
		if err != nil {
			t.Fatal(err)
		}
		lost, bursts, seq := 0.0, 0.0, int64(-1)
		for i := range f.Samples {
			if gap := f.Samples[i].Seq - seq - 1; gap > 0 {
				lost += float64(gap)
				bursts++
			}
			seq = f.Samples[i].Seq
		}
		n := float64(f.Sent)
		sd := math.Sqrt(c.loss*(1-c.loss)*2*c.burst/n) + 1e-9
		if math.Abs(lost/n-c.loss) > 5*sd {
			t.Errorf("loss %g burst %g: %.4f lost", c.loss, c.burst, lost/n)
		}
		if c.loss == 0 {
			continue
		}
		if mean := lost / bursts; math.Abs(mean-c.burst) > 5*c.burst/math.Sqrt(bursts)+0.02 {
			t.Errorf("loss %g: bursts of %.3f frames, want %g", c.loss, mean, c.burst)
		}
	}
}

func TestRateJitterAndSteps(t *testing.T) {
	s := still(20, 0.25)
	s.JitterS, s.StepPa = Fixed(0.002), []float64{10}
	f, err := Draw(s, 8, 0)
	if err != nil {
		t.Fatal(err)
	}
	var gaps []float64
	for i := 1; i < len(f.Samples); i++ {
		gaps = append(gaps, f.trueS(i)-f.trueS(i-1))
		if p := f.Samples[i].Values.Values[0]; math.Abs(p-10*math.Round(p/10)) > 1e-6 {
			t.Fatalf("pressure %.3f Pa is no multiple of 10", p)
		}
	}
	mean, rms := meanRMS(gaps)
	if math.Abs(mean-0.05) > 1e-4 {
		t.Errorf("mean gap %.5f s at 20 Hz", mean)
	}
	// Two independent jitters of 2 ms and the rounding to 1 ms.
	if want := math.Sqrt(2*0.002*0.002 + 2*1e-6/12); math.Abs(rms/want-1) > 0.1 {
		t.Errorf("gaps vary by %.5f s, want %.5f", rms, want)
	}
}

func TestOutliersAreAsOften(t *testing.T) {
	s := still(50, 0.1)
	s.PadS = Fixed(1000)
	s.OutliersPer1000, s.OutlierM = Fixed(4), Range{20, 200}
	f, err := Draw(s, 9, 0)
	if err != nil {
		t.Fatal(err)
	}
	n := 0.0
	x := padHeights(&f)
	for _, h := range x {
		if math.Abs(h) > 10 {
			n++
		}
	}
	want := 0.004 * float64(len(x))
	if math.Abs(n-want) > 5*math.Sqrt(want) {
		t.Errorf("%g outliers in %d readings, want about %.0f", n, len(x), want)
	}
}

// At rest an accelerometer reads g; in free flight only the drag.
func TestAccelerometer(t *testing.T) {
	s := still(100, 0.25)
	s.AccelShare, s.WaterM = 1, Range{60, 120}
	s.PadS, s.TiltDeg, s.WindMps = Fixed(5), Fixed(0), Fixed(0)
	f, err := Draw(s, 10, 0)
	if err != nil {
		t.Fatal(err)
	}
	var pad, top []float64
	for i := range f.Samples {
		a, ok := f.Samples[i].Values.Get(decode.AccelMps2)
		if !ok {
			t.Fatal("no acceleration in the sample")
		}
		switch s := f.trueS(i); {
		case s < f.Truth.LiftoffS-0.1:
			pad = append(pad, a)
		case math.Abs(s-f.Truth.ApogeeS+0.15) < 0.1:
			top = append(top, a)
		}
	}
	bias := f.plan.sensor.accelBias
	if m, _ := meanRMS(pad); math.Abs(m-bias-9.80665) > 0.2 {
		t.Errorf("reads %.2f m/s2 on the pad, bias %.2f", m, bias)
	}
	if m, _ := meanRMS(top); math.Abs(m-bias) > 0.5 {
		t.Errorf("reads %.2f m/s2 before the apogee, bias %.2f", m, bias)
	}
}

// Hours on the pad come as a stream that never flies.
func TestWaitingPad(t *testing.T) {
	w := WaitingPad(OnPad(), 1, 3, 0.5)
	n, lastS := 0, 0.0
	var first, worst float64
	for s := range w.Samples() {
		p := s.Values.Values[0]
		if n == 0 {
			first = p
		}
		worst = max(worst, math.Abs(p-first))
		n++
		lastS = s.At.Sub(w.Epoch).Seconds()
	}
	if math.Abs(lastS-1800) > 1 {
		t.Errorf("the stream ends after %.1f s, want 1800", lastS)
	}
	if want := 1800 * w.Setup.RateHz * (1 - w.Setup.Loss); math.Abs(float64(n)/want-1) > 0.1 {
		t.Errorf("%d samples, want about %.0f", n, want)
	}
	if worst == 0 {
		t.Error("the pressure never changes")
	}
}
