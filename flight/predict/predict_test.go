package predict

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"padlark/flight/model"
)

// teal is a two-litre rocket of our own on a calm day.
func teal() Input {
	return Input{
		Rocket: model.Rocket{Volume: 2e-3, Nozzle: 0.0217, Dry: 0.150, Diameter: 0.09, Cd: 0.5, Parachute: 0.5,
			Release: model.Release{How: model.AfterApogee, Seconds: 0.3}},
		Launch: model.Launch{Fraction: 1.0 / 3, Gauge: 4e5, Rail: 0.5, Wind: 2, Air: model.Air{Temperature: 288.15}},
		Spread: DefaultSpread(), Rating: 5e5, FieldRadius: 150, Flights: 200, Seed: 7,
	}
}

func run(t *testing.T, in Input) *Result {
	t.Helper()
	res, err := Run(in)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func TestSeeded(t *testing.T) {
	a, b := run(t, teal()), run(t, teal())
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("the same input gives two results (-first +second):\n%s", d)
	}
	in := teal()
	in.Seed = 8
	c := run(t, in)
	// Means of two samples differ by about sqrt(2/n) standard deviations.
	apart := math.Abs(a.ApogeeM.Mean-c.ApogeeM.Mean) / (a.ApogeeM.SD * math.Sqrt(2.0/200))
	if apart == 0 || apart > 4 {
		t.Errorf("another seed moves the mean by %.1f standard errors", apart)
	}
}

// TestNoSpread: without spread every flight is the one as typed.
func TestNoSpread(t *testing.T) {
	in := teal()
	in.Spread, in.Flights = Spread{}, 20
	res := run(t, in)
	in.Rocket.Polytropic = defaultPolytropic
	tr, err := model.Fly(in.Rocket, in.Launch)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		q    *Quantity
		want float64
	}{
		{"apogee", res.ApogeeM, tr.Marks.Apogee.Height},
		{"time to apogee", res.TimeToApogeeS, tr.Marks.Apogee.T},
		{"greatest speed", res.MaxSpeedMps, tr.MaxSpeed},
		{"sink rate", res.DescentMps, -tr.Marks.Touchdown.Speed},
		{"drift", res.DriftM, tr.Marks.Touchdown.Drift},
		{"release", res.ReleaseS, tr.Marks.Apogee.T + 0.3},
	} {
		if c.q.SD > 1e-9 || math.Abs(c.q.Mean-c.want) > 1e-9 || c.q.Low > c.q.High {
			t.Errorf("%s: %+v, want %g without spread", c.name, *c.q, c.want)
		}
	}
}

// TestPropagation: a small spread of one input gives the spread that the slope
// of the model says, in first order.
func TestPropagation(t *testing.T) {
	slope := func(edit func(*Input, float64)) float64 {
		var h [2]float64
		for i, x := range []float64{-1e-3, 1e-3} {
			in := teal()
			in.Rocket.Polytropic = defaultPolytropic
			edit(&in, 1+x)
			tr, err := model.Fly(in.Rocket, in.Launch)
			if err != nil {
				t.Fatal(err)
			}
			h[i] = tr.Marks.Apogee.Height
		}
		return math.Abs(h[1]-h[0]) / 2e-3
	}
	for _, c := range []struct {
		name   string
		spread Spread
		edit   func(*Input, float64)
	}{
		{"pressure", Spread{GaugePart: 0.01}, func(in *Input, f float64) { in.Launch.Gauge *= f }},
		{"drag", Spread{CdPart: 0.01}, func(in *Input, f float64) { in.Rocket.Cd *= f }},
		{"mass", Spread{DryPart: 0.01}, func(in *Input, f float64) { in.Rocket.Dry *= f }},
	} {
		in := teal()
		in.Spread, in.Flights = c.spread, 600
		got, want := run(t, in).ApogeeM.SD, 0.01*slope(c.edit)
		// The sample's own error is 1/sqrt(2n) = 2.9 %, and draws stop at 3 sd.
		if math.Abs(got/want-1) > 0.09 {
			t.Errorf("%s: standard deviation of the apogee %.4f m, by the slope %.4f m", c.name, got, want)
		}
	}
}

