package ensemble

import (
	"errors"
	"math"
	"math/rand/v2"

	"padlark/flight"
)

// drawPlan makes all random choices of a flight and flies it into the path.
func drawPlan(spec Spec, seed, index uint64, path *truePath) (*plan, error) {
	p, guess := drawSetup(spec, seed, index)
	if err := p.drawCraft(spec, path); err != nil {
		return nil, err
	}
	p.arrange(path, guess)
	return p, nil
}

// drawSetup makes all choices but that of the craft. Guess is how well the
// builder knows the rocket, 0 to 1.
func drawSetup(spec Spec, seed, index uint64) (p *plan, guess float64) {
	rng := stream(seed, index, forShape)
	p = &plan{name: spec.Name, seed: seed, index: index, cutS: spec.CutS}
	p.site, p.air = drawSite(spec, rng)
	p.liftoff = spec.PadS.draw(rng)
	p.afterS = spec.AfterS.draw(rng)
	p.outing = drawOuting(spec, rng)
	p.sinkMps = spec.SinkMps.draw(rng)
	p.tiltDeg = spec.TiltDeg.drawSigned(rng)
	p.board = drawBoard(spec, rng)
	p.power = drawPower(rng)
	p.radio = drawRadio(spec, rng)
	p.sensor = drawSensor(spec, p.air, rng)
	solid := rng.Float64() < spec.SolidShare
	p.rocket = flight.Rocket{
		Name: p.board.rocket, Kind: "water", Cell: "lipo-1s", Release: "servo", ReleaseDelayS: 1,
		ReleaseRestUs: p.board.restUs, ReleaseOpenUs: p.board.openUs, ReleaseMinUs: 800, ReleaseMaxUs: 2200,
		ParachuteCd: chuteCd, RateHz: p.board.rate,
	}
	if solid {
		p.rocket.Kind = "solid"
	}
	guess = rng.Float64()
	p.roughen(spec)
	p.gainsay(spec)
	return p, guess
}

// chuteCd is the drag coefficient of a flat circular parachute on its nominal
// area (Knacke, NWC TP 6575, table 5-1: 0.75 to 0.80; from memory); the drawn world's
// own, as in air.go.
const chuteCd = 0.75

// arrange sets what depends on when things happened in the flight: servo,
// bump, and what the builder expects. Guess is from 0 to 1.
func (p *plan) arrange(path *truePath, guess float64) {
	p.board.servoAt, p.board.closeAt = math.Inf(1), math.Inf(1)
	if !math.IsNaN(path.marks.release) {
		p.board.servoAt = p.liftoff + path.marks.release
		p.board.closeAt = p.liftoff + path.marks.touchdown + 4
	}
	// A board arms its rule once it has seen the liftoff.
	p.board.armAt = p.liftoff + p.board.armS
	for i := range p.sensor.bumps {
		p.sensor.bumps[i].from = p.board.servoAt + 0.05
	}
	if p.hard != nil {
		p.arrangeSwing(path)
	}
	if guess >= 0 && (p.hard == nil || p.hard.described) {
		off := 0.85 + 0.3*guess
		p.rocket.ExpectApogeeM = round(path.marks.apogeeM*off, 1)
		p.rocket.ExpectApogeeS = round(path.marks.apogee*math.Sqrt(off), 0.1)
	}
}

func drawSite(spec Spec, rng *rand.Rand) (flight.Site, air) {
	elevation := round(spec.ElevationM.draw(rng), 1)
	c := spec.PadC.draw(rng)
	told := round(c+spec.TempErrorK.drawSigned(rng), 0.1)
	lat, lon := 45.0, 6.0
	weather := 800 * rng.NormFloat64() // Pa, day to day (common practice, no source)
	a := air{padPa: standardPa(elevation) + min(max(weather, -2500), 2500), padK: c + zeroC}
	if spec.PadPa.Lo > 0 {
		a.padPa = spec.PadPa.draw(rng)
	}
	return flight.Site{
		ElevationM: &elevation, TemperatureC: &told, LatitudeDeg: &lat, LongitudeDeg: &lon,
		FieldRadiusM: 250, WindMps: round(spec.WindMps.draw(rng), 0.1),
	}, a
}

func drawOuting(spec Spec, rng *rand.Rand) outing {
	u := rng.Float64()
	lag, late, early := spec.ReleaseLagS.draw(rng), spec.LateS.draw(rng), spec.EarlyS.draw(rng)
	switch {
	case u < spec.NoneShare:
		return never()
	case u < spec.NoneShare+spec.LateShare:
		return after(late)
	case u < spec.NoneShare+spec.LateShare+spec.EarlyShare:
		return after(-early)
	}
	return after(lag)
}

