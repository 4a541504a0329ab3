package tune

import (
	"context"
	"fmt"
	"math"

	"padlark/flight/ensemble"
)

// Study is a question: by which rule, with which numbers, should a board
// release in flights such as these?
type Study struct {
	// Ensemble names the simulated flights and changes to them, as
	// "usual,apogee=40:90,rate=50"; empty is what the recorded ones suggest,
	// or usual.
	Ensemble string
	// Rules are the rules to try, as "drop,drop=1.5,n=3"; none is all.
	Rules []string
	Draws int
	Seed  uint64
	// LimitPer1000 are the failures in 1000 flights that are bearable. A
	// release more than EarlyS before apogee is one.
	LimitPer1000, EarlyS float64
	// ArmM, LockoutS and BackupS, where given, are not worked out.
	ArmM, LockoutS, BackupS *float64
	NoMedian                bool
	// PadHours are watched for a false arming.
	PadHours int
	// Described is what a configuration says, nil for none.
	Described *Described
	// Recorded are flights to try the choice on; Left says which others were
	// left out, and why.
	Recorded []Flight
	Left     []string
}

// InputError is an answer to a question that cannot be asked so. Option is
// what of it is to be mended, as the command's flag is called.
type InputError struct {
	Option string
	Err    error
}

func (e *InputError) Error() string { return "--" + e.Option + " " + e.Err.Error() }
func (e *InputError) Unwrap() error { return e.Err }

// WrongUse says that asking otherwise mends it.
func (*InputError) WrongUse() {}

func wrong(option string, err error) error { return &InputError{option + ":", err} }

func wrongf(option, format string, v ...any) error {
	return &InputError{option, fmt.Errorf(format, v...)}
}

// Check refuses numbers that make no sense before anything is computed.
func (s *Study) Check() error {
	switch {
	case s.Draws < 100 || s.Draws > 10_000_000:
		return wrongf("draws", "%d: give 100 to 10000000", s.Draws)
	case !(s.LimitPer1000 > 0 && s.LimitPer1000 < 1000):
		return wrongf("limit", "%g: give the failures that are bearable in 1000 flights, above 0 and below 1000", s.LimitPer1000)
	case !(s.EarlyS >= 0 && s.EarlyS < 60):
		return wrongf("early-s", "%g: give 0 to 60 s", s.EarlyS)
	case s.PadHours < 0 || s.PadHours > 10000:
		return wrongf("pad-hours", "%d: give 0 to 10000", s.PadHours)
	case s.ArmM != nil && !(*s.ArmM >= 0 && *s.ArmM <= 1000):
		return wrongf("arm-m", "%g: give 0 to 1000 m", *s.ArmM)
	}
	for _, o := range []struct {
		option string
		v      *float64
		most   float64
	}{{"lockout-s", s.LockoutS, 600}, {"backup-s", s.BackupS, 3600}} {
		if o.v != nil && !(*o.v >= 0 && *o.v <= o.most) {
			return wrongf(o.option, "%g: give 0 to %g s", *o.v, o.most)
		}
	}
	if newRate(0, s.Draws).High > s.LimitPer1000/1000 {
		return wrongf("draws", "%d: with so few flights nobody can be sure of less than %g failures in 1000; give %.0f or more, or a higher --limit",
			s.Draws, s.LimitPer1000, math.Ceil(3.85/(s.LimitPer1000/1000)/100)*100)
	}
	return nil
}

// Share does the parts 0 to n-1 of some work, each once, in any order: start
// gives what does a part, for one goroutine. doing is what the work is, what
// are its parts. It gives the first error.
type Share func(ctx context.Context, doing, what string, n int, start func() func(i int) error) error

// Seeds of what must be independent of the first draws.
const (
	freshSeed = 0x6672657368 // "fresh"
	padSeed   = 0x706164     // "pad"
	scoutMost = 1000
)