func TestRatings(t *testing.T) {
	in := teal()
	in.Launch.Gauge = 5.1e5
	_, err := Run(in)
	var over *OverRating
	if !errors.As(err, &over) || over.Rating != 5e5 || over.Gauge != 5.1e5 {
		t.Errorf("above the rating: %v", err)
	}
	in.Launch.Gauge = 5e5
	if _, err = Run(in); err != nil {
		t.Errorf("at the rating: %v", err)
	}
	in.Rating = 0
	if _, err = Run(in); !errors.Is(err, ErrNoRating) {
		t.Errorf("without a rating: %v", err)
	}
	in.Rating = math.NaN()
	if _, err = Run(in); !errors.Is(err, ErrNoRating) {
		t.Errorf("with a rating that is not a number: %v", err)
	}
	// Close below: the gauge's own error is told.
	in.Rating = 5.1e5
	if res := run(t, in); !strings.Contains(strings.Join(res.Warnings, "\n"), "may be 5.30 bar, above the rating of 5.10 bar") {
		t.Errorf("close to the rating: %q", res.Warnings)
	}
}

func TestField(t *testing.T) {
	big := run(t, teal())
	if !*big.Field.BigEnough || big.Verdict[:5] == "bad: " {
		t.Errorf("150 m: %+v, %s", big.Field, big.Verdict)
	}
	in := teal()
	in.FieldRadius = math.Floor(big.Field.NeedM) - 1
	small := run(t, in)
	if *small.Field.BigEnough || !strings.HasPrefix(small.Verdict, "bad: the field is too small") {
		t.Errorf("%g m: %+v, %s", in.FieldRadius, small.Field, small.Verdict)
	}
	in.FieldRadius = 1
	if res := run(t, in); *res.Field.OutsidePart < 0.95 {
		t.Errorf("only %g come down outside 1 m", *res.Field.OutsidePart)
	}
	in.FieldRadius = 0
	if res := run(t, in); res.Field.BigEnough != nil || !strings.Contains(res.Verdict, "no field radius given") {
		t.Errorf("without a radius: %+v, %s", res.Field, res.Verdict)
	}
}

// TestStray: without drag and wind a throw reaches v^2/g at 45 degrees, from the
// speed and place of burnout; here drag is small and the boost short.
func TestStray(t *testing.T) {
	in := teal()
	in.Rocket.Cd, in.Launch.Wind, in.Launch.Rail = 1e-6, 0, 0
	if err := in.prepare(); err != nil {
		t.Fatal(err)
	}
	tr, err := model.Fly(in.Rocket, in.Launch)
	if err != nil {
		t.Fatal(err)
	}
	v := tr.Marks.Burnout.Speed
	want := v*v/9.80665 + 2*tr.Marks.Burnout.Height/math.Sqrt2
	if got := stray(&in); math.Abs(got/want-1) > 0.03 {
		t.Errorf("strays %.1f m, closed form about %.1f m", got, want)
	}
	in = teal()
	in.FieldRadius = 70
	in.Rocket.Parachute = 0.35
	res := run(t, in)
	if !(res.Field.StrayM > 70) || !strings.Contains(strings.Join(res.Warnings, " "), "a rocket that strays reaches") {
		t.Errorf("%+v %q", res.Field, res.Warnings)
	}
}

