package predict

import (
	"fmt"
	"math"
	"sort"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/model"
)

// Limits of common practice; no source. They only choose words.
const (
	sinkFast   = 6.0 // m/s: hard on the rocket and on what it hits
	sinkSlow   = 2.0 // m/s: drifts far
	windPerOut = 4.0 // the rocket should leave the rail at this many times the wind
)

// findings are what speaks against a launch: bad makes the verdict bad, look
// asks for a second look.
type findings struct{ bad, look []string }

func (f *findings) badly(format string, args ...any) {
	f.bad = append(f.bad, fmt.Sprintf(format, args...))
}
func (f *findings) looks(format string, args ...any) {
	f.look = append(f.look, fmt.Sprintf(format, args...))
}

// judge adds field, parachute, warnings, cautions and the verdict.
func (t *tally) judge(in *Input, typed *model.Trajectory, res *Result) {
	var f findings
	t.judgeField(in, res, &f)
	t.judgeCanopy(in, typed, res, &f)
	t.judgeRest(in, typed, res, &f)
	res.Cautions = cautions(in.Rocket.Motor != nil)
	res.Warnings = append(append([]string{}, f.bad...), f.look...)
	switch {
	case len(f.bad) > 0:
		res.Verdict = "bad: " + f.bad[0]
	case len(f.look) > 0:
		res.Verdict = "look: " + f.look[0]
	default:
		res.Verdict = "good: nothing in this prediction speaks against the launch"
	}
}

// outside is the part of the sorted values that is above limit.
func outside(sorted []float64, limit float64) float64 {
	i := sort.SearchFloat64s(sorted, limit)
	return float64(len(sorted)-i) / float64(len(sorted))
}

func (t *tally) judgeField(in *Input, res *Result, f *findings) {
	res.Field.NeedM = math.Max(quantile(t.drift, 0.99), quantile(t.fallDrift, 0.99))
	res.Field.StrayM = stray(in)
	if in.FieldRadius == 0 {
		f.looks("no field radius given: 99 of 100 flights come down within %.0f m of the pad; is that ground clear?", res.Field.NeedM)
		return
	}
	radius := in.FieldRadius
	out, fallOut := outside(t.drift, radius), outside(t.fallDrift, radius)
	fits := res.Field.NeedM <= radius
	res.Field.RadiusM, res.Field.BigEnough = &radius, &fits
	res.Field.OutsidePart, res.Field.BallisticOutsidePart = &out, &fallOut
	if fits {
		if res.Field.StrayM > radius {
			f.looks("a rocket that strays reaches %.0f m, beyond the %.0f m of the field: keep people on one side and behind cover",
				res.Field.StrayM, radius)
		}
		return
	}
	f.badly("the field is too small: %.0f m radius, but %.0f m are needed (beyond the edge come down %.0f %% with the parachute, %.0f %% without)",
		radius, res.Field.NeedM, 100*out, 100*fallOut)
}

// stray is the farthest that the rocket as typed comes down without a parachute
// at any tilt up to 60 degrees, with the wind.
func stray(in *Input) float64 {
	r, l := in.Rocket, in.Launch
	r.Release, l.Wind = model.Release{}, math.Abs(l.Wind)
	var far float64
	for deg := 20.0; deg <= 60; deg += 5 {
		l.Tilt = deg * math.Pi / 180
		// A tilt at which it does not fly reaches nobody.
		if tr, err := model.Fly(r, l); err == nil {
			far = math.Max(far, tr.Marks.Touchdown.Drift)
		}
	}
	return far
}

func (t *tally) judgeCanopy(in *Input, typed *model.Trajectory, res *Result, f *findings) {
	mass := typed.Marks.Touchdown.Mass
	virtual := atmos.VirtualTemperature(in.Launch.Air.Temperature, atmos.StandardPressure, in.Launch.Air.Humidity)
	p := in.Launch.Air.Pressure
	if p == 0 {
		p = atmos.At(atmos.Geopotential(in.Launch.Air.Elevation)).Pressure
	}
	cd := in.Rocket.ParachuteCd
	if cd == 0 {
		cd = flight.UsualParachuteCd
	}
	density := p / (atmos.GasConstant * virtual)
	body := in.Rocket.Cd * in.Rocket.Diameter * in.Rocket.Diameter
	res.Canopy.ForFiveM = math.Sqrt(math.Max(8*mass*atmos.StandardGravity/(math.Pi*density*25)-body, 0) / cd)
	if in.Rocket.Parachute == 0 || in.Rocket.Release.How == model.NoRelease {
		f.looks("no parachute is released: the rocket comes down at %.0f m/s with %.0f J", res.BallisticMps.Mean, res.BallisticEnergyJ.Mean)
		return
	}
	missed := 1 - float64(len(t.release))/float64(len(t.duration))
	if missed > 0 {
		f.badly("the release comes too late: in %.0f %% of the flights the rocket is down before it", 100*missed)
	}
	if res.DescentMps == nil {
		return
	}
	ok := res.DescentMps.High <= sinkFast
	res.Canopy.SinkOK = &ok
	if !ok {
		f.looks("the parachute is small: it sinks at %.1f m/s (up to %.1f); %.2f m of diameter would give 5 m/s",
			res.DescentMps.Mean, res.DescentMps.High, res.Canopy.ForFiveM)
	}
	if res.DescentMps.Low < sinkSlow {
		f.looks("the parachute is large: it sinks at %.1f m/s only and drifts for %.0f s", res.DescentMps.Mean, res.DescentS.Mean)
	}
}

func (t *tally) judgeRest(in *Input, typed *model.Trajectory, res *Result, f *findings) {
	if t.grounded > 0 {
		f.looks("%d of %d drawn flights do not fly: %v", t.grounded, in.Flights, t.why)
	}
	if in.Rocket.Motor == nil {
		if high := in.Launch.Gauge * (1 + 2*in.Spread.GaugePart); high > in.Rating {
			f.looks("with the error of the gauge the pressure may be %.2f bar, above the rating of %.2f bar", high/1e5, in.Rating/1e5)
		}
		spent := typed.Marks.WaterOut.Pressure - typed.Marks.Burnout.Pressure
		if left := typed.Marks.Burnout.Mass - in.Rocket.Dry; spent < 100 && left > 1e-3 {
			f.looks("%.0f g of water stay in the bottle: there is not enough air to drive them out", left*1e3)
		}
	}
	wind := math.Abs(in.Launch.Wind)
	if res.RailExitMps != nil && res.RailExitMps.Low < windPerOut*wind {
		f.looks("the rocket leaves the rail at %.0f m/s, less than %.0f times the wind of %.1f m/s: it may turn into the wind, which is not in this model",
			res.RailExitMps.Mean, windPerOut, wind)
	}
}

// cautions are the usual ones; codes and the range safety officer go first.
func cautions(motor bool) []string {
	c := []string{
		"The range safety officer, the club's rules and local law go before this page.",
		"Keep people clear of where a rocket without its parachute can come down, and look up until it is down.",
	}
	if motor {
		return append(c, "Use motors as their maker says; launch from a distance, with the interlock in your pocket.")
	}
	return append(c,
		"A bottle under pressure can burst. Fill and launch from a distance, with eye protection, behind a shield.",
		"Bottles age: cuts, heat, sun, glue and each filling weaken them. Never go near or carry a filled one.")
}