// Run tries the rules, chooses, and checks the choice on fresh flights, on the
// pad and on the recorded ones. What comes out does not depend on how share
// divides the work. An error that wraps an InputError is one of the question.
func (s *Study) Run(ctx context.Context, share Share) (*Report, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	r := &Report{Seed: s.Seed, Draws: s.Draws, LimitPer1000: s.LimitPer1000, EarlyS: s.EarlyS, Left: s.Left}
	spec, err := s.ensemble(r)
	if err != nil {
		return nil, err
	}
	common, err := s.common(ctx, share, spec, r)
	if err != nil {
		return nil, err
	}
	settings, err := s.rules(common)
	if err != nil {
		return nil, err
	}
	if r.Stats, err = s.try(ctx, share, "", spec, s.Seed, settings); err != nil {
		return nil, err
	}
	r.choose(s.LimitPer1000 / 1000)

	// The best of each family again on flights that had no part in the choice.
	again := make([]Settings, len(r.Best))
	for i, b := range r.Best {
		again[i] = b.Settings
	}
	fresh, err := s.try(ctx, share, " on fresh flights", spec, s.Seed^freshSeed, again)
	if err != nil {
		return nil, err
	}
	for i := range r.Best {
		b := &r.Best[i]
		b.Fresh, b.Agrees = fresh[i], agree(r.Stats[b.Index].Failed, fresh[i].Failed)
	}
	if err := s.onPad(ctx, share, spec, r); err != nil {
		return nil, err
	}
	for i := range s.Recorded {
		r.Recorded = append(r.Recorded, judgeRecorded(&s.Recorded[i], &r.Best[0].Settings, s.EarlyS))
	}
	r.conclude()
	return r, nil
}

// try puts settings through the study's number of flights.
func (s *Study) try(ctx context.Context, share Share, on string, spec ensemble.Spec, seed uint64, settings []Settings) ([]Stats, error) {
	trial, err := newTrial(spec, seed, s.Draws, settings)
	if err != nil {
		return nil, err
	}
	doing := fmt.Sprintf("trying %d settings%s", len(settings), on)
	if err := share(ctx, doing, "flights", s.Draws, func() func(int) error { return trial.NewWorker().Fly }); err != nil {
		return nil, err
	}
	return trial.Stats(s.EarlyS), nil
}

// common is what all rules share, with lock-out and backup for these flights.
func (s *Study) common(ctx context.Context, share Share, spec ensemble.Spec, r *Report) (Settings, error) {
	c := Settings{
		Family: Drop, DropCm: 100, Samples: 1, Median: !s.NoMedian, ArmSamples: 3,
		ArmCm: ArmFor(apogees(spec).Lo, spec.NoiseM.Hi), PadShift: padShiftFor(r.RateHz), SlopeQ10: slopeFor(spec),
	}
	if s.ArmM != nil {
		c.ArmCm = int32(math.Round(*s.ArmM * 100))
	}
	n := min(s.Draws, scoutMost)
	scout := newScout(n)
	trial, err := newTrial(spec, s.Seed, n, []Settings{c})
	if err != nil {
		return c, wrong("ensemble", err)
	}
	err = share(ctx, "looking at", "flights", n, func() func(int) error {
		w := trial.NewWorker()
		return func(i int) error { return w.Look(scout, c, i) }
	})
	if err != nil {
		return c, err
	}
	times, err := scout.Times()
	if err != nil {
		return c, fmt.Errorf("%w (--arm-m, now %.1f m)", err, float64(c.ArmCm)/100)
	}
	r.Times = scout.With(times, s.LockoutS, s.BackupS)
	r.ArmM = float64(c.ArmCm) / 100
	r.Times.Apply(&c)
	if err := c.Validate(); err != nil {
		return c, wrong("backup-s", err)
	}
	return c, nil
}

// onPad watches the recommended rule on the pad.
func (s *Study) onPad(ctx context.Context, share Share, spec ensemble.Spec, r *Report) error {
	if s.PadHours == 0 {
		return nil
	}
	armed := make([]bool, s.PadHours)
	err := share(ctx, "waiting on the pad", "hours", s.PadHours, func() func(int) error {
		return func(i int) error {
			armed[i] = padHour(r.Best[0].Settings, spec, s.Seed^padSeed, i)
			return nil
		}
	})
	if err != nil {
		return err
	}
	n := 0
	for _, a := range armed {
		if a {
			n++
		}
	}
	rate := newRate(n, s.PadHours)
	r.PadArmed = &rate
	return nil
}