// TestCanopyForFive: the diameter that is named does what is said of it.
func TestCanopyForFive(t *testing.T) {
	in := teal()
	in.Spread, in.Flights, in.Rocket.Parachute = Spread{}, 20, 0.2
	small := run(t, in)
	if *small.Canopy.SinkOK || !strings.Contains(small.Verdict, "the parachute is small") {
		t.Errorf("0.2 m: %+v, %s", small.Canopy, small.Verdict)
	}
	in.Rocket.Parachute = small.Canopy.ForFiveM
	res := run(t, in)
	if math.Abs(res.DescentMps.Mean-5) > 2e-3 {
		t.Errorf("%.3f m sinks at %.4f m/s, want 5", in.Rocket.Parachute, res.DescentMps.Mean)
	}
	in.Rocket.Parachute = 1.5
	if res = run(t, in); !strings.Contains(res.Verdict, "the parachute is large") {
		t.Errorf("1.5 m: %s", res.Verdict)
	}
	in.Rocket.Parachute = 0
	res = run(t, in)
	if res.DescentMps != nil || res.ReleaseS != nil || !strings.Contains(strings.Join(res.Warnings, " "), "no parachute is released") {
		t.Errorf("without: %+v, %q", res.DescentMps, res.Warnings)
	}
	in = teal()
	in.Rocket.Release.Seconds = 30
	if res = run(t, in); !strings.HasPrefix(res.Verdict, "bad: the release comes too late: in 100 %") {
		t.Errorf("30 s late: %s", res.Verdict)
	}
}

func TestTimerAndBand(t *testing.T) {
	res := run(t, teal())
	tm := res.Timer
	if !(tm.ExpectedS < tm.LatestS && tm.LatestS < tm.GroundS && tm.SpreadS > 0) {
		t.Errorf("timer out of order: %+v", tm)
	}
	if tm.ExpectedS != res.TimeToApogeeS.Mean {
		t.Errorf("timer expects %g s, the flights %g s", tm.ExpectedS, res.TimeToApogeeS.Mean)
	}
	top := 0.0
	for i, b := range res.Band {
		if b.Low > b.Mid || b.Mid > b.High || i > 0 && b.T <= res.Band[i-1].T {
			t.Fatalf("band out of order at %d: %+v", i, b)
		}
		top = math.Max(top, b.Mid)
	}
	if math.Abs(top-res.ApogeeM.Mean) > res.ApogeeM.SD {
		t.Errorf("band reaches %g m, apogee %g m", top, res.ApogeeM.Mean)
	}
	if last := res.Band[len(res.Band)-1]; last.Mid != 0 {
		t.Errorf("band ends in the air: %+v", last)
	}
}

func TestMotor(t *testing.T) {
	in := Input{
		Rocket: model.Rocket{Dry: 0.08, Diameter: 0.026, Cd: 0.6, Parachute: 0.35,
			Release: model.Release{How: model.AfterApogee, Seconds: 0.5},
			Motor: &model.Motor{Curve: []model.Thrust{{T: 0, N: 0}, {T: 0.3, N: 14}, {T: 0.4, N: 6}, {T: 1.5, N: 5}, {T: 1.6, N: 0}},
				Propellant: 0.0125, Total: 0.0245}},
		Launch: model.Launch{Rail: 1, Wind: 3}, Spread: DefaultSpread(), Flights: 100, FieldRadius: 500,
	}
	res := run(t, in)
	if res.WaterOutS != nil || res.ApogeeM.Mean < 100 || strings.Contains(strings.Join(res.Cautions, " "), "bottle") {
		t.Errorf("%+v %q", res.ApogeeM, res.Cautions)
	}
	if res.ApogeeM.SD <= 0 || in.Rocket.Motor.Curve[1].N != 14 {
		t.Error("the motor's spread is not drawn, or was drawn into the caller's curve")
	}
}

func TestWaterThatStays(t *testing.T) {
	in := teal()
	in.Rocket.Dry, in.Launch.Fraction, in.Launch.Gauge, in.Launch.Rail = 0.05, 0.9, 2e5, 0
	in.Spread = Spread{}
	res := run(t, in)
	if !strings.Contains(strings.Join(res.Warnings, "\n"), "of water stay in the bottle") {
		t.Errorf("%q", res.Warnings)
	}
}

