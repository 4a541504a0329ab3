package bench

import (
	"fmt"
	"math"
)

// movedUs is how far the pulse must go to count as a movement of the release.
const movedUs = 100.0

// jar is a run in the jar, worked out.
type jar struct {
	t, h     []float64 // smoothed heights, m
	top      float64   // m above where it began
	turnAt   float64   // when the pressure began to rise again
	firedAt  float64   // NaN if it did not
	drop     float64   // m below the top when it fired
	slack    float64   // m, within which a height is that of the top
	telling  bool      // the board tells its release at all
	wasOpen  bool      // it had released before
	restarts int
}

// smoothS is the width of the running mean that finds the top, in s.
const smoothS = 0.2

// judgeJar judges the apogee rule, the release's movement and the supply.
func (b *Bench) judgeJar() {
	b.rec.settle()
	j := b.workJar()
	b.add(b.judgeRule(&j))
	b.add(b.judgeMoves(&j)...)
	b.add(b.judgeDip(&j)...)
	tr := thin(Trace{Name: "height in the jar", Unit: "m", T: j.t, V: j.h})
	tr.Marks = []Mark{{"top", j.turnAt}}
	if !math.IsNaN(j.firedAt) {
		tr.Marks = append(tr.Marks, Mark{"release", j.firedAt})
	}
	b.report.Traces = append(b.report.Traces, tr)
}

// workJar finds the top and the release.
func (b *Bench) workJar() jar {
	j := jar{firedAt: math.NaN(), drop: math.NaN(), restarts: b.rec.restarts()}
	t, h := b.between(math.Inf(-1), math.Inf(1))
	j.t, j.h = t, smooth(t, h, smoothS)
	base := b.hand.base
	top := math.Inf(-1)
	for i := range j.h {
		j.h[i] -= base
		top = max(top, j.h[i])
	}
	j.top = top
	j.slack = max(0.3, 2*b.calm.noiseM/math.Sqrt(max(1, smoothS/max(b.calm.stepS, 1e-3))))
	for i, v := range j.h {
		if v >= top-j.slack {
			j.turnAt = t[i]
		}
	}
	pulse := b.calm.pulseUs
	last := math.NaN()
	for i, p := range b.rec.points {
		if math.IsNaN(pulse) {
			pulse = p.pulseUs
		}
		j.telling = j.telling || !math.IsNaN(p.on) || !math.IsNaN(p.pulseUs)
		j.wasOpen = j.wasOpen || i == 0 && p.on > 0.5
		if math.IsNaN(j.firedAt) && (last < 0.5 && p.on > 0.5 || math.Abs(p.pulseUs-pulse) > movedUs) {
			j.firedAt = b.rec.time(p)
			j.drop = top - at(j.t, j.h, j.firedAt)
		}
		last = p.on
	}
	return j
}

// smooth is the mean of readings within half of width before and after.
func smooth(t, y []float64, width float64) []float64 {
	out := make([]float64, len(y))
	sum, from, to := 0.0, 0, 0
	for i := range y {
		for to < len(y) && t[to] <= t[i]+width/2 {
			sum += y[to]
			to++
		}
		for t[from] < t[i]-width/2 {
			sum -= y[from]
			from++
		}
		out[i] = sum / float64(to-from)
	}
	return out
}

// at is the value of the reading that is closest to time x.
func at(t, y []float64, x float64) float64 {
	best := math.NaN()
	near := math.Inf(1)
	for i := range t {
		if d := math.Abs(t[i] - x); d < near {
			near, best = d, y[i]
		}
	}
	return best
}

// fallenM is the drop below the top within which a release is in time however
// slowly a hand lets the pressure back, in m.
const fallenM = 8.0

