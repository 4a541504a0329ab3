package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/flight/tune"
	"padlark/storage/report"
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
	if err := report.CheckPlot(c.Plot); err != nil {
		return usageError{err}
	}
	if len(c.Flights) == 0 && c.Rocket != "" && c.Config == "" {
		return usagef("--rocket %s: chooses recorded flights or a rocket of a configuration; add --flights all, or --config FILE", c.Rocket)
	}
	s := tune.Study{
		Ensemble: c.Ensemble, Rules: c.Rule, Draws: c.Draws, Seed: c.Seed, LimitPer1000: c.Limit, EarlyS: c.EarlyS,
		ArmM: c.ArmM, LockoutS: c.LockoutS, BackupS: c.BackupS, NoMedian: c.NoMedian, PadHours: c.PadHours,
	}
	err := s.Check()
	if err != nil {
		return err
	}
	if s.Described, err = c.described(); err != nil {
		return usageError{err}
	}
	if s.Recorded, s.Left, err = c.recorded(ctx, io); err != nil {
		return err
	}
	res, err := s.Run(ctx, func(ctx context.Context, doing, what string, n int, start func() func(int) error) error {
		return onAllCores(ctx, n, newProgress(io.Err, doing, what, int64(n)), start)
	})
	if err != nil {
		return err
	}
	if err := report.DrawTradeOff(c.Plot, res); err != nil {
		return err
	}
	if c.Header != "" {
		if err := writeFile(c.Header, []byte(res.Header())); err != nil {
			return err
		}
	}
	if c.JSON {
		err = printJSON(io.Out, "  ", res)
	} else {
		err = printTune(io.Out, res, c.All)
	}
	if err != nil {
		return fmt.Errorf("print settings: %w", err)
	}
	if res.Level == flight.Bad {
		return errBadVerdict
	}
	return nil
}

// described reads rocket and site from the configuration; nil without one. A
// configuration with one rocket needs no --rocket.
func (c *tuneCmd) described() (*tune.Described, error) {
	if c.Config == "" {
		return nil, nil
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	d := tune.Described{Site: cfg.Site}
	switch {
	case c.Rocket == "" && len(cfg.Rockets) == 1:
		d.Rocket = cfg.Rockets[0]
	case len(cfg.Rockets) == 0:
		err = fmt.Errorf("--config %s: it has no [[rocket]] whose release could be tuned; add one", c.Config)
	case c.Rocket == "":
		names := make([]string, len(cfg.Rockets))
		for i, r := range cfg.Rockets {
			names[i] = r.Name
		}
		err = fmt.Errorf("--config %s: it has several rockets; choose one with --rocket: %s", c.Config, strings.Join(names, ", "))
	default:
		d.Rocket, err = namedRocket(cfg, c.Config, c.Rocket)
	}
	if err != nil && len(c.Flights) == 0 { // else it may be one of the recordings only
		return nil, err
	}
	return &d, nil
}

// recorded reads the flights that were asked for; left are those that cannot
// be used, and why.
func (c *tuneCmd) recorded(ctx context.Context, io *cmdIO) (flights []tune.Flight, left []string, err error) {
	if len(c.Flights) == 0 {
		return nil, nil, nil
	}
	a, err := c.open(ctx, io)
	if err != nil {
		return nil, nil, err
	}
	defer a.Close() //nolint:errcheck // only read from
	refs, err := report.Asked(ctx, a, c.Flights, c.Rocket)
	if err != nil {
		return nil, nil, err
	}
	p := newProgress(io.Err, "reading", "recorded flights", int64(len(refs)))
	flights, left, err = report.ForTuning(ctx, a, refs, p.done)
	p.end()
	warnLost(a, io)
	return flights, left, err
}

// onAllCores does 0 to n-1 on all processors. Each goroutine has a worker of
// its own from start. It waits for all of them and gives the first error.
func onAllCores(ctx context.Context, n int, p *progress, start func() func(i int) error) error {
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), n) {
		group.Go(func() error {
			do := start()
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := do(i); err != nil {
					return err
				}
				p.done()
			}
		})
	}
	err := group.Wait()
	p.end()
	return err
}

// printTune writes the result in words, at most 80 columns wide.
func printTune(w io.Writer, r *tune.Report, all bool) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "Release rules on %d simulated flights (%s), seed %d\n", r.Draws, r.Ensemble, r.Seed)
	wrap(b, "  ", r.Says+".")
	if r.Configured != "" {
		wrap(b, "  ", "From the configuration: "+r.Configured+".")
	}
	printRecordedTraits(b, r)
	wrap(b, "  ", fmt.Sprintf("Every rule is armed at %.1f m. From there the apogee is %.1f s to %.1f s away. A release more than %.2f s before apogee counts as early.",
		r.ArmM, r.Times.ShortestS, r.Times.LongestS, r.EarlyS))
	printTradeOff(b, r, all)
	printChecks(b, r)
	printRecommended(b, r)
	printRecorded(b, r)
	fmt.Fprintf(b, "\nCautions\n")
	for _, c := range r.Cautions {
		wrap(b, "  - ", c)
	}
	fmt.Fprintln(b)
	wrap(b, "Verdict: ", r.Verdict)
	return b.Flush()
}

func printRecordedTraits(b io.Writer, r *tune.Report) {
	if t := r.Traits; t != nil {
		wrap(b, "  ", fmt.Sprintf("%d recorded flights: apogee %.0f to %.0f m, %.1f readings a second, noise %.2f to %.2f m, steps of %.1f Pa.",
			t.Flights, t.ApogeeM[0], t.ApogeeM[1], t.RateHz, t.NoiseM[0], t.NoiseM[1], t.StepPa))
	}
	for _, l := range r.Left {
		wrap(b, "  ", "Left out: "+l)
	}
}

