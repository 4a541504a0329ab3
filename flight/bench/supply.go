package bench

import (
	"fmt"
	"math"

	"padlark/flight/alarm"
)

// judgeSupply looks at the supply at rest.
func (b *Bench) judgeSupply() {
	_, v := b.rec.column(func(p point) float64 { return p.cellV })
	if len(v) == 0 {
		b.add(notDone(StepRest, "cell", "Supply at rest", "the board tells no voltage"))
		return
	}
	mean := medianOf(v)
	b.calm.cellV = mean
	s, known := alarm.SupplyNamed(b.plan.Rocket.Cell)
	f := finding(StepRest, "cell", "Supply at rest").number(mean, 0, "V").words("%.2f V", mean)
	if !known {
		b.add(f.limit("no cell is configured, so it is not judged"))
		return
	}
	f = f.limit("%s: %.2f to %.2f V", s.Name, s.LowV, s.FullV)
	mend := ""
	switch {
	case mean < s.CutoffV/2:
		f.Level, mend = Bad, "No working pack has so little: the divider is not connected or its scale is wrong."
	case mean > 1.05*s.FullV:
		f.Level, mend = Bad, "It is another supply, or the scale of the reading is wrong. A 9 V battery cannot drive a release servo."
	case mean < s.CutoffV:
		f.Level, mend = Bad, "It is flat. Do not charge a lithium cell that was this empty before you have checked it: it may be damaged and can catch fire."
	case mean < s.LowV:
		f.Level, mend = Bad, "Charge or change it before the servo has to move."
	}
	b.add(f.mend(mend))
}

// judgeResting looks at the release while nothing is done.
func (b *Bench) judgeResting() {
	_, us := b.rec.column(func(p point) float64 { return p.pulseUs })
	_, on := b.rec.column(func(p point) float64 { return p.on })
	if len(us) > 0 {
		b.calm.pulseUs = medianOf(us)
	}
	if b.plan.Rocket.Release == "none" || len(us) == 0 && len(on) == 0 {
		return
	}
	f := finding(StepRest, "release-rest", "Release at rest").limit("closed and still")
	if len(us) > 0 {
		rest, spread := b.calm.pulseUs, sdOf(us)
		f = f.number(rest, 0, "us").words("%.0f us, spread %.1f us", rest, spread).judge(spread, 8, 50)
		if want := b.plan.Rocket.ReleaseRestUs; want > 0 && math.Abs(rest-want) > 30 {
			f.Level = Bad
			f = f.words("%.0f us, where the configuration says %.0f us", rest, want)
		}
	} else {
		f = f.words("not released")
	}
	if len(on) > 0 && on[len(on)-1] > 0.5 {
		f.Level = Bad
		f = f.words("it has released already, lying on the bench")
	}
	b.add(f.mend("A servo that trembles or rests in the wrong place drains the cell or lets go early: look at the pulse, at noise on the supply, and at what the rule does at rest."))
}

// dip is the supply while the servo moves.
type dip struct {
	rest, lowest float64 // V
	at           float64 // s, of the lowest
	back         float64 // s after the movement until it has recovered; NaN if it did not
}

// recoverPart and recoverV: the supply has recovered when it is within this
// part of the dip, or this voltage, of its rest.
const (
	recoverPart = 0.15
	recoverV    = 0.03
)

// judgeDip looks at what the servo's movement does to the supply.
func (b *Bench) judgeDip(j *jar) []Finding {
	restarts := finding(StepJar, "restarts-servo", "Restarts under load").number(float64(j.restarts), 0, "").limit("none").
		words("the board started again %d times", j.restarts)
	if j.restarts > 0 {
		restarts.Level = Bad
	}
	out := []Finding{restarts.mend("The servo's current pulls the supply below what the processor needs: a better cell, thicker wires, a capacitor of 470 uF or more at the servo, or a supply of its own.")}
	if b.plan.Rocket.Release == "none" {
		return out
	}
	t, v := b.rec.column(func(p point) float64 { return p.cellV })
	if len(v) == 0 || math.IsNaN(j.firedAt) {
		return append(out, notDone(StepJar, "cell-dip", "Supply under the servo", "no voltage, or no release"))
	}
	d := findDip(t, v, j.firedAt, max(0.05, 2*b.calm.stepS))
	s, known := alarm.SupplyNamed(b.plan.Rocket.Cell)
	out = append(out, b.judgeDepth(&d, s, known), b.judgeRecovery(&d, s))
	out = append(out, b.judgeMargin(&d, s, known)...)
	b.report.Traces = append(b.report.Traces, thin(Trace{Name: "supply", Unit: "V", T: t, V: v,
		Marks: []Mark{{"release", j.firedAt}}}))
	return out
}