func drawBoard(spec Spec, rng *rand.Rand) board {
	rate := pick(rng, spec.RateHz)
	return board{
		rocket: "Teal", rate: rate, phase: rng.Float64() / rate, boot: 1,
		jitter: spec.JitterS.draw(rng), stamp: spec.StampS.draw(rng),
		skew: spec.SkewPpm.draw(rng) * 1e-6, clock0: 0.5 + 20*rng.Float64(),
		restUs: 1000, openUs: 1900, servoAt: math.Inf(1), closeAt: math.Inf(1), walkFrom: math.Inf(1),
		armS: 0.15 + 0.5*rng.Float64(),
	}
}

func drawPower(rng *rand.Rand) power {
	return power{
		volts: 3.85 + 0.33*rng.Float64(), fallVph: 0.02 + 0.05*rng.Float64(),
		sagV: 0.05 + 0.13*rng.Float64(), recoverS: 0.3 + 0.5*rng.Float64(),
		stallFrom: math.Inf(1), dropFrom: math.Inf(1),
	}
}

func drawRadio(spec Spec, rng *rand.Rand) radio {
	return radio{
		loss: spec.Loss.draw(rng), burst: spec.BurstFrames.draw(rng),
		latency: spec.LatencyS.draw(rng), spread: 0.002, rssi: -45 - 25*rng.Float64(),
		weakFrom: math.Inf(1),
	}
}

func drawSensor(spec Spec, a air, rng *rand.Rand) sensor {
	k := a.paPerM()
	s := sensor{
		noisePa: spec.NoiseM.drawLog(rng) * k, driftPa: spec.DriftM.draw(rng) * k,
		driftTau: spec.DriftTauS.draw(rng), gustPa: spec.GustPa.draw(rng), airGust: spec.AirGust.draw(rng),
		portCp: spec.PortCp.drawSigned(rng), warmK: spec.WarmK.draw(rng), warmTau: 60 + 240*rng.Float64(),
		warmPaK: spec.WarmPaPerK.drawSigned(rng), stepPa: pick(rng, spec.StepPa),
		biasPa: 50 * rng.NormFloat64(), outlierP: spec.OutliersPer1000.draw(rng) / 1000,
		outlierPa: Range{spec.OutlierM.Lo * k, spec.OutlierM.Hi * k},
		change:    noChange(),
		accel:     rng.Float64() < spec.AccelShare, accelNoise: 0.1 + 0.3*rng.Float64(),
		accelBias: 0.3 * rng.NormFloat64(), accelLimit: 16 * g0,
	}
	if spec.PairM > 0 {
		s.pairPa, s.pairBiasPa = spec.PairM*k, 80
	}
	if b := spec.BumpM.drawSigned(rng) * k; b != 0 {
		s.bumps = append(s.bumps, bump{lenS: 0.06 + 0.1*rng.Float64(), pa: b, shape: decay})
	}
	return s
}

// errNoCraft says that no rocket was found for a spec.
var errNoCraft = errors.New("no rocket reaches an apogee in the range within 40 tries: widen the apogees, or give another mass or diameter")

// drawCraft draws a rocket whose apogee is in the spec's range and flies the
// outing with it.
func (p *plan) drawCraft(spec Spec, path *truePath) error {
	rng := stream(p.seed, p.index, forMotion)
	want := spec.WaterM
	if p.rocket.Kind == "solid" {
		want = spec.SolidM
	}
	aim := want.drawLog(rng)
	slack := Range{min(want.Lo, aim*0.98), max(want.Hi, aim*1.02)}
	push := 1.0
	b := drawBody(p, spec, aim, rng)
	usual := p.outing
	odd := math.IsNaN(usual.lag) || usual.lag < 0
	if odd {
		usual = after(0) // to meet the range as the flight would have gone
	}
	for range 40 {
		p.craft = b.craft(p, spec, push)
		err := p.craft.fly(usual, path)
		got := path.marks.apogeeM
		if err != nil || math.IsNaN(path.marks.touchdown) {
			got = aim / 2
		} else if got >= slack.Lo && got <= slack.Hi {
			b.describe(p)
			if !odd {
				p.finish(path)
				return nil
			}
			return p.fly(path)
		}
		push *= math.Pow(aim/got, 0.6)
	}
	return errNoCraft
}
