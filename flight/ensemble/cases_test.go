package ensemble

import (
	"math"
	"testing"

	"padlark/decode"
)

// height is sample i's pressure as height above the pad by the true column.
func (f *Flight) height(i int) float64 { return f.plan.air.height(f.Samples[i].Values.Values[0]) }

// off is by how much sample i reads too high, in m.
func (f *Flight) off(i int) float64 { return f.height(i) - f.Truth.HeightM(f.trueS(i)) }

// within gives the samples of a stretch of time, s since the Epoch.
func (f *Flight) within(from, to float64) []int {
	var out []int
	for i := range f.Samples {
		if s := f.trueS(i); s >= from && s < to {
			out = append(out, i)
		}
	}
	return out
}

// Each case shows what its name says. The numbers are those that recorded
// flights of real boards showed.
func TestCases(t *testing.T) {
	checks := map[string]func(t *testing.T, f *Flight){
		"launch-dip":          checkLaunchDip,
		"speed-dip":           checkSpeedDip,
		"lone-outlier":        checkLoneOutlier,
		"nose-bump":           checkNoseBump,
		"raw-maximum":         checkRawMaximum,
		"touchdown-spikes":    checkSpikes,
		"below-sea":           checkBelowSea,
		"lower-after-landing": checkLower,
		"coarse-steps":        checkCoarse,
		"gaps":                checkGaps,
		"hold":                checkHold,
		"same-stamp":          checkSameStamp,
		"no-pad":              checkNoPad,
		"ends-ballistic":      checkEndsBallistic,
		"ends-early":          checkEndsEarly,
		"long-wait":           checkLongWait,
	}
	for _, c := range Cases() {
		t.Run(c.Name, func(t *testing.T) {
			check := checks[c.Name]
			if check == nil {
				t.Fatal("this case has no check")
			}
			for seed := range uint64(4) {
				f, err := c.Draw(seed)
				if err != nil {
					t.Fatal(err)
				}
				if len(f.Samples) < 50 {
					t.Fatalf("only %d samples", len(f.Samples))
				}
				check(t, &f)
			}
		})
	}
	if _, err := CaseNamed("no such case"); err == nil {
		t.Error("a case that does not exist was found")
	}
}

func checkLaunchDip(t *testing.T, f *Flight) {
	for _, i := range f.within(f.Truth.LiftoffS, f.Truth.LiftoffS+1) {
		if h := f.height(i); h > -28 || h < -52 {
			t.Errorf("reads %.1f m in the first second, want -50 to -30", h)
		}
	}
	if f.Truth.TimeToApogeeS() < 1.5 {
		t.Error("the flight is too short to recover from the dip before the apogee")
	}
}

func checkSpeedDip(t *testing.T, f *Flight) {
	low := 0.0
	for i := range f.Samples {
		low = min(low, f.off(i))
	}
	if low > -180 || low < -450 {
		t.Errorf("reads %.0f m low at most, want 200 to 400", -low)
	}
}

func checkLoneOutlier(t *testing.T, f *Flight) {
	n := 0
	for _, i := range f.within(f.Truth.TouchdownS+0.5, f.EndS) {
		if math.Abs(f.off(i)-344) < 5 {
			n++
		} else if math.Abs(f.off(i)) > 15 {
			t.Errorf("another sample is off by %.0f m", f.off(i))
		}
	}
	if n != 1 {
		t.Errorf("%d samples are 344 m off, want 1", n)
	}
}

func checkNoseBump(t *testing.T, f *Flight) {
	var at []int
	top := 0
	for i := range f.Samples {
		if math.Abs(f.off(i)-f.off(0)-30) < 6 {
			at = append(at, i)
		}
		if f.height(i) > f.height(top) {
			top = i
		}
	}
	if len(at) != 2 || at[1] != at[0]+1 || f.trueS(at[0]) < f.Truth.ApogeeS || f.trueS(at[1]) > f.Truth.ApogeeS+0.5 {
		t.Errorf("samples %v read 30 m high, want two just after the apogee", at)
	}
	if len(at) > 0 && top != at[0] && top != at[1] {
		t.Error("the raw maximum is not the bump")
	}
}

func checkRawMaximum(t *testing.T, f *Flight) {
	top := 0
	for i := range f.Samples {
		if f.height(i) > f.height(top) {
			top = i
		}
	}
	h, at := f.height(top)-f.height(0), f.trueS(top)-f.Truth.ApogeeS
	if d := h - f.Truth.ApogeeM; d < 22 || d > 28 || at < -1 || at > -0.9 {
		t.Errorf("the highest reading is %.1f m above the top, %.2f s from it; want 25 m a second before", d, at)
	}
}

