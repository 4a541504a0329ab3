package ensemble

import (
	"math"
	"slices"
	"testing"
)

// TestContraryIsAWorld: its flights are healthy, contain what it says, and are the same
// on each draw; the rough ones are not touched by it.
func TestContraryIsAWorld(t *testing.T) {
	filtered, fades := 0, 0
	const n = 30
	for i := range uint64(n) {
		f, err := Draw(Contrary(), 5, i)
		if err != nil {
			t.Fatal(err)
		}
		u := &f.Truth
		if lag := u.ReleaseS - u.ApogeeS; !(lag > -0.05 && lag < 1) || !(u.TouchdownS > u.OpenS && u.OpenS > u.OutS) {
			t.Errorf("flight %d: lag %.2f s, out %.2f, open %.2f, down %.2f", i, lag, u.OutS, u.OpenS, u.TouchdownS)
		}
		again, _ := Draw(Contrary(), 5, i)
		for k := range f.Samples {
			if !slices.Equal(f.Samples[k].Values.Values[:1], again.Samples[k].Values.Values[:1]) {
				t.Fatalf("flight %d: sample %d differs", i, k)
			}
		}
		if f.plan.sensor.filterS > 0 {
			filtered++
		}
		if f.plan.hard.contrary.power > 0 {
			fades++
		}
	}
	if filtered < n/3 || filtered > n*5/6 || fades < n/2 || fades == n {
		t.Errorf("of %d flights %d are filtered by the board, the thrust of %d fades", n, filtered, fades)
	}
}

// TestContraryLaws: the thrust keeps its impulse; the drag is that of the airframe at
// ordinary speed, and what Prandtl's and Glauert's rule gives at half the speed of sound,
// 1/sqrt(1 - 0.25); a board's low pass has gone 63 % of a step after its time constant.
func TestContraryLaws(t *testing.T) {
	for _, power := range []float64{0.5, 3, -0.2, -1} {
		c := contrary{power: power}
		sum := 0.0
		const n = 2000
		for i := range n {
			sum += c.thrust((float64(i)+0.5)/n) / n
		}
		if math.Abs(sum-1) > 0.01 {
			t.Errorf("thrust of power %g: mean %.3f", power, sum)
		}
	}
	c := contrary{slowDrag: 0.5, slowMps: 5, sound: 340}
	for _, x := range []struct{ air, want float64 }{{0, 1.5}, {40, 1.007}, {170, 1 / math.Sqrt(0.75)}} {
		if got := c.drag(x.air); math.Abs(got-x.want) > 0.002 {
			t.Errorf("drag at %g m/s: %.4f times, want %.4f", x.air, got, x.want)
		}
	}
	if none := (&contrary{}); none.drag(3) != 1 {
		t.Error("the other worlds have another drag now")
	}
	e := sensing{sensor: sensor{filterS: 0.1}, lowPa: math.NaN()}
	e.lowPassed(0, 0)
	got := 0.0
	for i := 1; i <= 10; i++ {
		got = e.lowPassed(100, 0.01*float64(i))
	}
	if want := 100 * (1 - math.Exp(-1)); math.Abs(got-want) > 0.01 {
		t.Errorf("after a time constant %.2f of a step of 100, want %.2f", got, want)
	}
}

// TestContraryGusts: together they are as strong as one gust, and last longer.
func TestContraryGusts(t *testing.T) {
	rng := stream(1, 1, forSlow)
	g := newGusts([3]float64{0.3, 3, 20}, rng)
	square, far, last := 0.0, 0.0, []float64{}
	const n, apart = 400000, 100 // 5 s
	for i := range n {
		v := g.step(rng)
		square += v * v / n
		last = append(last, v)
		if i >= apart {
			far += v * last[i-apart] / n
		}
	}
	want := (math.Exp(-5/0.3) + math.Exp(-5./3) + math.Exp(-5./20)) / 3
	if math.Abs(square-1) > 0.1 || math.Abs(far-want) > 0.06 {
		t.Errorf("variance %.3f, after 5 s %.3f, want 1 and %.3f", square, far, want)
	}
}
