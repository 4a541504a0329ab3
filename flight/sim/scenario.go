package sim

import (
	"bytes"
	_ "embed" // for the demo
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"padlark/decode"
	"padlark/flight"
)

// Scenario is a day on the field as data. One round flies each rocket once.
type Scenario struct {
	Name string `toml:"name"`
	// RoundS is the length of a round in s; the boards go on at its start and
	// off BreakS before its end.
	RoundS  float64         `toml:"round_s"`
	BreakS  float64         `toml:"break_s"`
	Site    flight.Site     `toml:"site"`
	Links   []Link          `toml:"link"`
	Layouts []decode.Layout `toml:"layout"`
	Boards  []Board         `toml:"board"`
}

// Link is one port or socket with what it does to the frames.
type Link struct {
	Name string `toml:"name"`
	// Kind is serial (a stream of bytes that reads cut anywhere) or udp (each
	// frame a datagram).
	Kind string `toml:"kind"`
	// Baud is the line rate of a serial link in bits per second.
	Baud int `toml:"baud"`
	// Layout is that of the frames on it.
	Layout string `toml:"layout"`
	// Loss is the fraction of the frames that the radio loses, Burst the mean
	// frames in a loss, BitErrors the chance of a flipped bit.
	Loss      float64 `toml:"loss"`
	Burst     float64 `toml:"burst"`
	BitErrors float64 `toml:"bit_errors"`
	// ReadBytes is the mean size of one read of a serial port.
	ReadBytes float64 `toml:"read_bytes"`
	// GarbagePerMin is how often a minute a few bytes of noise arrive.
	GarbagePerMin float64 `toml:"garbage_per_min"`
	// DelayS is the least time on the way, beside that of the bytes.
	DelayS float64 `toml:"delay_s"`
}

// Board is one rocket with its electronics and its flight.
type Board struct {
	Rocket flight.Rocket `toml:"rocket"`
	Link   string        `toml:"link"`
	// LiftoffS is when it goes up, in s after the start of the round.
	LiftoffS float64 `toml:"liftoff_s"`
	ApogeeM  float64 `toml:"apogee_m"`
	SinkMps  float64 `toml:"sink_mps"`
	// ReleaseLagS is from apogee to the release; negative is before it.
	// NoRelease leaves the parachute in.
	ReleaseLagS float64 `toml:"release_lag_s"`
	NoRelease   bool    `toml:"no_release"`
	TiltDeg     float64 `toml:"tilt_deg"`
	// NoiseM is the barometer's white noise as height, rms, StepPa its
	// resolution.
	NoiseM  float64 `toml:"noise_m"`
	StepPa  float64 `toml:"step_pa"`
	SkewPpm float64 `toml:"skew_ppm"`
}

// LinkOf is the link of a name; if that is empty the only one of a kind, or the only one.
func (s *Scenario) LinkOf(kind, name string) (Link, error) {
	var fit []Link
	var names []string
	for _, l := range s.Links {
		if l.Name == name {
			return l, nil
		}
		names = append(names, l.Name)
		if l.Kind == kind || len(s.Links) == 1 {
			fit = append(fit, l)
		}
	}
	if name == "" && len(fit) == 1 {
		return fit[0], nil
	}
	return Link{}, fmt.Errorf("say which link to send, one of %s", strings.Join(names, ", "))
}

//go:embed demo.toml
var demoText []byte

// Demo is the built-in scenario: three rockets, three layouts, two kinds of
// link, one late release.
func Demo() (Scenario, error) {
	s, err := Parse(demoText)
	if err != nil {
		return s, fmt.Errorf("read the built-in scenario: %w", err)
	}
	return s, nil
}

// DemoText is the text of the built-in scenario, as an example to print.
func DemoText() string { return string(demoText) }

// DemoLayouts is the part of DemoText that holds the [[layout]] tables, as a
// configuration has them.
func DemoLayouts() string {
	text := string(demoText)
	return text[strings.Index(text, "[[layout]]"):strings.Index(text, "[[board]]")]
}

// Parse reads a scenario from TOML. An unknown key or a contradiction is an
// error that names it.
func Parse(text []byte) (Scenario, error) {
	var s Scenario
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		var strict *toml.StrictMissingError
		if errors.As(err, &strict) {
			return s, fmt.Errorf("read scenario: unknown key\n%s", strict.String())
		}
		var bad *toml.DecodeError
		if errors.As(err, &bad) {
			row, col := bad.Position()
			return s, fmt.Errorf("read scenario: line %d, column %d, %s: %w", row, col, strings.Join(bad.Key(), "."), err)
		}
		return s, fmt.Errorf("read scenario: %w", err)
	}
	return s, s.Validate()
}

