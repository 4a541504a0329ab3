package bench

import (
	"math"
	"slices"
	"strconv"
)

// judgeSensor looks at pressure, temperature and the noise of the height.
func (b *Bench) judgeSensor() {
	_, pa := b.rec.column(func(p point) float64 { return p.pa })
	_, alt := b.rec.column(func(p point) float64 { return p.altM })
	switch {
	case len(pa) >= 10:
		h := newHeights(meanOf(pa), b.plan.Site.Kelvin())
		b.zero = &h
		b.add(b.judgePressure(medianOf(pa)))
	case len(alt) >= 10:
		b.zero = &heights{pad: math.NaN()}
		b.add(notDone(StepRest, "pressure", "Pressure", "the board tells only a height"))
	default:
		f := finding(StepRest, "pressure", "Pressure").words("the board tells neither pressure nor height")
		f.Level = Bad
		b.add(f.mend("The barometer was not found, or the layout leaves it out."))
		return
	}
	b.judgeTemperature()
	t, h := b.rec.column(func(p point) float64 { return b.zero.height(p) })
	b.judgeNoise(t, h, pa)
}

// height of a point above the bench, in m; NaN if it tells none.
func (h *heights) height(p point) float64 {
	if math.IsNaN(h.pad) {
		return p.altM
	}
	if math.IsNaN(p.pa) {
		return math.NaN()
	}
	return h.of(p.pa)
}

// judgePressure compares with a station pressure or the standard atmosphere.
// Barometers for this use are right to 1 to 2 hPa (data sheets, from memory);
// the weather moves the pressure by about 30 hPa either way (common practice,
// no source).
func (b *Bench) judgePressure(pa float64) Finding {
	f := finding(StepRest, "pressure", "Pressure").number(pa/100, 0, "hPa")
	want, typed := b.plan.expectedPa()
	mend := "Look at the unit in the layout, the calibration words, and whether the sensor's hole is closed."
	switch {
	case math.IsNaN(want):
		f = f.words("%.1f hPa; no elevation or station pressure is given to compare with", pa/100).limit("600 to 1085 hPa")
		if pa < 60000 || pa > 108500 {
			f.Level = Bad
		}
	case typed:
		f = f.words("%.1f hPa, %+.1f hPa from the other instrument", pa/100, (pa-want)/100).limit("within 2 hPa of %.1f", want/100).
			judge(math.Abs(pa-want), 200, 400)
		mend = "Is the other reading a station pressure, not reduced to sea level? Then the sensor is off: heights are differences and mostly stand, but it may be damaged."
		if math.Abs(pa-want) > 2000 {
			mend = "Look at the unit in the layout and the calibration words; or the typed pressure is one reduced to sea level."
		}
	default:
		f = f.words("%.1f hPa; the standard at this elevation is %.1f hPa", pa/100, want/100).limit("within 35 hPa of the standard").
			judge(math.Abs(pa-want), 3500, 6000)
	}
	return f.mend(mend)
}

// judgeTemperature judges the board's thermometer where there is one.
func (b *Bench) judgeTemperature() {
	_, c := b.rec.column(func(p point) float64 { return p.tempC })
	if len(c) == 0 {
		return
	}
	v := medianOf(c)
	f := finding(StepRest, "temperature", "Temperature on the board").number(v, 0, "°C").limit("-10 to 45 °C").words("%.1f °C", v)
	switch {
	case v < -40 || v > 85:
		f.Level = Bad
	case v < -10 || v > 45:
		f.Level = Look
	}
	if site := b.plan.Site.TemperatureC; site != nil && math.Abs(v-*site) > 20 && f.Level == Good {
		f.Level = Look
		f = f.words("%.1f °C, %+.0f °C from the site's", v, v-*site)
	}
	b.add(f.mend("A barometer that is compensated with a wrong temperature is wrong too: look at the unit, the calibration, and at what heats the board."))
}

// judgeNoise looks at noise, drift, single wild readings, coarse and stuck
// readings of the height h in m; pa is the pressure where there is one.
func (b *Bench) judgeNoise(t, h, pa []float64) {
	raw, perM, unit := pa, 0.0832, "Pa"
	if len(pa) < 10 {
		raw, perM, unit = h, 1, "m"
	}
	step, distinct := resolution(raw)
	if distinct == 1 {
		f := finding(StepRest, "stuck", "Stuck readings").words("all %d readings are the same, %.2f %s", len(raw), raw[0], unit)
		f.Level = Bad
		b.add(f.mend("The sensor is not read again after its start, or its readings are rounded so far that nothing shows: look at its wires and at the read in the firmware's loop."))
		return
	}
	l := fitLine(t, h)
	res := make([]float64, len(h))
	for i := range h {
		res[i] = h[i] - l.value(t[i])
	}
	wild, calm := split(res, 2*step*perM)
	noise := sdOf(calm)
	b.calm.noiseM = noise
	b.add(finding(StepRest, "noise", "Noise of the height").number(noise, noise/math.Sqrt(2*float64(len(calm))), "m").limit("0.5 m rms").
		words("%.2f m rms about a straight line", noise).judge(noise, 0.5, 1).
		mend("Shade and cover the sensor with foam, use its own averaging, and give it a clean supply: an apogee rule must ride over this noise."))
	perMin, sd := 60*l.slope, 60*l.slopeSD
	b.add(finding(StepRest, "drift", "Drift").number(perMin, sd, "m/min").limit("1 m a minute").
		words("the height moves by %+.2f m a minute", perMin).judge(math.Abs(perMin)-2*sd, 1, 3).
		mend("Let it warm up for some minutes, keep it out of sun and draught; weather alone moves 0.1 to 0.3 m a minute."))
	b.add(judgeWild(wild, len(res)), judgeStep(step*perM, step, unit), b.judgeRepeats(raw, step, sdOf(raw)))
	b.report.Traces = append(b.report.Traces, thin(Trace{Name: "height at rest", Unit: "m", T: t, V: h}))
	if dt := b.calm.stepS; dt > 0 {
		if y := even(t, h, dt, 5); len(y) >= 40 {
			b.report.Allan = allan(y, dt)
		}
	}
}

