package bench

import "math"

// between gives the times and heights of a record from one time to another.
func (b *Bench) between(from, to float64) (t, h []float64) {
	for _, p := range b.rec.points {
		x := b.rec.time(p)
		if v := b.zero.height(p); x >= from && x <= to && !math.IsNaN(v) {
			t, h = append(t, x), append(h, v)
		}
	}
	return t, h
}

// handS is how long a movement by hand may take on either side of the moment
// at which it is half way, in s.
const handS = 1.0

// judgeLift compares the step of the height with the typed one.
func (b *Bench) judgeLift() {
	b.rec.settle()
	g := &b.hand
	back := g.backAt
	if !g.came {
		back = b.now
	}
	bt, bh := b.between(g.upAt-5, g.upAt-handS)
	ut, uh := b.between(g.upAt+handS, back-handS)
	dt, dh := b.between(back+handS, b.now)
	t, h := b.between(0, b.now)
	f := finding(StepLift, "lift", "Lift by a known height").limit("%.2f m within 8 %%", b.plan.LiftM)
	if len(bh) < 5 || len(uh) < 5 {
		f.Level = Look
		b.add(f.words("it was up for %.1f s only, too short to tell", back-g.upAt).mend("Hold it up for 6 s."))
		return
	}
	below, belowSD := plateau(bt, bh)
	up, upSD := plateau(ut, uh)
	if len(dh) >= 5 {
		// The mean of before and after: a drift in between cancels.
		after, afterSD := plateau(dt, dh)
		below, belowSD = (below+after)/2, math.Hypot(belowSD, afterSD)/2
	}
	rise, sd := up-below, math.Hypot(upSD, belowSD)
	off := math.Abs(rise/b.plan.LiftM-1) - 2*sd/b.plan.LiftM
	f = f.number(rise, sd, "m").words("lifted by %.2f m, measured %.2f m (%.0f %%)", b.plan.LiftM, rise, 100*rise/b.plan.LiftM).
		judge(off, 0.08, 0.25)
	switch {
	case rise < 0 && f.Level == Bad:
		f = f.words("lifted by %.2f m, and the height went down by %.2f m", b.plan.LiftM, -rise)
	case sd > 0.15*b.plan.LiftM && f.Level == Good:
		f.Level = Look
		f.Words += ", too noisy to tell"
	}
	b.add(f.mend("Measure the lift again. If it stays, the scale is wrong: unit, calibration words, or a temperature that is far off (0.35 % of height per °C)."))
	tr := thin(Trace{Name: "height while lifted", Unit: "m", T: t, V: h})
	tr.Marks = []Mark{{"up", g.upAt}}
	if g.came {
		tr.Marks = append(tr.Marks, Mark{"back", g.backAt})
	}
	b.report.Traces = append(b.report.Traces, tr)
}
