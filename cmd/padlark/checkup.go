package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/term"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
	"padlark/flight"
	"padlark/flight/bench"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

type checkupCmd struct {
	Target string `arg:"" name:"link-or-config" help:"Configuration file, or what to listen to: a serial port, or host:port for UDP."`
	Link   string `help:"Which link of the configuration, if it has several."`
	Rocket string `help:"Which rocket, if several are heard." placeholder:"NAME"`
	Layout string `default:"lark-bin" help:"Layout of the frames of a port (${default})."`
	Baud   int    `default:"57600" help:"Rate of a serial port (${default})."`

	Steps []string `help:"auto (no keyboard), ask, or the steps to do: before,rest,lift,jar,sound,servo. Default: ask on a terminal, else auto." placeholder:"WHICH"`
	Skip  []string `help:"Steps to leave out." placeholder:"STEP"`
	Rest  float64  `name:"rest-s" default:"20" help:"How long the board is left alone, s (${default}); minutes for a good Allan plot."`
	Wait  float64  `name:"wait-s" help:"How long to wait for each thing that hands do, s (60; 600 when asking)." placeholder:"S"`

	LiftM      float64  `name:"lift-m" default:"2" help:"How high the board is lifted, m (${default})."`
	StationHpa *float64 `name:"station-hpa" help:"Air pressure here by another instrument, not reduced to sea level, hPa." placeholder:"HPA"`
	ServoA     float64  `name:"servo-a" default:"0.5" help:"Current of the moving servo, A (${default})."`
	BrownOutV  float64  `name:"brown-out-v" help:"Where the board starts again, V (the end of discharge of the cell)." placeholder:"V"`

	Out     string `short:"o" type:"path" help:"Write a page that prints to FILE.html, or FILE.json." placeholder:"FILE"`
	Force   bool   `help:"Overwrite FILE."`
	Data    string `help:"Folder of the archive that keeps the checkup, if not the configuration's." placeholder:"DIR"`
	NoStore bool   `help:"Do not keep the checkup in the archive."`
	JSON    bool   `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (checkupCmd) Help() string {
	return "Example: padlark checkup padlark.toml --rocket Teal -o teal-checkup.html\n\n" +
		"Leads through a bench test of an altimeter and judges each step by what it sends. " +
		"Never with a pressurised bottle or a motor attached: the servo moves without warning. " +
		"Lithium cells can burn. Exit status 1 if something is bad."
}

// Run does the checkup, prints it and keeps it.
func (c *checkupCmd) Run(ctx context.Context, io *cmdIO) error {
	if c.Out != "" {
		if err := report.CheckTarget(c.Out, c.Force, ".html", ".json"); err != nil {
			return usageError{err}
		}
	}
	cfg, stored, err := c.config()
	if err != nil {
		return usageError{err}
	}
	plan, err := c.plan(cfg, io)
	if err != nil {
		return usageError{err}
	}
	// The links' log and what the person is told are written by two goroutines.
	io = &cmdIO{In: io.In, Out: io.Out, Err: &sharedWriter{w: io.Err}}
	ear, err := station.NewEar(cfg, newLog(io.Err))
	if err != nil {
		return usageError{err}
	}
	b, err := bench.New(plan, ear.Clock().Epoch)
	if err != nil {
		return usageError{err}
	}
	for _, caution := range bench.Cautions(plan.Rocket) {
		wrap(io.Err, "  ! ", caution)
	}
	rep, err := sit(ctx, ear, b, plan.Asks, io)
	if err != nil {
		return err
	}
	rep.Version = softwareVersion()
	if err := c.keep(ctx, &rep, stored, io); err != nil {
		return err
	}
	if err := c.print(&rep, io); err != nil {
		return err
	}
	if rep.Level == bench.Bad {
		return errBadVerdict
	}
	return nil
}

// config is the configuration to listen with: the given file's with one link,
// or one made for a port. stored is the archive's folder, "" for none.
func (c *checkupCmd) config() (cfg *config.Config, stored string, err error) {
	stored = c.Data
	if st, serr := os.Stat(c.Target); serr == nil && st.Mode().IsRegular() {
		if cfg, err = config.Load(c.Target); err != nil {
			return nil, "", err
		}
		if stored == "" {
			stored = cfg.Station.Data
		}
		if err = c.chooseLink(cfg); err != nil {
			return nil, "", err
		}
	} else if cfg, err = c.portConfig(); err != nil {
		return nil, "", err
	}
	if c.NoStore {
		stored = ""
	}
	return cfg, stored, nil
}

// chooseLink leaves one link in the configuration.
func (c *checkupCmd) chooseLink(cfg *config.Config) error {
	var names []string
	links := cfg.Links
	cfg.Links = nil
	for _, l := range links {
		names = append(names, l.Name)
		if l.Name == c.Link || c.Link == "" && len(links) == 1 {
			cfg.Links = append(cfg.Links, l)
		}
	}
	if len(cfg.Links) == 0 {
		return fmt.Errorf("--link: say which link the board is heard on, one of %s", strings.Join(names, ", "))
	}
	return nil
}

// portConfig is a configuration for a bare port or address.
func (c *checkupCmd) portConfig() (*config.Config, error) {
	var link string
	switch {
	case strings.HasSuffix(c.Target, ".toml"):
		_, err := config.Load(c.Target)
		return nil, err
	case strings.HasPrefix(c.Target, "/dev/") || comPort.MatchString(c.Target):
		link = fmt.Sprintf("serial = %q\nbaud = %d", c.Target, c.Baud)
	case strings.Contains(c.Target, ":"):
		link = fmt.Sprintf("udp = %q", c.Target)
	default:
		return nil, fmt.Errorf("there is no file or port %q: name a configuration, a serial port (padlark ports lists them) or host:port for UDP", c.Target)
	}
	text := fmt.Sprintf("[[link]]\nname = \"bench\"\n%s\nlayout = %q\n", link, c.Layout)
	cfg, err := config.Parse("the link "+c.Target, []byte(text))
	if err != nil {
		return nil, fmt.Errorf("listen to %s: %w", c.Target, err)
	}
	return cfg, nil
}

// plan is what to check.
func (c *checkupCmd) plan(cfg *config.Config, io *cmdIO) (bench.Plan, error) {
	p := bench.Plan{
		Known: cfg.Rockets, Site: cfg.Site, RestS: c.Rest, WaitS: c.Wait, LiftM: c.LiftM, ServoA: c.ServoA, BrownOutV: c.BrownOutV,
	}
	if c.StationHpa != nil {
		pa := 100 * *c.StationHpa
		p.StationPa = &pa
	}
	switch {
	case c.Rocket != "" && len(cfg.Rockets) > 0 && !slices.ContainsFunc(cfg.Rockets, func(r flight.Rocket) bool { return r.Name == c.Rocket }):
		return p, fmt.Errorf("--rocket %s: the configuration has no such [[rocket]]", c.Rocket)
	case c.Rocket != "":
		p.Rocket = cfg.Rocket(c.Rocket)
	case len(cfg.Rockets) == 1:
		p.Rocket = cfg.Rockets[0]
	}
	f, terminal := io.In.(*os.File)
	p.Asks = terminal && term.IsTerminal(int(f.Fd()))
	if err := c.chooseSteps(&p); err != nil {
		return p, err
	}
	if p.Asks && p.WaitS == 0 {
		p.WaitS = 600
	}
	return p, nil
}

// chooseSteps reads --steps and --skip.
func (c *checkupCmd) chooseSteps(p *bench.Plan) error {
	wanted := map[bench.Step]bool{}
	for _, s := range c.Steps {
		switch s {
		case "auto":
			p.Asks = false
		case "ask":
			p.Asks = true
		default:
			wanted[bench.Step(s)] = true
		}
	}
	some := len(wanted) > 0
	for _, s := range bench.AllSteps() {
		if some && !wanted[s] {
			p.Skip = append(p.Skip, s)
		}
		delete(wanted, s)
	}
	for s := range wanted {
		return fmt.Errorf("--steps %s: there is no such step; give auto, ask, or some of before, rest, lift, jar, sound, servo", s)
	}
	for _, s := range c.Skip {
		p.Skip = append(p.Skip, bench.Step(s))
	}
	return nil
}

// keep stores the checkup in the archive.
func (c *checkupCmd) keep(ctx context.Context, rep *bench.Report, dir string, io *cmdIO) error {
	if dir == "" || rep.Rocket == "" {
		fmt.Fprintln(io.Err, "not kept in an archive (--data DIR names one)")
		return nil
	}
	data, err := json.Marshal(rep)
	if err != nil {
		return fmt.Errorf("write checkup: %w", err)
	}
	a, err := openToAdd(ctx, dir, io)
	if err != nil {
		return err
	}
	err = a.AddCheckup(ctx, sqlite.Checkup{Rocket: rep.Rocket, At: rep.At, Verdict: rep.Verdict, Version: rep.Version, Report: data})
	return errors.Join(err, a.Close())
}

// openToAdd opens an archive for a small addition, beside a running station;
// one that is not there yet is made.
func openToAdd(ctx context.Context, dir string, io *cmdIO) (*sqlite.Archive, error) {
	path := filepath.Join(dir, sqlite.FileName)
	a, err := sqlite.OpenBeside(path)
	if errors.Is(err, os.ErrNotExist) || errors.Is(err, sqlite.ErrOlder) {
		return openArchive(ctx, dir)
	}
	return a, err
}

// print writes the checkup where it is wanted.
func (c *checkupCmd) print(rep *bench.Report, io *cmdIO) error {
	if c.Out != "" {
		page, err := report.CheckupPage(rep, strings.ToLower(filepath.Ext(c.Out)))
		if err == nil {
			err = writeFile(c.Out, page)
		}
		if err != nil {
			return err
		}
	}
	if c.JSON {
		return printJSON(io.Out, "  ", rep)
	}
	return printCheckup(io.Out, rep)
}
