package predict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"padlark/flight/model"
)

// Run predicts. It returns ErrNoRating or an *OverRating when it must not, and
// an error that names the quantity when the input is out of range or the rocket
// as typed does not fly.
func Run(in Input) (*Result, error) {
	if err := in.prepare(); err != nil {
		return nil, fmt.Errorf("predict: %w", err)
	}
	typed, err := model.Fly(in.Rocket, in.Launch)
	if err != nil {
		return nil, fmt.Errorf("predict: %w", err)
	}
	t := newTally(&in, typed.Duration())
	d := dice{rand.New(rand.NewPCG(in.Seed, 0x9e3779b97f4a7c15))}
	for range in.Flights {
		r, l := in.draw(d)
		if err := t.fly(r, l); err != nil {
			t.grounded++
			t.why = err
		}
	}
	if t.grounded > in.Flights/2 {
		return nil, fmt.Errorf("predict: %d of %d drawn flights fail, the last: %w", t.grounded, in.Flights, t.why)
	}
	return t.result(&in, &typed), nil
}

// tally collects what the flights did.
type tally struct {
	grounded int
	why      error

	apogee, toApogee, speed, accel, rail, waterOut, burnout []float64
	release, sink, descent, duration, drift                 []float64
	fallSpeed, fallDrift, fallEnergy, fallEnd               []float64

	step float64
	band [][]float64 // heights by point of time
}

func newTally(in *Input, typed float64) *tally {
	t := &tally{band: make([][]float64, in.Points)}
	// Some flights last longer than the one as typed; a quarter more shows them.
	t.step = 1.25 * typed / float64(in.Points-1)
	for i := range t.band {
		t.band[i] = make([]float64, 0, in.Flights)
	}
	return t
}

// fly flies one draw with the parachute and without.
func (t *tally) fly(r model.Rocket, l model.Launch) error {
	tr, err := model.Fly(r, l)
	if err != nil {
		return err
	}
	free := tr
	if tr.Marks.Release.Seen {
		bare := r
		bare.Release = model.Release{}
		if free, err = model.Fly(bare, l); err != nil {
			return err
		}
	}
	m := tr.Marks
	add := func(to *[]float64, k model.Mark, v float64) {
		if k.Seen {
			*to = append(*to, v)
		}
	}
	add(&t.apogee, m.Apogee, m.Apogee.Height)
	add(&t.toApogee, m.Apogee, m.Apogee.T)
	t.speed = append(t.speed, tr.MaxSpeed)
	t.accel = append(t.accel, tr.MaxPush)
	add(&t.rail, m.RailExit, math.Hypot(m.RailExit.Speed, m.RailExit.Sweep))
	add(&t.waterOut, m.WaterOut, m.WaterOut.T)
	add(&t.burnout, m.Burnout, m.Burnout.T)
	add(&t.release, m.Release, m.Release.T)
	add(&t.sink, m.Release, -m.Touchdown.Speed)
	t.descent = append(t.descent, m.Touchdown.T-m.Apogee.T)
	t.duration = append(t.duration, m.Touchdown.T)
	t.drift = append(t.drift, math.Abs(m.Touchdown.Drift))

	f := free.Marks.Touchdown
	t.fallSpeed = append(t.fallSpeed, math.Hypot(f.Speed, f.Sweep))
	t.fallDrift = append(t.fallDrift, math.Abs(f.Drift))
	t.fallEnergy = append(t.fallEnergy, f.Mass*(f.Speed*f.Speed+f.Sweep*f.Sweep)/2)
	t.fallEnd = append(t.fallEnd, f.T)
	for i := range t.band {
		t.band[i] = append(t.band[i], tr.At(float64(i)*t.step).Height)
	}
	return nil
}

// result sums up. It sorts the tally's values.
func (t *tally) result(in *Input, typed *model.Trajectory) *Result {
	res := &Result{
		Flights: in.Flights, Seed: in.Seed, Grounded: t.grounded,
		ApogeeM: quantity(t.apogee), TimeToApogeeS: quantity(t.toApogee),
		MaxSpeedMps: quantity(t.speed), MaxAccelMps2: quantity(t.accel),
		RailExitMps: quantity(t.rail), WaterOutS: quantity(t.waterOut), BurnoutS: quantity(t.burnout),
		ReleaseS: quantity(t.release), DescentMps: quantity(t.sink), DescentS: quantity(t.descent),
		DurationS: quantity(t.duration), DriftM: quantity(t.drift),
		BallisticMps: quantity(t.fallSpeed), BallisticDriftM: quantity(t.fallDrift),
		BallisticEnergyJ: quantity(t.fallEnergy),
		Warnings:         []string{},
	}
	res.Timer = Timer{
		ExpectedS: res.TimeToApogeeS.Mean, SpreadS: res.TimeToApogeeS.SD,
		LatestS: slices.Max(t.toApogee), GroundS: slices.Min(t.fallEnd),
	}
	for i, heights := range t.band {
		slices.Sort(heights)
		res.Band = append(res.Band, Band{
			T: float64(i) * t.step, Low: quantile(heights, 0.05), Mid: quantile(heights, 0.5), High: quantile(heights, 0.95),
		})
	}
	t.judge(in, typed, res)
	return res
}
