package tune

import (
	"fmt"
	"math"

	"padlark/decode"
	"padlark/flight/ensemble"
)

// Flight is what a board measured in one flight, with the truth beside it.
type Flight struct {
	Name string
	// Ms is the board's clock, DPa the pressure in dPa, AtS the moment in s
	// since some epoch; all of the same length.
	Ms  []uint32
	DPa []int32
	AtS []float64
	// LiftoffS, ApogeeS and TouchdownS are in s since that epoch; +Inf for a
	// touchdown that nobody saw.
	LiftoffS, ApogeeS, TouchdownS float64
	// ApogeeM is the height above the pad in m.
	ApogeeM float64
	// ReleasedS is when the board that flew really released, +Inf if it did
	// not: after that the flight is no longer the one that another rule would
	// have seen.
	ReleasedS float64
	// At gives height in m above the pad and speed in m/s, up positive, at a
	// moment in s since the epoch.
	At func(s float64) (heightM, speedMps float64)
	// Solid says that it is of a solid rocket, not of a water rocket.
	Solid bool
	// Filled is the part of the readings that were lost on the way to the
	// station and are filled in, 0 to 1.
	Filled float64
}

// FromEnsemble makes a Flight of a drawn one, in memory that is used again.
// The drawn flight must stay as it is while dst is in use. Its samples should
// be those of the board, nothing lost: see onBoard.
func FromEnsemble(dst *Flight, f *ensemble.Flight) {
	dst.Name = fmt.Sprintf("%s %d", f.Name, f.Index)
	dst.Ms, dst.DPa, dst.AtS = dst.Ms[:0], dst.DPa[:0], dst.AtS[:0]
	for i := range f.Samples {
		s := &f.Samples[i]
		p, ok := s.Values.Get(decode.PressurePa)
		if !ok {
			continue
		}
		dst.add(f.S(s.At), s.Clock, p)
	}
	t := &f.Truth
	dst.Solid = f.Setup.Solid
	dst.LiftoffS, dst.ApogeeS, dst.TouchdownS = t.LiftoffS, t.ApogeeS, t.TouchdownS
	if math.IsNaN(dst.TouchdownS) {
		dst.TouchdownS = math.Inf(1)
	}
	dst.ApogeeM, dst.ReleasedS, dst.Filled = t.ApogeeM, math.Inf(1), 0
	dst.At = func(s float64) (float64, float64) {
		q := t.At(s)
		return q.Height, q.Speed
	}
}

// add appends a reading: moment in s, board's clock in us, pressure in Pa.
func (f *Flight) add(at float64, clockUs int64, pa float64) {
	f.AtS = append(f.AtS, at)
	f.Ms = append(f.Ms, uint32(clockUs/1000)) // the board's own counter wraps too
	f.DPa = append(f.DPa, dPa(pa))
}

// dPa is a pressure in Pa as a board holds it.
func dPa(pa float64) int32 { return int32(math.Round(min(max(pa, 0), 2e8) * 10)) }

// onBoard is a spec as a board sees it: every reading, no radio in between,
// and nothing released, so that each rule meets the flight as it would have
// gone on. It begins some seconds before liftoff and ends at the ground.
func onBoard(spec ensemble.Spec) ensemble.Spec {
	spec.Loss = ensemble.Fixed(0)
	spec.LateShare, spec.EarlyShare, spec.NoneShare = 0, 0, 1
	spec.BumpM = ensemble.Fixed(0)
	spec.PadS = ensemble.Range{Lo: 3, Hi: 6}
	spec.AfterS = ensemble.Fixed(0.2)
	spec.CutS = 0
	return spec
}

// usual is the ensemble where nothing is known of the board: water rockets of
// 20 to 120 m (small solid rockets, where they are asked for, 50 to 500 m), 50 readings a second, noise of 0.1 to 0.4 m, steps of 1 Pa, a
// vent that errs by up to 3 % of the dynamic pressure, wind. Common practice,
// no source.
func usual() ensemble.Spec {
	s := onBoard(ensemble.Nominal50())
	s.Name = "usual"
	s.Parametric = true
	s.WaterM = ensemble.Range{Lo: 20, Hi: 120}
	s.SolidM = ensemble.Range{Lo: 50, Hi: 500}
	s.NoiseM = ensemble.Range{Lo: 0.1, Hi: 0.4}
	s.JitterS = ensemble.Range{Lo: 0, Hi: 0.001}
	s.StepPa = []float64{1}
	s.PortCp = ensemble.Range{Lo: 0, Hi: 0.03}
	return s
}

// Poor is a coarse and noisy board: 20 readings a second, noise of 0.4 to 1 m,
// steps of 3 Pa, lone readings that are far off.
func Poor() ensemble.Spec {
	s := usual()
	s.Name = "poor"
	s.RateHz = []float64{20}
	s.NoiseM = ensemble.Range{Lo: 0.4, Hi: 1}
	s.StepPa = []float64{3}
	s.GustPa = ensemble.Range{Lo: 0, Hi: 8}
	s.JitterS = ensemble.Range{Lo: 0, Hi: 0.003}
	s.OutliersPer1000 = ensemble.Range{Lo: 0, Hi: 1}
	return s
}

// apogees are the lowest and the highest of a spec, in m above the pad.
func apogees(s ensemble.Spec) ensemble.Range {
	switch {
	case s.SolidShare >= 1:
		return s.SolidM
	case s.SolidShare <= 0:
		return s.WaterM
	}
	return ensemble.Range{Lo: min(s.WaterM.Lo, s.SolidM.Lo), Hi: max(s.WaterM.Hi, s.SolidM.Hi)}
}

// broad is the ensemble's wide spec with water rockets (others where they are asked for), as a board sees
// it: every rate, noise, site and wind.
func broad() ensemble.Spec {
	s := onBoard(ensemble.Wide())
	s.Name = "wide"
	s.Parametric, s.SolidShare, s.AccelShare = true, 0, 0
	s.SkewPpm = ensemble.Range{Lo: -40, Hi: 40}
	return s
}
