package bench

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"padlark/decode"
)

// silent explains why no frame of the rocket came.
func (b *Bench) silent(waited float64) Finding {
	f := finding(StepRest, "frames", "Frames").limit("frames come")
	f.Level = Bad
	c := b.count
	switch {
	case len(b.others) > 0:
		names := slices.Sorted(maps.Keys(b.others))
		f.Check, f.Title = "wrong-id", "Whose frames these are"
		return f.words("nothing from %s in %.0f s, but frames of %s", b.plan.Rocket.Name, waited, strings.Join(names, ", ")).
			mend("Give the board the id of the configuration, or correct id = … of the rocket.")
	case c.Frames > 0:
		return f.words("%d frames came in %.0f s and none could be read: %s", c.Frames, waited, reasons(c.Bad, nil)).
			mend("The layout does not fit the board: padlark check CONFIG --try FILE shows the frames byte by byte.")
	case c.Bytes > 0:
		words := fmt.Sprintf("%d bytes came in %.0f s and no frame in them", c.Bytes, waited)
		if c.Hint != "" {
			words += "; " + c.Hint
		}
		return f.words("%s", words).mend("Look at the rate (baud) of both ends and at the layout of the link.")
	}
	return f.words("nothing came in %.0f s (link: %s)", waited, c.Words).
		mend("Is the board on? Is the wire on the right pin: its TX to the other's RX? Is the radio's channel the same?")
}

// reasons are the link's counts less those of before, most first.
func reasons(now, before map[string]uint64) string {
	type count struct {
		why string
		n   uint64
	}
	var list []count
	for why, n := range now {
		if n > before[why] {
			list = append(list, count{why, n - before[why]})
		}
	}
	slices.SortFunc(list, func(a, b count) int {
		if a.n != b.n {
			return int(b.n) - int(a.n)
		}
		return strings.Compare(a.why, b.why)
	})
	var out []string
	for _, c := range list[:min(len(list), 3)] {
		out = append(out, fmt.Sprintf("%s %d", c.why, c.n))
	}
	return strings.Join(out, ", ")
}

// judgeRest judges all that shows while the board is left alone.
func (b *Bench) judgeRest() {
	r := &b.rec
	b.report.Frames = len(r.points)
	r.settle()
	b.add(finding(StepRest, "frames", "Frames").limit("frames come").
		number(float64(len(r.points)), 0, "frames").words("%d frames in %.0f s", len(r.points), b.now-b.since-backlogS))
	if len(r.points) < 10 {
		f := &b.report.Findings[len(b.report.Findings)-1]
		f.Level, f.Mend = Bad, "Too few to judge anything: let it send at 10 Hz or more."
		b.calm.heard = false
		return
	}
	b.add(b.judgeRate()...)
	b.add(b.judgeLosses(), b.judgeDamage(), b.judgeRestarts(), b.judgeClock())
	if len(b.others) > 0 {
		b.add(finding(StepRest, "others", "Other boards").
			words("heard as well: %s; they are left out", strings.Join(slices.Sorted(maps.Keys(b.others)), ", ")))
	}
	b.judgeSensor()
	b.judgeSupply()
	b.judgeResting()
}

// judgeRate looks at how many frames come and how evenly they were sent.
func (b *Bench) judgeRate() []Finding {
	steps, gaps := b.rec.intervals()
	b.calm.stepS = medianOf(steps)
	first, last := b.rec.points[0], b.rec.points[len(b.rec.points)-1]
	sent := float64(len(b.rec.points) - 1)
	if first.seq >= 0 && last.seq > first.seq && last.boot == first.boot {
		sent = float64(last.seq - first.seq)
	}
	hz := sent / (b.rec.time(last) - b.rec.time(first))
	if b.rec.restarts() > 0 && b.calm.stepS > 0 {
		hz = 1 / b.calm.stepS // while it is up
	}
	rate := finding(StepRest, "rate", "Frames a second").number(hz, 0, "Hz").words("the board sends %.1f frames a second", hz)
	if want := b.plan.Rocket.RateHz; want > 0 {
		rate = rate.judge(math.Abs(hz/want-1), 0.05, 0.2).limit("%.0f Hz within 5 %%", want).
			mend("Look at the board's loop time: another rate moves every filter and timer in its firmware.")
	} else {
		rate = rate.limit("10 Hz or more")
		if hz < 10 {
			rate.Level = Look
			rate = rate.mend("So few frames tell little about apogee and release; send 20 Hz or more if the link carries it.")
		}
	}
	if !b.rec.steady {
		return []Finding{rate, notDone(StepRest, "jitter", "Evenness of the frames", "the board's clock is not there or not usable")}
	}
	sd, worst := sdOf(steps)/b.calm.stepS, slices.Max(gaps)
	jitter := finding(StepRest, "jitter", "Evenness of the frames").number(100*sd, 0, "%").
		limit("20 %%, no pause of 3 intervals").
		words("intervals of %.1f ms spread by %.0f %%, the longest is %.0f ms", 1e3*b.calm.stepS, 100*sd, 1e3*worst).
		judge(max(sd/0.2, worst/b.calm.stepS/3), 1, math.Inf(1))
	if worst > 0.5 && worst > 3*b.calm.stepS {
		jitter.Level = Bad
	}
	return []Finding{rate, jitter.mend("Something stops the board's loop: a blocking sensor read, sound or card write. While it stands, apogee is missed.")}
}