// Validate says what in the scenario cannot be flown, naming the key.
func (s *Scenario) Validate() error {
	if !(s.RoundS > s.BreakS && s.BreakS >= 0) {
		return fmt.Errorf("scenario: round_s = %g must be above break_s = %g, and that not below 0", s.RoundS, s.BreakS)
	}
	if s.Site.ElevationM == nil || s.Site.TemperatureC == nil {
		return errors.New("scenario: [site] needs elevation_m and temperature_c")
	}
	for _, q := range []quantity{
		{"round_s", s.RoundS, 10, 3600}, {"site.elevation_m", *s.Site.ElevationM, -400, 5000},
		{"site.temperature_c", *s.Site.TemperatureC, -40, 55}, {"site.wind_mps", s.Site.WindMps, 0, 20},
	} {
		if err := q.check(); err != nil {
			return fmt.Errorf("scenario: %w", err)
		}
	}
	if len(s.Boards) == 0 || len(s.Links) == 0 {
		return errors.New("scenario: it needs at least one [[link]] and one [[board]]")
	}
	for i, l := range s.Links {
		if err := l.validate(); err != nil {
			return fmt.Errorf("scenario: link %q: %w", l.Name, err)
		}
		if slices.ContainsFunc(s.Links[:i], func(o Link) bool { return o.Name == l.Name }) {
			return fmt.Errorf("scenario: link %q is there twice; give one another name", l.Name)
		}
	}
	for i, b := range s.Boards {
		if err := b.validate(s); err != nil {
			return fmt.Errorf("scenario: board %q: %w", b.Rocket.Name, err)
		}
		if slices.ContainsFunc(s.Boards[:i], func(o Board) bool { return o.Rocket.Name == b.Rocket.Name }) {
			return fmt.Errorf("scenario: board %q is there twice; give one another name", b.Rocket.Name)
		}
	}
	return nil
}

// quantity is one number of a scenario with its limits.
type quantity struct {
	key    string
	value  float64
	lo, hi float64
}

func (q quantity) check() error {
	if !(q.value >= q.lo && q.value <= q.hi) {
		return fmt.Errorf("%s = %g; write %g to %g", q.key, q.value, q.lo, q.hi)
	}
	return nil
}

func checkAll(qs []quantity) error {
	for _, q := range qs {
		if err := q.check(); err != nil {
			return err
		}
	}
	return nil
}

func (l *Link) validate() error {
	switch {
	case l.Name == "":
		return errors.New("name is missing")
	case l.Kind != kindSerial && l.Kind != kindUDP:
		return fmt.Errorf("kind = %q is not known; write serial or udp", l.Kind)
	case l.Kind == kindSerial && l.Baud < 300:
		return fmt.Errorf("baud = %d; a serial link needs 300 or more", l.Baud)
	case l.Burst != 0 && !(l.Burst >= 1):
		return fmt.Errorf("burst = %g frames; write 1 or more", l.Burst)
	}
	return checkAll([]quantity{
		{"loss", l.Loss, 0, 0.99}, {"burst", l.Burst, 0, 1000}, {"bit_errors", l.BitErrors, 0, 0.1},
		{"read_bytes", l.ReadBytes, 0, 4096}, {"garbage_per_min", l.GarbagePerMin, 0, 6000}, {"delay_s", l.DelayS, 0, 10},
	})
}

func (b *Board) validate(s *Scenario) error {
	switch {
	case b.Rocket.Name == "":
		return errors.New("rocket.name is missing")
	case b.Rocket.ID == nil:
		return errors.New("rocket.id is missing")
	case !slices.ContainsFunc(s.Links, func(l Link) bool { return l.Name == b.Link }):
		return fmt.Errorf("link = %q does not exist", b.Link)
	case !(b.LiftoffS >= 1 && b.LiftoffS < s.RoundS-s.BreakS):
		return fmt.Errorf("liftoff_s = %g; write 1 to below round_s - break_s = %g", b.LiftoffS, s.RoundS-s.BreakS)
	}
	return checkAll([]quantity{
		{"rocket.rate_hz", b.Rocket.RateHz, 1, 1000}, {"apogee_m", b.ApogeeM, 2, 1500}, {"sink_mps", b.SinkMps, 1, 20},
		{"release_lag_s", b.ReleaseLagS, -10, 60}, {"tilt_deg", b.TiltDeg, -30, 30},
		{"noise_m", b.NoiseM, 0.001, 10}, {"step_pa", b.StepPa, 0.001, 100}, {"skew_ppm", b.SkewPpm, -1000, 1000},
	})
}

// The kinds of link.
const (
	kindSerial = "serial"
	kindUDP    = "udp"
)

// Rockets are the rockets as their builder would configure them.
func (s *Scenario) Rockets() []flight.Rocket {
	out := make([]flight.Rocket, len(s.Boards))
	for i, b := range s.Boards {
		out[i] = b.Rocket
	}
	return out
}