// split takes out single wild readings: those more than 8 robust deviations
// (1.4826 times the median distance) from the middle, and more than least.
func split(res []float64, least float64) (wild, calm []float64) {
	mid := medianOf(res)
	dist := make([]float64, len(res))
	for i, v := range res {
		dist[i] = math.Abs(v - mid)
	}
	limit := max(8*1.4826*medianOf(dist), least)
	for i, v := range res {
		if dist[i] > limit {
			wild = append(wild, v)
		} else {
			calm = append(calm, v)
		}
	}
	return wild, calm
}

func judgeWild(wild []float64, n int) Finding {
	f := finding(StepRest, "wild", "Wild readings").number(float64(len(wild)), 0, "readings").limit("none")
	if len(wild) == 0 {
		return f.words("none among %d", n)
	}
	far := 0.0
	for _, v := range wild {
		far = max(far, math.Abs(v))
	}
	return f.words("%d of %d jump by up to %.0f m", len(wild), n, far).judge(far, 0, 5).
		mend("Light on the sensor, a bad solder joint or a read in the middle of a conversion. One of these at the top of a flight fires a rule that looks at single readings.")
}

// resolution is the smallest difference between different readings, and how
// many different ones there are.
func resolution(v []float64) (step float64, distinct int) {
	s := slices.Clone(v)
	slices.Sort(s)
	step, distinct = math.Inf(1), 1
	for i := 1; i < len(s); i++ {
		// Less than this is rounding of the units.
		if d := s[i] - s[i-1]; d > 1e-6 {
			step = min(step, d)
			distinct++
		}
	}
	return step, distinct
}

func judgeStep(m, raw float64, unit string) Finding {
	return finding(StepRest, "coarse", "Resolution").number(m, 0, "m").limit("0.4 m").
		words("the smallest step is %.3g %s (%.2f m)", raw, unit, m).judge(m, 0.4, 0.9).
		mend("The readings are rounded before they are sent: send more digits, or set the sensor to a finer mode.")
}

// judgeRepeats notices a sensor that is read more seldom than frames are sent.
func (b *Bench) judgeRepeats(raw []float64, step, sd float64) Finding {
	same := 0
	for i := 1; i < len(raw); i++ {
		if math.Abs(raw[i]-raw[i-1]) < 1e-6 {
			same++
		}
	}
	share := float64(same) / float64(len(raw)-1)
	// Two readings of white noise are rounded to the same step with about this
	// chance (exact for steps much smaller than the noise).
	chance := min(1, step/(2*sd*math.SqrtPi))
	f := finding(StepRest, "repeats", "Repeated readings").number(100*share, 0, "%").
		limit("%.0f %% by chance", 100*chance).words("%.0f %% of the readings are those of the frame before", 100*share)
	if share > chance+0.25 && share > 0.4 {
		f.Level = Look
		f.Words += "; each seems to be sent about " + times(1/(1-share)) + " times"
	}
	return f.mend("The sensor is read more seldom than frames are sent: send fewer frames or read it faster. Filters that count samples see each one several times.")
}

func times(x float64) string {
	if math.IsInf(x, 0) || x > 99 {
		return "very many"
	}
	return strconv.Itoa(int(math.Round(x)))
}

// thin keeps at most 600 points of a trace: the lowest and highest of each of
// 300 stretches, in their order.
func thin(tr Trace) Trace {
	const stretches = 300
	if len(tr.T) <= 2*stretches {
		return tr
	}
	out := Trace{Name: tr.Name, Unit: tr.Unit, Marks: tr.Marks}
	for k := range stretches {
		from, to := k*len(tr.T)/stretches, (k+1)*len(tr.T)/stretches
		lo, hi := from, from
		for i := from; i < to; i++ {
			if tr.V[i] < tr.V[lo] {
				lo = i
			}
			if tr.V[i] > tr.V[hi] {
				hi = i
			}
		}
		for _, i := range []int{min(lo, hi), max(lo, hi)} {
			out.T, out.V = append(out.T, tr.T[i]), append(out.V, tr.V[i])
		}
	}
	return out
}