// intervals are the times between frames that follow each other in the board's
// numbering (all, if it sends no numbers), and per frame where some are lost.
func (r *record) intervals() (steps, gaps []float64) {
	for i := 1; i < len(r.points); i++ {
		a, c := r.points[i-1], r.points[i]
		d := r.time(c) - r.time(a)
		n := 1.0
		if a.seq >= 0 && c.seq > a.seq {
			n = float64(c.seq - a.seq)
		}
		if a.boot != c.boot || d <= 0 {
			continue
		}
		if n == 1 {
			steps = append(steps, d)
		}
		gaps = append(gaps, d/n)
	}
	if len(steps) == 0 {
		steps, gaps = []float64{0}, []float64{0}
	}
	return steps, gaps
}

// judgeLosses counts what is missing in the board's numbering.
func (b *Bench) judgeLosses() Finding {
	const check, title = "frames-lost", "Frames lost"
	seen := map[[2]int64]bool{} // boot and number
	var numbers decode.Numbering
	for _, p := range b.rec.points {
		if p.seq < 0 {
			return notDone(StepRest, check, title, "the board sends no numbers")
		}
		if k := [2]int64{int64(p.boot), p.seq}; !seen[k] {
			seen[k] = true
			numbers.Add(p.boot, p.seq)
		}
	}
	lost := float64(numbers.Lost())
	sent := lost + float64(numbers.Heard())
	share := 100 * lost / sent
	return finding(StepRest, check, title).number(share, 0, "%").limit("1 %% on the bench").
		words("%.0f of %.0f frames are missing", lost, sent).judge(share, 1, 5).
		mend("On the bench every frame should come. Look at antennas, distance (too near is bad too), supply noise, and whether the link's rate carries the frames.")
}

// judgeDamage counts what came and was no frame.
func (b *Bench) judgeDamage() Finding {
	var n uint64
	if b.count.bad() > b.before.bad() {
		n = b.count.bad() - b.before.bad()
	}
	share := 100 * float64(n) / float64(len(b.rec.points)+int(n))
	f := finding(StepRest, "frames-damaged", "Frames damaged").number(share, 0, "%").limit("0.5 %%, or a single one").
		words("%d pieces of %d could not be read", n, len(b.rec.points)+int(n)).judge(share, 0.5, 5)
	if n <= 1 {
		f.Level = Good
	}
	if n > 0 {
		f.Words += " (" + reasons(b.count.Bad, b.before.Bad) + ")"
	}
	return f.mend("Look at the line's rate on both ends, at ground wires and connectors, and at noise from the servo.")
}

// judgeRestarts counts the board's starts.
func (b *Bench) judgeRestarts() Finding {
	n := b.rec.restarts()
	f := finding(StepRest, "restarts", "Restarts").number(float64(n), 0, "").limit("none").
		words("the board started again %d times", n)
	if n > 0 {
		f.Level = Bad
	}
	return f.mend("It browns out, hangs and is reset, or has a loose wire. Do not fly it: what restarts in flight forgets that it flies.")
}

func (r *record) restarts() int {
	n := 0
	for i := 1; i < len(r.points); i++ {
		if r.points[i].boot != r.points[i-1].boot {
			n++
		}
	}
	return n
}

// judgeClock compares the board's clock with ours.
func (b *Bench) judgeClock() Finding {
	const check, title = "clock", "Board's clock"
	a, c := b.rec.points[0], b.rec.points[len(b.rec.points)-1]
	if math.IsNaN(a.clock) {
		return notDone(StepRest, check, title, "the board sends no clock")
	}
	if a.boot != c.boot {
		return notDone(StepRest, check, title, "the board started again")
	}
	f := finding(StepRest, check, title).limit("right to 0.5 %%")
	ratio := (c.clock - a.clock) / (c.heard - a.heard)
	if ratio < 0.9 || ratio > 1.1 {
		f.Level = Bad
		return f.number(ratio, 0, "s a second").words("its clock runs %.3g s in each second", ratio).
			mend("It stands, or its unit is not that of the layout (ms or us). Timers in the firmware are wrong by the same factor.")
	}
	skew, sd := b.rec.skew()
	return f.number(1e2*skew, 1e2*sd, "%").words("it runs %s by %.3f %%", fastOrSlow(skew), 1e2*math.Abs(skew)).
		judge(math.Abs(skew)-2*sd, 0.005, 0.03).
		mend("A ceramic resonator or a processor's own oscillator is this far off; backup times in the firmware are wrong by as much, and a serial line fails from about 2 %.")
}

func fastOrSlow(skew float64) string {
	if skew < 0 {
		return "slow"
	}
	return "fast"
}

// skew is how much the board's clock gains on ours, as a part. Frames only ever
// come late, so the earliest of each stretch is taken and a line laid through
// those.
func (r *record) skew() (part, sd float64) {
	n := min(24, len(r.points)/6)
	if n < 4 {
		return 0, math.Inf(1)
	}
	x, y := make([]float64, n), make([]float64, n)
	for i := range n {
		y[i] = math.Inf(1)
		for _, p := range r.points[i*len(r.points)/n : (i+1)*len(r.points)/n] {
			if late := p.heard - p.clock; late < y[i] {
				x[i], y[i] = p.clock, late
			}
		}
	}
	l := leastSquares(x, y)
	var xx float64
	for _, v := range x {
		xx += (v - l.centre) * (v - l.centre)
	}
	return -l.slope, l.rms * math.Sqrt(float64(n)/float64(n-2)) / math.Sqrt(xx)
}
