package ensemble

// Spec says from which ranges flights are drawn. Units are in the names;
// noises that are given in metres are put on the pressure, by the weight of
// the air at the pad.
type Spec struct {
	Name string

	// SolidShare of the flights are small solid rockets, the others water
	// rockets, each with an apogee in its range, m above the pad.
	SolidShare float64
	WaterM     Range
	SolidM     Range
	// MassKg, DiameterM and Cd, where above zero, are those of the rocket at
	// landing; zero draws what suits the kind and the apogee.
	MassKg, DiameterM, Cd Range
	// Parametric takes the boost from a simple closed form and not from
	// flight/model: about five times faster, for very long runs.
	Parametric bool

	PadS   Range // from the first sample to liftoff
	AfterS Range // from touchdown to the last sample
	// CutS, if above 0, ends the samples that long after the release, to
	// leave out the descent where it is not looked at.
	CutS float64

	TiltDeg    Range // of the rail from the vertical
	WindMps    Range
	ElevationM Range
	PadC       Range // air temperature at the pad
	// PadPa is the true pressure at the pad. Zero draws it from the standard
	// pressure at the elevation and the weather.
	PadPa Range
	// TempErrorK is by how much the temperature that the site is told differs
	// from the true one.
	TempErrorK Range

	// ReleaseLagS is from apogee to the release. LateShare of the flights
	// release LateS after apogee, EarlyShare EarlyS before it, NoneShare never.
	ReleaseLagS                      Range
	LateShare, EarlyShare, NoneShare float64
	LateS, EarlyS                    Range
	SinkMps                          Range // under the parachute

	RateHz    []float64
	JitterS   Range // rms of the sampling moments about their grid
	StampS    Range // rms error of the sample's time stamp
	LatencyS  Range // from measuring to the last byte
	SkewPpm   Range // of the board's clock
	NoiseM    Range // white, rms
	DriftM    Range // slow wander, rms
	DriftTauS Range // its correlation time
	GustPa    Range // of the wind at the pad and under the parachute, rms
	// AirGust is the part of GustPa that shows between liftoff and release. A
	// vent sees the wind that blows past a standing rocket; in free flight the
	// rocket moves with what turns it.
	AirGust Range
	// PortCp is the pressure error of the vent in parts of the dynamic
	// pressure, with either sign.
	PortCp     Range
	BumpM      Range // pressure pulse at the release, either sign
	WarmK      Range // by which the sensor warms up
	WarmPaPerK Range // error that the warming makes, either sign
	StepPa     []float64
	// OutliersPer1000 samples are off by OutlierM, either sign.
	OutliersPer1000 Range
	OutlierM        Range
	Loss            Range // fraction of the frames
	BurstFrames     Range // mean length of a loss
	AccelShare      float64
	PairM           float64 // white noise of a second barometer in the same bay, rms; 0 for none

	// Hard, if set, adds what the rough world has beside all this, and Contrary to
	// that what contradicts the others.
	Hard     *Hardship
	Contrary *Contrariness
}

// common is what all standard specs share.
func common() Spec {
	return Spec{
		WaterM: Range{10, 200}, SolidM: Range{100, 1500},
		PadS: Range{8, 20}, AfterS: Range{6, 10},
		TiltDeg: Range{0, 8}, WindMps: Range{0, 5},
		ElevationM: Range{0, 500}, PadC: Range{5, 30},
		ReleaseLagS: Range{0, 0.5}, LateS: Range{2, 4}, EarlyS: Range{0.3, 1.5},
		SinkMps: Range{3, 6.5},
		RateHz:  []float64{50}, LatencyS: Range{0.004, 0.03}, SkewPpm: Range{-40, 40},
		NoiseM: Fixed(0.25), DriftM: Range{0, 0.3}, DriftTauS: Range{20, 120},
		GustPa: Range{0, 3}, AirGust: Fixed(0.1), BumpM: Range{0, 8}, StepPa: []float64{0.1},
		OutlierM: Range{10, 300}, BurstFrames: Fixed(1),
	}
}

// Nominal50 is the good case: 50 Hz, 0.25 m, nothing lost, water rockets of 10
// to 200 m that release on time.
func Nominal50() Spec {
	s := common()
	s.Name = "nominal50"
	return s
}

// Slow10 is the poor radio: 10 Hz, 0.5 m, 10 % lost in bursts.
func Slow10() Spec {
	s := common()
	s.Name = "slow10"
	s.RateHz = []float64{10}
	s.NoiseM = Fixed(0.5)
	s.Loss = Fixed(0.10)
	s.BurstFrames = Range{1, 3}
	return s
}

// Wide is everything at once: both kinds of rocket, all rates, noise up to
// 1 m, up to 30 % lost in bursts, tilts, gusts, late, early and no release,
// cold, hot and high sites, coarse steps, outliers, a warming sensor.
func Wide() Spec {
	s := common()
	s.Name = "wide"
	s.SolidShare = 0.25
	s.PadS, s.AfterS = Range{5, 30}, Range{5, 15}
	s.TiltDeg, s.WindMps = Range{0, 25}, Range{0, 9}
	s.ElevationM, s.PadC = Range{-50, 3000}, Range{-20, 42}
	s.TempErrorK = Range{0, 2}
	s.ReleaseLagS = Range{0, 1}
	s.LateShare, s.EarlyShare, s.NoneShare = 0.05, 0.05, 0.03
	s.SinkMps = Range{2, 9}
	s.RateHz = []float64{10, 20, 50, 100}
	s.JitterS, s.StampS = Range{0, 0.002}, Range{0, 0.001}
	s.LatencyS = Range{0.004, 0.12}
	s.NoiseM = Range{0.1, 1}
	s.DriftM, s.GustPa = Range{0, 1}, Range{0, 12}
	s.PortCp, s.BumpM = Range{0, 0.03}, Range{0, 30}
	s.WarmK, s.WarmPaPerK = Range{0, 8}, Range{0, 2}
	s.StepPa = []float64{0.1, 1, 2, 10}
	s.OutliersPer1000 = Range{0, 3}
	s.Loss, s.BurstFrames = Range{0, 0.3}, Range{1, 6}
	s.AccelShare = 0.4
	return s
}

// Short is Nominal50 cut for long runs that look only at liftoff and apogee:
// parametric, a short wait, no descent.
func Short() Spec {
	s := Nominal50()
	s.Name = "short"
	s.Parametric = true
	s.PadS = Range{3, 5}
	s.CutS = 2
	return s
}
