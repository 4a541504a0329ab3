package bench

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// Count is what the link has counted so far, from when it was opened.
type Count struct {
	Link  string
	Bytes uint64
	// Frames are those that framing found, Bad the pieces that were no frame or
	// no sample, by reason.
	Frames uint64
	Bad    map[string]uint64
	// Words is the link's state, Hint what the receiver makes of what it hears.
	Words, Hint string
}

func (c Count) bad() (n uint64) {
	for _, k := range c.Bad {
		n += k
	}
	return n
}

// Doing is what the checkup is at.
type Doing struct {
	Step Step
	Say  string // what the person should do now
	// Question says that Answer is waited for.
	Question bool
	Share    float64 // of the step, 0 to 1, where that is known
	Done     bool
}

// Bench leads one board through a plan. It is for one goroutine.
type Bench struct {
	plan   Plan
	begin  time.Time
	now    float64 // s since begin
	steps  []Step
	at     int
	since  float64 // when the present step began
	rec    record
	count  Count
	before Count // when the first frame of the rest came
	others map[string]int
	item   int // of the list before power
	zero   *heights
	calm   calm
	hand   hand
	report Report
}

// calm is what the rest has shown, for the steps that follow.
type calm struct {
	heard   bool    // frames came at all
	noiseM  float64 // rms
	pulseUs float64 // NaN if the board tells none
	cellV   float64
	stepS   float64 // between frames
}

// New makes a checkup that begins at now.
func New(p Plan, now time.Time) (*Bench, error) {
	if err := p.prepare(); err != nil {
		return nil, err
	}
	b := &Bench{plan: p, begin: now, steps: p.steps(), others: map[string]int{}}
	b.calm = calm{pulseUs: math.NaN(), cellV: math.NaN()}
	b.report = Report{At: now, Findings: []Finding{}, Before: []Item{}, Traces: []Trace{}, Allan: []AllanPoint{}}
	b.enter()
	return b, nil
}

// step is the present one, "" at the end.
func (b *Bench) step() Step {
	if b.at >= len(b.steps) {
		return ""
	}
	return b.steps[b.at]
}

// Done says whether all steps are behind.
func (b *Bench) Done() bool { return b.step() == "" }

// enter begins the present step, and passes over those that cannot be done.
func (b *Bench) enter() {
	b.since = b.now
	b.rec = record{}
	b.hand = hand{}
	switch b.step() {
	case StepBefore:
		for _, text := range BeforePower(b.plan.Rocket) {
			b.report.Before = append(b.report.Before, Item{Text: text})
		}
		if !b.plan.Asks {
			b.add(notDone(StepBefore, "before-power", "Before power", "nobody was asked"))
			b.next()
		}
	case StepLift, StepJar:
		if !b.canGoOn() {
			return
		}
		b.rec.steady = false
		b.hand = newHand(b.step(), &b.plan, &b.calm)
	case StepSound, StepServo:
		if b.step() == StepServo && b.plan.Rocket.Release == "none" {
			b.next()
			return
		}
		if !b.plan.Asks || !b.calm.heard && slices.Contains(b.steps, StepRest) {
			b.leave("nobody was asked")
		}
	}
}

// canGoOn leaves a hands-on step that makes no sense.
func (b *Bench) canGoOn() bool {
	switch {
	case !b.calm.heard && slices.Contains(b.steps, StepRest):
		b.leave("no frames came")
		return false
	case b.calm.heard && b.zero == nil:
		b.leave("the board tells neither pressure nor height")
		return false
	}
	return true
}

func (b *Bench) add(f ...Finding) { b.report.Findings = append(b.report.Findings, f...) }

func (b *Bench) next() {
	b.at++
	b.enter()
}

// leave ends the present step without its checks.
func (b *Bench) leave(why string) {
	switch s := b.step(); s {
	case StepBefore:
		b.add(notDone(s, "before-power", "Before power", why))
	case StepRest:
		b.add(notDone(s, "frames", "Frames", why))
	case StepLift:
		b.add(notDone(s, "lift", "Lift by a known height", why))
	case StepJar:
		b.add(notDone(s, "apogee-rule", "Apogee rule in the jar", why))
	case StepSound:
		b.add(notDone(s, "sounder", "Sounder", why))
	case StepServo:
		b.add(notDone(s, "servo-free", "Servo by eye", why))
	}
	b.next()
}

// Skip leaves the present step.
func (b *Bench) Skip() {
	if !b.Done() {
		b.leave("skipped")
	}
}

// Answer says yes or no to what is asked; without a question it does nothing.
func (b *Bench) Answer(yes bool) {
	switch b.step() {
	case StepBefore:
		b.report.Before[b.item].Confirmed = yes
		if b.item++; b.item == len(b.report.Before) {
			b.add(b.judgeBefore())
			b.next()
		}
	case StepSound:
		f := finding(StepSound, "sounder", "Sounder").words("heard, by the person's word")
		if !yes {
			f.Level = Look
			f = f.words("not heard").mend("Look at the sounder's polarity and joints; without it a rocket in high grass is hard to find.")
		}
		b.add(f)
		b.next()
	case StepServo:
		f := finding(StepServo, "servo-free", "Servo by eye").words("moves freely and far enough, by the person's word")
		if !yes {
			f.Level = Bad
			f = f.words("does not move as it should, by the person's word").mend("Do not fly. Feel with the power off whether the arm binds, look at the lead's order, and set the pulses for open and closed.")
		}
		b.add(f)
		b.next()
	}
}