// judgeRule judges when the board recognised the top.
func (b *Bench) judgeRule(j *jar) Finding {
	delay := b.plan.Rocket.ReleaseDelayS
	if delay == 0 {
		delay = 1
	}
	f := finding(StepJar, "apogee-rule", "Apogee rule in the jar").limit("after the top, within %.1f s or %.0f m of fall", delay, fallenM)
	switch {
	case !j.telling:
		return notDone(StepJar, f.Check, f.Title, "the board tells neither a release nor a pulse")
	case j.wasOpen:
		f.Level = Bad
		return f.words("it had released before the pressure went down").mend("Start the board anew and see why it releases at rest.")
	case math.IsNaN(j.firedAt):
		f.Level = Bad
		return f.words("the pressure went down by %.0f m of height and came back, and no apogee was recognised", j.top).
			mend("Does the rule arm at this height? Look at its arming height, lock-out time and units. A board like this does not open its parachute.")
	}
	lag := j.firedAt - j.turnAt
	f = f.number(lag, b.calm.stepS, "s").
		words("released %.2f s after the top of %.0f m, %.1f m below it", lag, j.top, j.drop)
	mend := "Ask for fewer samples or metres in the rule, or filter less; padlark tune weighs that against firing early."
	switch {
	case lag < 0 && j.drop > max(2, 3*j.slack):
		f.Level = Bad
		f = f.words("released %.2f s before the top, at %.0f of %.0f m, while the pressure was still falling", -lag, j.top-j.drop, j.top)
		mend = "The rule fires on noise or on a single reading, or it is a timer: ask for more metres or samples before it fires."
	case lag > delay && j.drop > fallenM:
		f.Level = Bad
	case lag > delay:
		f.Level = Look
		f.Words += "; the pressure came back slowly"
	}
	return f.mend(mend)
}

// judgeMoves judges how far and how often the release moved.
func (b *Bench) judgeMoves(j *jar) []Finding {
	if b.plan.Rocket.Release == "none" {
		return nil
	}
	_, us := b.rec.column(func(p point) float64 { return p.pulseUs })
	if len(us) == 0 {
		return []Finding{notDone(StepJar, "release-moves", "Release's movement", "the board tells no pulse")}
	}
	rest := b.calm.pulseUs
	if math.IsNaN(rest) {
		rest = us[0]
	}
	var open []float64
	moves, out := 0, false
	for _, v := range us {
		far := math.Abs(v-rest) > movedUs
		if far && !out {
			moves++
		}
		if out = far; far {
			open = append(open, v)
		}
	}
	f := finding(StepJar, "release-moves", "Release's movement").limit("once, and it stays")
	if moves == 0 {
		if f.Level = Good; !math.IsNaN(j.firedAt) {
			f.Level = Bad
			f = f.words("the release was commanded and the pulse stayed at %.0f us", rest)
		} else {
			f = notDone(StepJar, f.Check, f.Title, "nothing was released")
		}
		return []Finding{f.mend("The release does not move: look at the pulse for open in the firmware.")}
	}
	end := medianOf(open)
	f = f.number(end-rest, 0, "us").words("it moved %s, from %.0f to %.0f us (%+.0f us)", often(moves), rest, end, end-rest)
	if moves > 1 {
		f.Level = Bad
	}
	return []Finding{f.mend("A release that goes back and forth may not let go, and drains the cell: latch it in the firmware."), b.judgePulse(end)}
}

func often(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// judgePulse compares the open position with the configuration.
func (b *Bench) judgePulse(end float64) Finding {
	r := b.plan.Rocket
	lo, hi := pulseLimits(r.ReleaseMinUs, r.ReleaseMaxUs)
	f := finding(StepJar, "release-open", "Release's open position").number(end, 0, "us").words("%.0f us", end)
	switch {
	case end < lo || end > hi:
		f.Level = Bad
		return f.limit("%.0f to %.0f us", lo, hi).words("%.0f us is outside of the servo's safe range", end).
			mend("The servo is driven against its end stop: it stalls, heats and drains the cell. Correct the pulse.")
	case r.ReleaseOpenUs > 0:
		f = f.limit("%.0f us within 30 us", r.ReleaseOpenUs).judge(math.Abs(end-r.ReleaseOpenUs), 30, 150)
		return f.mend("It does not go where the configuration says: correct release_open_us, or the pulse in the firmware.")
	}
	return f.limit("%.0f to %.0f us", lo, hi)
}

// pulseLimits are the servo's, 500 to 2500 us where nobody gave them (common
// practice, no source).
func pulseLimits(lo, hi float64) (float64, float64) {
	if lo == 0 {
		lo = 500
	}
	if hi == 0 {
		hi = 2500
	}
	return lo, hi
}
