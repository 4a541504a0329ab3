package ensemble

import (
	"math"
	"math/rand/v2"

	"padlark/flight"
)

// Hardship says from which ranges the things are drawn that real boards and
// parachutes do and that the other specs leave out. Its flights have a physics
// of their own (see roughCraft): the estimators do not share its models of
// swing, vent and opening.
type Hardship struct {
	// Swing of what hangs under the canopy, as an error of the pressure. It
	// grows after the opening with the time constant SwingGrowS.
	SwingPa, SwingHz, SwingGrowS Range
	// PortCp is the pressure error of the vent in parts of the dynamic
	// pressure, either sign, PortLagS the time constant of the bay behind it.
	PortCp, PortLagS Range
	// OutS is from the command until the canopy meets the air. It fills over so
	// many of its diameters, to more than its area for a moment, and breathes.
	OutS, FillDiameters, Overshoot, Breathe Range
	// TumbleTimes is by how much the body's drag area grows when it falls
	// without a canopy and does not stay nose down; it takes TumbleS.
	TumbleTimes, TumbleS Range
	UpdraftMps           Range // rms of the vertical wind

	// TwoStageShare have a first canopy for FirstMps and, at SecondM above the
	// pad, the one for SinkMps. SnagShare keep theirs caught for SnagS first.
	TwoStageShare, SnagShare float64
	FirstMps, SecondM, SnagS Range

	// UntoldShare of the boards send clock and pressure only, AltitudeShare of
	// these metres, rounded to one of AltStepM. UndescribedShare of the rockets
	// have nothing but a name, NoTempShare of the sites no temperature.
	UntoldShare, AltitudeShare, UndescribedShare, NoTempShare float64
	AltStepM                                                  []float64
	// AxesShare send three axes of an accelerometer mounted anyhow, that stops
	// at AccelG; GPSShare a satellite receiver.
	AxesShare, GPSShare float64
	AccelG              []float64
}

// Rough is the world that disagrees: healthy flights whose release comes within
// a second of the apogee, with swing, vent errors, odd openings and poor boards.
func Rough() Spec {
	s := common()
	s.Name = "rough"
	s.SolidShare = 0.3
	s.WaterM, s.SolidM = Range{20, 250}, Range{100, 2500}
	s.PadS, s.AfterS = Range{6, 25}, Range{8, 20}
	s.TiltDeg, s.WindMps = Range{0, 20}, Range{0, 8}
	s.ElevationM, s.PadC = Range{-50, 2500}, Range{-5, 35}
	s.TempErrorK = Range{0, 2}
	s.ReleaseLagS = Range{0, 0.9}
	s.SinkMps = Range{2.5, 9}
	s.RateHz = []float64{5, 10, 15, 25, 50, 100}
	s.JitterS, s.StampS, s.LatencyS = Range{0, 0.003}, Range{0, 0.001}, Range{0.004, 0.12}
	s.NoiseM, s.DriftM, s.GustPa = Range{0.1, 0.8}, Range{0, 0.8}, Range{0, 8}
	s.AirGust = Range{0.1, 0.4}
	s.BumpM, s.StepPa = Range{0, 25}, []float64{0.1, 1, 4, 12}
	s.OutliersPer1000, s.Loss, s.BurstFrames = Range{0, 2}, Range{0, 0.15}, Range{1, 4}
	s.Hard = &Hardship{
		SwingPa: Range{1, 10}, SwingHz: Range{0.5, 1.5}, SwingGrowS: Range{0.5, 5},
		PortCp: Range{0, 0.3}, PortLagS: Range{0, 0.12},
		OutS: Range{0.05, 0.35}, FillDiameters: Range{3, 9}, Overshoot: Range{0, 0.6}, Breathe: Range{0, 0.2},
		TumbleTimes: Range{1, 2.5}, TumbleS: Range{0.8, 2.5}, UpdraftMps: Range{0, 0.5},
		TwoStageShare: 0.35, FirstMps: Range{9, 20}, SecondM: Range{40, 120}, SnagS: Range{1, 3},
		UntoldShare: 0.4, AltitudeShare: 0.3, UndescribedShare: 0.4, NoTempShare: 0.5, AltStepM: []float64{0.01, 0.1, 1},
		AxesShare: 0.3, GPSShare: 0.3, AccelG: []float64{4, 8, 16},
	}
	return s
}

// hard is what was drawn of a Hardship.
type hard struct {
	swing                          swing
	outS, fillD, over, breathe     float64
	breatheHz, breathePhase        float64
	tumble, tumbleS                float64
	updraft                        float64
	wave                           [3]wave
	firstMps, secondM              float64 // 0: one canopy only
	snagS, snagPart                float64
	described, told, metres, noTmp bool
	contrary                       contrary
}

// wave is one part of the vertical wind.
type wave struct{ hz, phase float64 }