// printTradeOff prints the settings that none other beats and the best of each
// family, or all.
func printTradeOff(b io.Writer, r *tune.Report, all bool) {
	show := r.Shown(all)
	if !all {
		fmt.Fprintf(b, "\nThe fastest for each risk, and the best of each kind (%d of %d; * recommended)\n", len(show), len(r.Stats))
	} else {
		fmt.Fprintf(b, "\nAll settings (* recommended)\n")
	}
	fmt.Fprintf(b, "%-23s%-21s%6s%6s%6s%6s%6s%6s\n", "", "fails in 1000", "early", "never", "lag s", "lag s", "below", "speed")
	fmt.Fprintf(b, "%-23s%-21s%6s%6s%6s%6s%6s%6s\n", "", "       (95 % sure)", "", "", "50 %", "95 %", "m", "m/s")
	for _, i := range show {
		mark := "  "
		if i == r.Best[0].Index {
			mark = "* "
		}
		printRow(b, mark, &r.Stats[i])
	}
	wrap(b, "  ", "For example \"drop 1.50 m, 1/4, 3x\" is 1.50 m below the highest, smoothed by 1/4, three readings in a row. "+
		"Below and speed: in 95 of 100 releases the rocket is no further below its apogee, and no faster.")
}

func printRow(b io.Writer, mark string, s *tune.Stats) {
	f := s.Failed
	fails := fmt.Sprintf("%s (%s to %s)", perMille(f.Share), perMille(f.Low), perMille(f.High))
	fmt.Fprintf(b, "%s%-21s%-21s%6d%6d", mark, s.Settings, fails, s.Early.Count, s.Never.Count)
	if s.LagS == nil {
		fmt.Fprintf(b, "%6s%6s%6s%6s\n", "–", "–", "–", "–")
		return
	}
	fmt.Fprintf(b, "%6.2f%6.2f%6.1f%6.1f\n", s.LagS.P50, s.LagS.P95, s.BelowM.P95, s.Fastest())
}

// perMille is a share in 1000, with two figures and no exponent.
func perMille(share float64) string {
	v := 1000 * share
	switch {
	case v >= 9.95:
		return fmt.Sprintf("%.0f", v)
	case v >= 0.995:
		return fmt.Sprintf("%.1f", v)
	case v == 0:
		return "0"
	}
	return fmt.Sprintf("%.2f", v)
}

// printChecks prints what fresh flights made of the best.
func printChecks(b io.Writer, r *tune.Report) {
	fmt.Fprintf(b, "\nThe best of each kind again, on %d fresh flights\n", r.Draws)
	for i := range r.Best {
		x := &r.Best[i]
		mark := "  "
		if i == 0 {
			mark = "* "
		}
		printRow(b, mark, &x.Fresh)
		if !x.Agrees {
			wrap(b, "    ", "This disagrees with the first flights by more than chance.")
		}
	}
	if p := r.PadArmed; p != nil {
		wrap(b, "  ", fmt.Sprintf("On the pad, in wind and with drift, the recommended one was armed by mistake in %d of %d hours (95 %% sure: at most %.0f in 100).",
			p.Count, p.Of, 100*p.High))
	}
}

func printRecommended(b io.Writer, r *tune.Report) {
	x := &r.Best[0]
	fmt.Fprintf(b, "\nRecommended: %v\n", x.Settings)
	for _, s := range r.Explained {
		wrap(b, "  ", s)
	}
	why := "Of the settings that keep the limit, and release no more than 0.1 s later than the fastest of them, it failed least: a servo takes longer than that to turn."
	if !x.Sure {
		why = "None keeps the limit; it is the one that fails least."
	}
	wrap(b, "  ", why)
	if r.Times.BackupS > 0 {
		text := fmt.Sprintf("The backup of %.1f s is later than every climb that was simulated, so that it cuts none short.", r.Times.BackupS)
		if r.Times.BackupS <= r.Times.LongestS {
			text = fmt.Sprintf("The backup of %.1f s is SHORTER than the longest climb of %.1f s: it opens at speed then.", r.Times.BackupS, r.Times.LongestS)
		}
		if r.Times.TooLate > 0 {
			text += fmt.Sprintf(" In %.2g %% of the flights a rocket without its parachute is on the ground before it.", 100*r.Times.TooLate)
		}
		wrap(b, "  ", text)
	}
	fmt.Fprintf(b, "\nTo type into the firmware (--header writes it for deploy/firmware/apogee.c)\n")
	for _, e := range r.Firmware {
		fmt.Fprintf(b, "  %-20s%8d   %s\n", e.Name, e.Value, e.Says)
	}
}

func printRecorded(b io.Writer, r *tune.Report) {
	if len(r.Recorded) == 0 {
		return
	}
	fmt.Fprintf(b, "\nThe recommended one on recorded flights\n")
	fmt.Fprintf(b, "%-42s%9s%8s%9s%10s\n", "", "apogee m", "lag s", "height m", "speed m/s")
	for _, f := range r.Recorded {
		name := clip(f.Flight, 40)
		if f.LagS == nil {
			fmt.Fprintf(b, "  %-40s%9.1f   NOT RELEASED before the ground\n", name, f.ApogeeM)
			continue
		}
		note := ""
		switch {
		case f.Early:
			note = " !"
		case f.Backup:
			note = " b"
		case f.AfterOpen:
			note = " o"
		}
		fmt.Fprintf(b, "  %-40s%9.1f%8.2f%9.1f%10.1f%s\n", name, f.ApogeeM, *f.LagS, *f.HeightM, *f.SpeedMps, note)
	}
	wrap(b, "  ", "! early; b by the backup time; o after that day's own release, so under the parachute: "+
		"the lag would be shorter, and the speed higher, without it.")
}