func TestInputErrors(t *testing.T) {
	for name, edit := range map[string]func(*Input){
		"too few flights":   func(in *Input) { in.Flights = 3 },
		"too many points":   func(in *Input) { in.Points = 1e6 },
		"negative radius":   func(in *Input) { in.FieldRadius = -1 },
		"wide spread":       func(in *Input) { in.Spread.CdPart = 2 },
		"not a number":      func(in *Input) { in.Spread.WindPart = math.NaN() },
		"too heavy":         func(in *Input) { in.Rocket.Dry = 45 },
		"bottle in litres":  func(in *Input) { in.Rocket.Volume = 2 },
		"everything absent": func(in *Input) { *in = Input{Rating: 1e5} },
	} {
		in := teal()
		edit(&in)
		if res, err := Run(in); err == nil {
			t.Errorf("%s: no error, %+v", name, res)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
}

func TestQuantity(t *testing.T) {
	var v []float64
	for i := 101; i > 0; i-- {
		v = append(v, float64(i-1))
	}
	got := quantity(v)
	// Of 0..100: mean 50, sample variance n(n+1)/12 with n = 101.
	want := &Quantity{Mean: 50, SD: math.Sqrt(101 * 102 / 12.0), Low: 5, High: 95}
	if math.Abs(got.Mean-want.Mean) > 1e-9 || math.Abs(got.SD-want.SD) > 1e-9 || got.Low != 5 || got.High != 95 {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if quantity(nil) != nil {
		t.Error("a quantity of nothing")
	}
	if out := outside([]float64{1, 2, 3, 4}, 2.5); out != 0.5 {
		t.Errorf("outside 2.5: %g", out)
	}
}

func TestNormalStops(t *testing.T) {
	d := dice{rand.New(rand.NewPCG(1, 2))}
	var sum, sum2 float64
	const n = 20000
	for range n {
		x := d.normal()
		if math.Abs(x) > 3 {
			t.Fatalf("drew %g", x)
		}
		sum, sum2 = sum+x, sum2+x*x
	}
	// Variance of a normal cut at 3: 0.9733.
	if math.Abs(sum/n) > 0.03 || math.Abs(sum2/n-0.9733) > 0.03 {
		t.Errorf("mean %g, variance %g", sum/n, sum2/n)
	}
}

func BenchmarkRun(b *testing.B) {
	for b.Loop() {
		in := teal()
		in.Flights = 500
		if _, err := Run(in); err != nil {
			b.Fatal(err)
		}
	}
}

// TestExponentIsMeant: the exponent that is typed is the mean of what is drawn, and
// at the ends of its range it is what is flown.
func TestExponentIsMeant(t *testing.T) {
	for _, typed := range []float64{1, 1.05, 1.3, 1.35, 1.4} {
		in := teal()
		in.Rocket.Polytropic = typed
		if err := in.prepare(); err != nil {
			t.Fatal(err)
		}
		d := dice{rand.New(rand.NewPCG(1, 2))}
		const n = 4000
		sum, lo, hi := 0.0, 2.0, 0.0
		for range n {
			r, _ := in.draw(d)
			sum += r.Polytropic
			lo, hi = min(lo, r.Polytropic), max(hi, r.Polytropic)
		}
		width := min(in.Spread.PolytropicMax, 1.4-typed, typed-1)
		// The mean of an even distribution is off by width/sqrt(3 n).
		if off := math.Abs(sum/n - typed); off > 4*width/math.Sqrt(3*n)+1e-12 {
			t.Errorf("exponent %g: the mean of the draws is %.5f", typed, sum/n)
		}
		if lo < typed-width-1e-12 || hi > typed+width+1e-12 || hi > 1.4 || lo < 1 {
			t.Errorf("exponent %g: drawn from %.4f to %.4f", typed, lo, hi)
		}
	}
}
