package tune

import (
	"fmt"
	"math"

	"padlark/flight/ensemble"
)

// Outcome is what one rule did in one flight. The zero value means that it
// did not release before the ground.
type Outcome struct {
	By Cause
	// LagS is from apogee to the release in s, negative before it.
	LagS float32
	// HeightM is the height above the pad, BelowM that below the apogee, in m;
	// SpeedMps the vertical speed, up positive.
	HeightM, BelowM, SpeedMps float32
}

// Fire runs a rule over a flight and gives the index of the reading at which
// it releases, -1 if it never does.
func Fire(o *Board, s *Settings, f *Flight) (index int, by Cause) {
	o.Start(s)
	for i, p := range f.DPa {
		if by := o.Step(f.Ms[i], p); by != notYet {
			return i, by
		}
	}
	return -1, notYet
}

// Judge runs a rule over a flight.
func Judge(s *Settings, f *Flight) Outcome {
	var o Board
	i, by := Fire(&o, s, f)
	if i < 0 || f.AtS[i] >= f.TouchdownS {
		return Outcome{}
	}
	h, v := f.At(f.AtS[i])
	return Outcome{
		By: by, LagS: float32(f.AtS[i] - f.ApogeeS),
		HeightM: float32(h), BelowM: float32(f.ApogeeM - h), SpeedMps: float32(v),
	}
}

// Trial puts settings through the flights of a spec.
type Trial struct {
	Spec     ensemble.Spec
	Seed     uint64
	Settings []Settings
	outcomes [][]Outcome // by settings, by flight
}

// newTrial makes room for n flights. The error names settings that no board
// can have.
func newTrial(spec ensemble.Spec, seed uint64, n int, settings []Settings) (*Trial, error) {
	if n < 1 || len(settings) == 0 {
		return nil, fmt.Errorf("try %d settings on %d flights: give one or more of each", len(settings), n)
	}
	t := &Trial{Spec: spec, Seed: seed, Settings: settings}
	for i := range settings {
		if err := settings[i].Validate(); err != nil {
			return nil, fmt.Errorf("try %v: %w", settings[i], err)
		}
		t.outcomes = append(t.outcomes, make([]Outcome, n))
	}
	return t, nil
}

// Worker draws flights for a trial in memory of its own. Several workers may
// work on one trial at once, on different flights.
type Worker struct {
	trial *Trial
	drawn ensemble.Flight
	board Flight
}

// NewWorker makes a worker.
func (t *Trial) NewWorker() *Worker { return &Worker{trial: t} }

// Fly draws flight i and puts all settings through it.
func (w *Worker) Fly(i int) error {
	t := w.trial
	if err := ensemble.DrawInto(&w.drawn, t.Spec, t.Seed, uint64(i)); err != nil {
		return fmt.Errorf("try rules: %w", err)
	}
	FromEnsemble(&w.board, &w.drawn)
	for k := range t.Settings {
		t.outcomes[k][i] = Judge(&t.Settings[k], &w.board)
	}
	return nil
}

// Scout is what must be known of flights before lock-out and backup can be
// set: for each the time from arming to apogee and to the ground, in s. NaN
// where the rule was not armed before apogee.
type Scout struct {
	ToApogee, ToGround []float64
}

// look arms at armCm and says how long the apogee and the ground are off then.
func look(s Settings, f *Flight) (toApogee, toGround float64) {
	s.LockoutMs, s.BackupMs = maxLockoutMs, 0
	o := newBoard(s)
	for i, p := range f.DPa {
		o.Step(f.Ms[i], p)
		if _, ok := o.Armed(); ok {
			if f.AtS[i] >= f.ApogeeS || f.AtS[i] < f.LiftoffS {
				break
			}
			return f.ApogeeS - f.AtS[i], f.TouchdownS - f.AtS[i]
		}
	}
	return math.NaN(), math.NaN()
}

// newScout makes room for n flights.
func newScout(n int) *Scout {
	return &Scout{make([]float64, n), make([]float64, n)}
}

// Look draws flight i for the scout, as Fly does.
func (w *Worker) Look(sc *Scout, s Settings, i int) error {
	if err := ensemble.DrawInto(&w.drawn, w.trial.Spec, w.trial.Seed, uint64(i)); err != nil {
		return fmt.Errorf("look at flights: %w", err)
	}
	FromEnsemble(&w.board, &w.drawn)
	sc.ToApogee[i], sc.ToGround[i] = look(s, &w.board)
	return nil
}