// roughen draws the hardships and lays them over a plan whose ordinary choices
// are made.
func (p *plan) roughen(spec Spec) {
	h := spec.Hard
	if h == nil {
		return
	}
	rng := stream(p.seed, p.index, forRough)
	d := &hard{
		swing: drawSwing(h, rng), outS: h.OutS.draw(rng), fillD: h.FillDiameters.draw(rng), over: h.Overshoot.draw(rng),
		breathe: h.Breathe.draw(rng), breatheHz: 0.8 + 2*rng.Float64(), breathePhase: 2 * math.Pi * rng.Float64(),
		tumble: h.TumbleTimes.draw(rng), tumbleS: h.TumbleS.draw(rng), updraft: h.UpdraftMps.draw(rng),
		snagPart: 0.03 + 0.05*rng.Float64(),
	}
	for i := range d.wave {
		d.wave[i] = wave{0.03 + 0.2*rng.Float64(), 2 * math.Pi * rng.Float64()}
	}
	first, second, two := h.FirstMps.draw(rng), h.SecondM.draw(rng), rng.Float64() < h.TwoStageShare
	if two && p.rocket.Kind == "solid" {
		d.firstMps, d.secondM = first, second
	}
	snag, caught := h.SnagS.draw(rng), rng.Float64() < h.SnagShare
	if caught {
		d.snagS = snag
	}
	d.told, d.metres = rng.Float64() >= h.UntoldShare, rng.Float64() < h.AltitudeShare
	d.metres = d.metres && !d.told
	d.described, d.noTmp = rng.Float64() >= h.UndescribedShare, rng.Float64() < h.NoTempShare
	p.hard = d
	p.sensor.portCp, p.sensor.portLag = h.PortCp.drawSigned(rng), h.PortLagS.draw(rng)
	p.sensor.swing = d.swing
	p.drawExtras(h, rng)
	if !d.described {
		p.rocket = p.bareRocket()
	}
	if d.noTmp {
		p.site.TemperatureC = nil
	}
}

// drawExtras draws the board's further channels.
func (p *plan) drawExtras(h *Hardship, rng *rand.Rand) {
	axes, gps := rng.Float64() < h.AxesShare, rng.Float64() < h.GPSShare
	step, limit := pick(rng, h.AltStepM), pick(rng, h.AccelG)
	p.sensor.mount = drawMount(rng)
	p.sensor.accelBias = 0.5 * rng.NormFloat64()
	p.sensor.accelLimit = limit * g0
	p.board.bare = !p.hard.told
	p.sensor.accel = false
	p.board.axes, p.board.gps = axes && p.hard.told, gps && p.hard.told
	p.board.gpsAlt = p.board.gps
	if p.hard.metres {
		p.board.altStepM = step
	}
}

// bareRocket is a rocket of which only the name and the kind are told.
func (p *plan) bareRocket() (r flight.Rocket) {
	r.Name = p.rocket.Name
	if p.rocket.Kind == "solid" {
		r.Kind = "solid"
	}
	return r
}

// swing is an error of the pressure that grows while it hangs under the canopy:
// a pendulum turns the vent to and fro, so that it is no sine.
type swing struct {
	pa, hz, growS, phase, second, walk float64
	from, to                           float64 // s since the epoch
}

func drawSwing(h *Hardship, rng *rand.Rand) swing {
	return swing{
		pa: h.SwingPa.draw(rng), hz: h.SwingHz.draw(rng), growS: h.SwingGrowS.draw(rng), phase: 2 * math.Pi * rng.Float64(),
		second: 0.5 * rng.Float64(), walk: 0.3 + rng.Float64(), from: math.Inf(1), to: math.Inf(1),
	}
}

// at is the swing's pressure at t.
func (s *swing) at(t float64) float64 {
	if !(t > s.from) || t > s.to {
		return 0
	}
	since := t - s.from
	// The pace wanders by a tenth or so: the pendulum turns as well.
	a := 2*math.Pi*s.hz*since + s.phase + s.walk*math.Sin(0.7*since+s.phase)
	grown := s.pa * -math.Expm1(-since/max(s.growS, 0.01))
	beat := 0.7 + 0.3*math.Sin(0.45*since+2*s.phase)
	return grown * beat * (math.Sin(a) + s.second*math.Cos(2*a)) / (1 + s.second)
}

// arrangeSwing lets it swing from the opening to the landing.
func (p *plan) arrangeSwing(path *truePath) {
	p.sensor.swing.from, p.sensor.swing.to = math.Inf(1), math.Inf(1)
	if m := path.marks; !math.IsNaN(m.out) {
		p.sensor.swing.from, p.sensor.swing.to = p.liftoff+m.out, p.liftoff+m.touchdown
	}
}

// mount is how an accelerometer sits in the rocket: the direction of the
// rocket's axis on its own three.
type mount [3]float64

func drawMount(rng *rand.Rand) mount {
	m := mount{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
	// Half of them are screwed down along an axis, a little askew.
	if rng.Uint64()&1 == 0 {
		m = mount{0.05 * m[0], 0.05 * m[1], 0.05 * m[2]}
		k := rng.IntN(3)
		m[k] = 1
		if rng.Uint64()&1 == 0 {
			m[k] = -1
		}
	}
	n := math.Sqrt(m[0]*m[0] + m[1]*m[1] + m[2]*m[2])
	return mount{m[0] / n, m[1] / n, m[2] / n}
}