func checkSpikes(t *testing.T, f *Flight) {
	n := 0
	for _, i := range f.within(f.Truth.TouchdownS-0.5, f.Truth.TouchdownS+0.5) {
		if math.Abs(f.off(i)+146) < 10 {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d spikes, want 2", n)
	}
}

func checkBelowSea(t *testing.T, f *Flight) {
	// ISO 2533 at -105 m: 102 592 Pa, computed from the published equations.
	if p := f.Samples[0].Values.Values[0]; math.Abs(p-102592) > 60 {
		t.Errorf("pad pressure %.0f Pa, want 102592", p)
	}
}

func checkLower(t *testing.T, f *Flight) {
	mean := func(from, to float64) float64 {
		var s float64
		at := f.within(from, to)
		for _, i := range at {
			s += f.height(i) / float64(len(at))
		}
		return s
	}
	before, after := mean(0, f.Truth.LiftoffS), mean(f.Truth.TouchdownS+1, f.EndS)
	if d := before - after; math.Abs(d-10) > 2.5 {
		t.Errorf("rests %.1f m lower, want 10", d)
	}
}

func checkCoarse(t *testing.T, f *Flight) {
	for i := range f.Samples {
		if p := f.Samples[i].Values.Values[0]; math.Mod(p, 10) != 0 {
			t.Fatalf("pressure %v Pa", p)
		}
	}
	gap := (f.trueS(len(f.Samples)-1) - f.trueS(0)) / float64(len(f.Samples)-1)
	if math.Abs(gap*11-1) > 0.01 {
		t.Errorf("a sample each %.4f s, want 1/11", gap)
	}
}

func checkGaps(t *testing.T, f *Flight) {
	var fives, long, air int
	for i := 1; i < len(f.Samples); i++ {
		missing := f.Samples[i].Seq - f.Samples[i-1].Seq - 1
		gap := f.trueS(i) - f.trueS(i-1)
		if missing == 5 {
			fives++
		}
		if gap > 0.85 {
			long++
		}
		if missing > 0 && f.trueS(i) > f.Truth.LiftoffS && f.trueS(i) < f.Truth.TouchdownS {
			air++
		}
		if gap > 0.95 {
			t.Errorf("a gap of %.2f s", gap)
		}
	}
	if fives < 3 || long < 2 || air < 4 {
		t.Errorf("%d bursts of five, %d gaps of 0.9 s, %d in flight", fives, long, air)
	}
}

func checkHold(t *testing.T, f *Flight) {
	at := f.within(f.Truth.LiftoffS+0.2, f.Truth.ApogeeS-0.3)
	changes := 0
	for k := 1; k < len(at); k++ {
		if f.Samples[at[k]].Values.Values[0] != f.Samples[at[k-1]].Values.Values[0] {
			changes++
		}
	}
	took := f.trueS(at[len(at)-1]) - f.trueS(at[0])
	if hz := float64(changes) / took; math.Abs(hz-36) > 2 {
		t.Errorf("%.1f new values a second, want 36", hz)
	}
	if hz := float64(len(at)-1) / took; math.Abs(hz-100) > 1 {
		t.Errorf("%.1f samples a second, want 100", hz)
	}
}

func checkSameStamp(t *testing.T, f *Flight) {
	n := 0
	for i := 1; i < len(f.Samples); i++ {
		if f.Samples[i].At.Equal(f.Samples[i-1].At) && f.Samples[i].Clock == f.Samples[i-1].Clock {
			n++
		}
	}
	if want := (len(f.Samples) - 1) / 10; n != want {
		t.Errorf("%d samples share a time stamp, want %d", n, want)
	}
}

func checkNoPad(t *testing.T, f *Flight) {
	if s := f.trueS(0); s < f.Truth.LiftoffS || s > f.Truth.LiftoffS+0.05 {
		t.Errorf("begins %.2f s after liftoff", s-f.Truth.LiftoffS)
	}
	if f.Samples[0].N != 1 {
		t.Errorf("begins with number %d", f.Samples[0].N)
	}
}

func checkEndsBallistic(t *testing.T, f *Flight) {
	tr := &f.Truth
	if math.Abs(tr.ApogeeM-222) > 5 || math.Abs(tr.TouchdownS-tr.ApogeeS-11) > 0.5 {
		t.Errorf("from %.1f m to the ground in %.2f s, want 222 m in 11 s", tr.ApogeeM, tr.TouchdownS-tr.ApogeeS)
	}
	last := len(f.Samples) - 1
	if h := f.height(last); h < 15 || tr.SpeedMps(f.trueS(last)) > -20 {
		t.Errorf("ends at %.1f m with %.1f m/s, want falling", h, tr.SpeedMps(f.trueS(last)))
	}
	if on, _ := f.Samples[last].Values.Get(decode.ReleaseOn); on != 0 || !math.IsNaN(tr.ReleaseS) {
		t.Error("something was released")
	}
}

func checkEndsEarly(t *testing.T, f *Flight) {
	last := f.trueS(len(f.Samples) - 1)
	if h := f.Truth.HeightM(last); h < 5 || last < f.Truth.OpenS {
		t.Errorf("ends at %.1f m", h)
	}
}

func checkLongWait(t *testing.T, f *Flight) {
	if f.Truth.LiftoffS != 600 {
		t.Errorf("waits %.0f s", f.Truth.LiftoffS)
	}
}
