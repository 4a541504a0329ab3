package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"padlark/flight/ensemble"
	"padlark/flight/tune"
)

// tuneCmd finds the rule and the numbers by which a board should release.
type tuneCmd struct {
	archiveFlags
	Flights  []string `placeholder:"FLIGHT" help:"Recorded flights: all, or a session, or session~rocket~number (~rocket~number: of the newest); several with commas."`
	Rocket   string   `placeholder:"NAME" help:"This rocket of the configuration, and of the recorded flights only its own."`
	Ensemble string   `placeholder:"SPEC" help:"Simulated flights: usual, poor, wide or recorded, and changes such as kind=solid,apogee=40:90,rate=50,noise=0.2:0.4."`
	Rule     []string `sep:"none" placeholder:"RULE" help:"Try only this: drop, slope or alpha-beta, and numbers such as drop,drop=1.5,n=3,smooth=2. May be given again."`

	Draws    int      `default:"10000" help:"How many flights are simulated (${default})."`
	Seed     uint64   `default:"1" help:"Seed of the draws: the same seed, the same result (${default})."`
	Limit    float64  `default:"1" help:"Failures that are bearable, in 1000 flights (${default})."`
	EarlyS   float64  `name:"early-s" default:"0.1" placeholder:"S" help:"A release this long before apogee is early, s (${default})."`
	ArmM     *float64 `name:"arm-m" placeholder:"M" help:"Height that arms the rule, m (a quarter of the lowest apogee)."`
	LockoutS *float64 `name:"lockout-s" placeholder:"S" help:"Lock-out after that, s (half of the shortest climb)."`
	BackupS  *float64 `name:"backup-s" placeholder:"S" help:"Backup time after arming, s; 0 for none (a little over the longest climb)."`
	NoMedian bool     `name:"no-median" help:"Leave out the middle-of-three filter."`
	PadHours int      `name:"pad-hours" default:"20" placeholder:"H" help:"Hours on the pad to watch for a false arming (${default})."`

	All    bool   `help:"Print every setting, not only those that none other beats."`
	Plot   string `placeholder:"FILE" help:"Draw the trade-off into FILE.svg or FILE.png."`
	Header string `placeholder:"FILE" help:"Write the recommended settings as a C header."`
	JSON   bool   `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (tuneCmd) Help() string {
	return `Which rule and which numbers should the firmware release by? Each rule runs, in
the whole-number arithmetic of a small board, over simulated flights and over
recorded ones. It prints how often each releases early or not at all, how late
it is and how fast the rocket moves then, recommends one, tries that again on
fresh flights, and gives the numbers to type into the firmware.

Rules: drop (so far below the highest), slope (height against its own low-pass),
alpha-beta (speed of an alpha-beta filter). Of --rule the keys are drop (m),
n (readings in a row), smooth (filter gain 1/2^smooth). Of --ensemble they are
kind (water, solid or both), apogee (m), mass (g, at landing), diameter (mm), cd,
rate (readings a second), noise (m), step (Pa), gust (Pa), vent (% of the dynamic
pressure), outliers (per 1000 readings), tilt (degrees), wind (m/s), elevation
(m), temperature (degrees Celsius).

With --config, kind, mass, diameter, expected apogee and rate of the rocket and
elevation, temperature and wind of the site are those of the configuration; what
--ensemble says goes before it.

Example:
  padlark tune --config padlark.toml --rocket Teal --header apogee_settings.h
  padlark tune --ensemble usual,apogee=40:90,rate=50 --plot teal.svg
    --header apogee_settings.h
  padlark tune --data padlark-data --flights all --rocket Teal`
}

// Run tries the rules, chooses, checks the choice and prints.
func (c *tuneCmd) Run(ctx context.Context, io *cmdIO) error {
	plot, err := plotFormat(c.Plot)
	if err != nil {
		return usageError{err}
	}
	if err := c.check(); err != nil {
		return err
	}
	known, err := c.described()
	if err != nil {
		return usageError{err}
	}
	flights, left, err := c.recorded(ctx, io)
	if err != nil {
		return err
	}
	res := tuneResult{Seed: c.Seed, Draws: c.Draws, LimitPer1000: c.Limit, EarlyS: c.EarlyS, Left: left}
	spec, err := c.spec(flights, known, &res)
	if err != nil {
		return usageError{err}
	}
	if err := c.work(ctx, io, spec, flights, &res); err != nil {
		return err
	}
	if plot != "" {
		if err := drawTradeOff(c.Plot, plot, &res); err != nil {
			return fmt.Errorf("draw trade-off: %w", err)
		}
	}
	if c.Header != "" {
		if err := writeFile(c.Header, []byte(res.header())); err != nil {
			return err
		}
	}
	if c.JSON {
		enc := json.NewEncoder(io.Out)
		enc.SetIndent("", "  ")
		err = enc.Encode(&res)
	} else {
		err = printTune(io.Out, &res, c.All)
	}
	if err != nil {
		return fmt.Errorf("print settings: %w", err)
	}
	if strings.HasPrefix(res.Verdict, "bad") {
		return errBadVerdict
	}
	return nil
}

// check refuses numbers that make no sense before anything is computed.
func (c *tuneCmd) check() error {
	switch {
	case c.Draws < 100 || c.Draws > 10_000_000:
		return usagef("--draws %d: give 100 to 10000000", c.Draws)
	case !(c.Limit > 0 && c.Limit < 1000):
		return usagef("--limit %g: give the failures that are bearable in 1000 flights, above 0 and below 1000", c.Limit)
	case !(c.EarlyS >= 0 && c.EarlyS < 60):
		return usagef("--early-s %g: give 0 to 60 s", c.EarlyS)
	case c.PadHours < 0 || c.PadHours > 10000:
		return usagef("--pad-hours %d: give 0 to 10000", c.PadHours)
	case len(c.Flights) == 0 && c.Rocket != "" && c.Config == "":
		return usagef("--rocket %s: chooses recorded flights or a rocket of a configuration; add --flights all, or --config FILE", c.Rocket)
	}
	if tune.NewRate(0, c.Draws).High > c.Limit/1000 {
		return usagef("--draws %d: with so few flights nobody can be sure of less than %g failures in 1000; give %.0f or more, or a higher --limit",
			c.Draws, c.Limit, math.Ceil(3.85/(c.Limit/1000)/100)*100)
	}
	return nil
}

// Seeds of what must be independent of the first draws.
const (
	freshSeed = 0x6672657368 // "fresh"
	padSeed   = 0x706164     // "pad"
	scoutMost = 1000
)

// work fills in the result.
func (c *tuneCmd) work(ctx context.Context, io *cmdIO, spec ensemble.Spec, flights []tune.Flight, res *tuneResult) error {
	common, err := c.common(ctx, io, spec, res)
	if err != nil {
		return err
	}
	settings, err := c.rules(common)
	if err != nil {
		return usageError{err}
	}
	trial, err := flyAll(ctx, io, "", spec, c.Seed, c.Draws, settings)
	if err != nil {
		return err
	}
	res.Stats = trial.Stats(c.EarlyS)
	res.choose(c.Limit / 1000)

	// The best of each family again on flights that had no part in the choice.
	again := make([]tune.Settings, len(res.Best))
	for i := range res.Best {
		again[i] = res.Stats[res.Best[i].Index].Settings
	}
	fresh, err := flyAll(ctx, io, " on fresh flights", spec, c.Seed^freshSeed, c.Draws, again)
	if err != nil {
		return err
	}
	for i, s := range fresh.Stats(c.EarlyS) {
		res.Best[i].Fresh = s
		res.Best[i].Agrees = tune.Agree(res.Stats[res.Best[i].Index].Failed, s.Failed)
	}
	if err := c.onPad(ctx, io, spec, res); err != nil {
		return err
	}
	for i := range flights {
		res.Recorded = append(res.Recorded, judgeRecorded(&flights[i], res.Best, c.EarlyS))
	}
	res.conclude()
	return nil
}

// common is what all rules share, with lock-out and backup for these flights.
func (c *tuneCmd) common(ctx context.Context, io *cmdIO, spec ensemble.Spec, res *tuneResult) (tune.Settings, error) {
	s := tune.Settings{
		Family: tune.Drop, DropCm: 100, Samples: 1, Median: !c.NoMedian, ArmSamples: 3,
		ArmCm: tune.ArmFor(tune.Apogees(spec).Lo, spec.NoiseM.Hi), PadShift: tune.PadShiftFor(res.RateHz), SlopeQ10: slopeFor(spec),
	}
	if c.ArmM != nil {
		if !(*c.ArmM >= 0 && *c.ArmM <= 1000) {
			return s, usagef("--arm-m %g: give 0 to 1000 m", *c.ArmM)
		}
		s.ArmCm = int32(math.Round(*c.ArmM * 100))
	}
	n := min(c.Draws, scoutMost)
	scout := tune.NewScout(n)
	trial, err := tune.NewTrial(spec, c.Seed, n, []tune.Settings{s})
	if err != nil {
		return s, usageError{err}
	}
	err = onAllCores(ctx, n, nil, func() func(int) error {
		w := trial.NewWorker()
		return func(i int) error { return w.Look(scout, s, i) }
	})
	if err != nil {
		return s, err
	}
	times, err := scout.Times()
	if err != nil {
		return s, fmt.Errorf("%w (--arm-m, now %.1f m)", err, float64(s.ArmCm)/100)
	}
	res.Times = scout.With(times, orNot(c.LockoutS), orNot(c.BackupS))
	res.ArmM = float64(s.ArmCm) / 100
	if res.Times.LockoutS > 600 || res.Times.BackupS > 3600 {
		return s, usagef("--lockout-s and --backup-s: give at most 600 s and 3600 s")
	}
	res.Times.Apply(&s)
	if err := s.Validate(); err != nil {
		return s, usageError{fmt.Errorf("%w (--lockout-s, --backup-s)", err)}
	}
	return s, nil
}

// orNot is a value that was typed, -1 for none.
func orNot(v *float64) float64 {
	if v == nil {
		return -1
	}
	return *v
}

// onPad watches the recommended rule on the pad.
func (c *tuneCmd) onPad(ctx context.Context, io *cmdIO, spec ensemble.Spec, res *tuneResult) error {
	if c.PadHours == 0 {
		return nil
	}
	s := res.Stats[res.Best[0].Index].Settings
	armed := make([]bool, c.PadHours)
	err := onAllCores(ctx, c.PadHours, newProgress(io.Err, "waiting on the pad", "hours", c.PadHours), func() func(int) error {
		return func(i int) error {
			armed[i] = tune.PadHour(s, spec, c.Seed^padSeed, i)
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
	r := tune.NewRate(n, c.PadHours)
	res.PadArmed = &r
	return nil
}