// findDip looks at 3 s before and after the movement; near is how long before it
// the supply may already react.
func findDip(t, v []float64, moved, near float64) dip {
	d := dip{rest: math.NaN(), lowest: math.Inf(1), back: math.NaN()}
	var before []float64
	for i := range t {
		switch {
		case t[i] > moved-3 && t[i] < moved-near:
			before = append(before, v[i])
		case t[i] >= moved-near && t[i] < moved+3 && v[i] < d.lowest:
			d.lowest, d.at = v[i], t[i]
		}
	}
	if len(before) == 0 {
		before = v[:1]
	}
	d.rest = medianOf(before)
	limit := max(recoverPart*(d.rest-d.lowest), recoverV)
	last := math.NaN()
	for i := range t {
		if t[i] < d.at {
			continue
		}
		if d.rest-v[i] > limit {
			last = math.NaN()
		} else if math.IsNaN(last) {
			last = t[i]
		}
	}
	d.back = last - moved
	return d
}

func (b *Bench) judgeDepth(d *dip, s alarm.Supply, known bool) Finding {
	depth := d.rest - d.lowest
	cells := 1.0
	if known {
		cells = s.Cells
	}
	ohm := depth / b.plan.ServoA
	return finding(StepJar, "cell-dip", "Supply under the servo").number(depth, 0, "V").limit("a dip of %.2f V", 0.35*cells).
		words("from %.2f V down by %.2f V to %.2f V; about %.2f ohm of cell and wires, if the servo takes %.1f A", d.rest, depth, d.lowest, ohm, b.plan.ServoA).
		judge(depth, 0.35*cells, 0.7*cells).
		mend("A tired or cold cell, thin wires, a poor plug or a blocked servo. A dip shorter than a frame is not seen at all.")
}

func (b *Bench) judgeRecovery(d *dip, s alarm.Supply) Finding {
	f := finding(StepJar, "cell-recovery", "Supply's recovery").limit("within 1.5 s")
	if d.rest-d.lowest < 2*recoverV {
		return f.words("no dip to recover from")
	}
	if math.IsNaN(d.back) {
		f.Level = Bad
		f = f.words("it does not come back while it is listened to")
	} else {
		f = f.number(d.back, b.calm.stepS, "s").words("back after %.2f s", d.back).judge(d.back, 1.5, 4)
	}
	return f.mend("The servo goes on pulling: it is blocked, driven against its stop, or the cell is tired.")
}

// judgeMargin says how far the dip stays from where the board starts again, now
// and at the lowest charge that is fit to fly.
func (b *Bench) judgeMargin(d *dip, s alarm.Supply, known bool) []Finding {
	limit := b.plan.BrownOutV
	if limit == 0 {
		limit = s.CutoffV
	}
	f := finding(StepJar, "brown-out", "Margin to brown-out")
	if limit == 0 {
		return []Finding{notDone(StepJar, f.Check, f.Title, "neither the supply nor the voltage of a brown-out is known")}
	}
	margin := d.lowest - limit
	f = f.number(margin, 0, "V").limit("more than 0 V above %.2f V, also with the cell at its lowest", limit).
		words("%.2f V are left above %.2f V", margin, limit)
	if known && s.LowV > 0 {
		low := s.LowV - (d.rest - d.lowest) - limit
		f.Words += fmt.Sprintf("; with the cell at %.2f V it would be %.2f V", s.LowV, low)
		if low < 0 {
			f.Level = Look
		}
	}
	if margin < 0 {
		f.Level = Bad
	}
	return []Finding{f.mend("A board that browns out while it releases may never finish. Use a better or fuller cell.")}
}