func (b *Bench) judgeBefore() Finding {
	f := finding(StepBefore, "before-power", "Before power").limit("every line confirmed")
	open := 0
	for _, i := range b.report.Before {
		if !i.Confirmed {
			open++
			f.Words = "not confirmed: " + i.Text
		}
	}
	if open == 0 {
		return f.words("all %d lines confirmed", len(b.report.Before))
	}
	f.Level = Bad
	return f.mend("Put it right before the board gets power.")
}

// Count takes what the link has counted.
func (b *Bench) Count(c Count) { b.count = c }

// Tick moves the time on: silence is noticed by it.
func (b *Bench) Tick(now time.Time) {
	b.now = max(b.now, now.Sub(b.begin).Seconds())
	b.turn()
}

// Sample takes what was heard. Other rockets are counted only.
func (b *Bench) Sample(s *decode.Sample) {
	if b.plan.Rocket.Name == "" {
		b.adopt(s.Rocket)
	}
	b.now = max(b.now, s.Heard.Sub(b.begin).Seconds())
	if s.Rocket != b.plan.Rocket.Name {
		if len(b.others) < 64 {
			b.others[s.Rocket]++
		}
		b.turn()
		return
	}
	p := newPoint(s, b.begin)
	switch b.step() {
	case StepRest:
		if !b.calm.heard {
			b.since = b.now
			b.calm.heard = true
		}
		if b.now-b.since < backlogS {
			b.before = b.count
			break
		}
		b.rec.add(p)
	case StepLift, StepJar:
		b.calm.heard = true
		if b.reference(p) {
			b.hand.take(&b.rec, p, b.zero)
		}
	}
	b.turn()
}

// adopt takes the first rocket that is heard.
func (b *Bench) adopt(name string) {
	b.plan.Rocket = flight.Rocket{Name: name}
	for _, r := range b.plan.Known {
		if r.Name == name {
			b.plan.Rocket = r
		}
	}
}

// reference makes height above the bench available, if it is not yet.
func (b *Bench) reference(p point) bool {
	if b.zero == nil && !math.IsNaN(p.pa) {
		h := newHeights(p.pa, b.plan.Site.Kelvin())
		b.zero = &h
	}
	if b.zero == nil && !math.IsNaN(p.altM) {
		b.zero = &heights{pad: math.NaN()}
	}
	return b.zero != nil
}

// backlogS is how long after the first frame the rest begins, in s: a port hands
// over at once what came while nobody listened.
const backlogS = 0.5

// turn ends the present step when its time has come.
func (b *Bench) turn() {
	waited := b.now - b.since
	switch s := b.step(); {
	case s == StepRest && !b.calm.heard:
		limit := b.plan.FirstS
		if b.plan.Asks {
			limit = max(limit, b.plan.WaitS)
		}
		if waited > limit {
			b.add(b.silent(waited))
			b.next()
		}
	case s == StepRest && (waited > backlogS+b.plan.RestS || len(b.rec.points) >= mostPoints):
		b.judgeRest()
		b.next()
	case s == StepLift && b.hand.finished(b.now):
		b.judgeLift()
		b.next()
	case s == StepJar && b.hand.finished(b.now):
		b.judgeJar()
		b.next()
	case (s == StepLift || s == StepJar) && b.hand.idle() && waited > b.plan.WaitS:
		b.leave(fmt.Sprintf("nothing was done within %.0f s", b.plan.WaitS))
	}
}

// Now says what the checkup is at.
func (b *Bench) Now() Doing {
	d := Doing{Step: b.step()}
	switch d.Step {
	case StepBefore:
		d.Question, d.Say = true, b.report.Before[b.item].Text
		d.Share = float64(b.item) / float64(len(b.report.Before))
	case StepRest:
		if !b.calm.heard {
			d.Say = "Switch the board on and put it down; waiting for its first frame."
			break
		}
		d.Share = (b.now - b.since) / b.plan.RestS
		d.Say = fmt.Sprintf("Leave the board alone for %.0f s: no draught, no light on the sensor, doors shut.", b.plan.RestS)
	case StepLift:
		d.Say = b.hand.say(fmt.Sprintf("Lift the board by %.2f m, hold it there for 6 s, put it back and wait.", b.plan.LiftM))
	case StepJar:
		d.Say = b.hand.say("Put the board into the jar, close it, pull the syringe slowly, hold, and let it back slowly.")
	case StepSound:
		d.Question, d.Say = true, "Was the sounder heard?"
	case StepServo:
		d.Question, d.Say = true, "Did the release move freely, the right way and far enough?"
	default:
		d.Done, d.Share = true, 1
	}
	return d
}

// errNotDone is returned for a report that is asked for too early.
var errNotDone = errors.New("the checkup is not at its end yet")

// Stop ends the checkup where it is: what was not done is noted as such.
func (b *Bench) Stop() {
	for !b.Done() {
		b.leave("stopped before it")
	}
}

// Report is the outcome, when all steps are behind.
func (b *Bench) Report() (Report, error) {
	if !b.Done() {
		return Report{}, errNotDone
	}
	r := b.report
	r.Rocket, r.Link = b.plan.Rocket.Name, b.count.Link
	r.Config, r.Site = b.plan.Rocket, b.plan.Site
	r.EndedAt = b.begin.Add(time.Duration(b.now * 1e9))
	r.Cautions = Cautions(b.plan.Rocket)
	r.Level, r.Verdict = r.verdict()
	return r, nil
}
