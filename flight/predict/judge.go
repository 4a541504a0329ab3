package predict

import (
	"fmt"
	"math"
	"sort"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/model"
	"padlark/flight/phrase"
)

// Limits of common practice; no source. They only choose words.
const (
	sinkFast   = 6.0 // m/s: hard on the rocket and on what it hits
	sinkSlow   = 2.0 // m/s: drifts far
	windPerOut = 4.0 // the rocket should leave the rail at this many times the wind
)

// findings are what speaks against a launch: bad makes the verdict bad, look
// asks for a second look.
type findings struct{ bad, look []phrase.Phrase }

func (f *findings) badly(p phrase.Phrase) { f.bad = append(f.bad, p) }
func (f *findings) looks(p phrase.Phrase) { f.look = append(f.look, p) }

// judge adds field, parachute, warnings, cautions and the verdict.
func (t *tally) judge(in *Input, typed *model.Trajectory, res *Result) {
	var f findings
	t.judgeField(in, res, &f)
	t.judgeCanopy(in, typed, res, &f)
	t.judgeRest(in, typed, res, &f)
	res.Cautions = cautions(in.Rocket.Motor != nil)
	res.Warnings = []string{}
	for _, p := range append(f.bad, f.look...) {
		res.Warnings = append(res.Warnings, phrase.Reader{}.Write(p, ""))
	}
	switch {
	case len(f.bad) > 0:
		res.Level, res.Reason = flight.Bad, f.bad[0]
	case len(f.look) > 0:
		res.Level, res.Reason = flight.Look, f.look[0]
	default:
		res.Level, res.Reason = flight.Good, phrase.Of("predict.well")
	}
	res.Verdict = phrase.Reader{}.Write(res.Level.Say(res.Reason), "")
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
		f.looks(phrase.Of("predict.no-radius", phrase.Qty("need", res.Field.NeedM, 0, "m")))
		return
	}
	radius := in.FieldRadius
	out, fallOut := outside(t.drift, radius), outside(t.fallDrift, radius)
	fits := res.Field.NeedM <= radius
	res.Field.RadiusM, res.Field.BigEnough = &radius, &fits
	res.Field.OutsidePart, res.Field.BallisticOutsidePart = &out, &fallOut
	if fits {
		if res.Field.StrayM > radius {
			f.looks(phrase.Of("predict.stray", phrase.Qty("far", res.Field.StrayM, 0, "m"), phrase.Qty("radius", radius, 0, "m")))
		}
		return
	}
	f.badly(phrase.Of("predict.field-small", phrase.Qty("radius", radius, 0, "m"), phrase.Qty("need", res.Field.NeedM, 0, "m"),
		phrase.Qty("out", 100*out, 0, "%"), phrase.Qty("fall", 100*fallOut, 0, "%")))
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
		f.looks(phrase.Of("predict.no-parachute", phrase.Qty("speed", res.BallisticMps.Mean, 0, "m/s"), phrase.Qty("energy", res.BallisticEnergyJ.Mean, 0, "J")))
		return
	}
	missed := 1 - float64(len(t.release))/float64(len(t.duration))
	if missed > 0 {
		f.badly(phrase.Of("predict.late", phrase.Qty("part", 100*missed, 0, "%")))
	}
	if res.DescentMps == nil {
		return
	}
	ok := res.DescentMps.High <= sinkFast
	res.Canopy.SinkOK = &ok
	if !ok {
		f.looks(phrase.Of("predict.parachute-small", phrase.Qty("sink", res.DescentMps.Mean, 1, "m/s"), phrase.Qty("most", res.DescentMps.High, 1, "m/s"),
			phrase.Qty("want", res.Canopy.ForFiveM, 2, "m"), phrase.Qty("five", 5, 0, "m/s")))
	}
	if res.DescentMps.Low < sinkSlow {
		f.looks(phrase.Of("predict.parachute-large", phrase.Qty("sink", res.DescentMps.Mean, 1, "m/s"), phrase.Qty("time", res.DescentS.Mean, 0, "s")))
	}
}

func (t *tally) judgeRest(in *Input, typed *model.Trajectory, res *Result, f *findings) {
	if t.grounded > 0 {
		f.looks(phrase.Of("predict.grounded", phrase.Qty("n", float64(t.grounded), 0, ""), phrase.Qty("all", float64(in.Flights), 0, ""), phrase.Word("why", fmt.Sprint(t.why))))
	}
	if in.Rocket.Motor == nil {
		if high := in.Launch.Gauge * (1 + 2*in.Spread.GaugePart); high > in.Rating {
			f.looks(phrase.Of("predict.gauge", phrase.Qty("high", high/1e5, 2, "bar"), phrase.Qty("rating", in.Rating/1e5, 2, "bar")))
		}
		spent := typed.Marks.WaterOut.Pressure - typed.Marks.Burnout.Pressure
		if left := typed.Marks.Burnout.Mass - in.Rocket.Dry; spent < 100 && left > 1e-3 {
			f.looks(phrase.Of("predict.water-left", phrase.Qty("left", left*1e3, 0, "g")))
		}
	}
	wind := math.Abs(in.Launch.Wind)
	if res.RailExitMps != nil && res.RailExitMps.Low < windPerOut*wind {
		f.looks(phrase.Of("predict.rail", phrase.Qty("speed", res.RailExitMps.Mean, 0, "m/s"), phrase.Qty("times", windPerOut, 0, ""), phrase.Qty("wind", wind, 1, "m/s")))
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
