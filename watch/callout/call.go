package callout

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Rank orders calls: the smaller, the more urgent.
type Rank int

// Ranks.
const (
	Warning Rank = 1 // danger: look up
	Notice  Rank = 2 // something to act on before going on
	Moment  Rank = 3 // liftoff, apogee, release, touchdown
	Number  Rank = 4 // a height passed on the way up
)

// Call is one thing to be heard.
type Call struct {
	At     time.Time `json:"at"` // event time of what it tells, UTC
	Rocket string    `json:"rocket,omitempty"`
	Rank   Rank      `json:"rank"`
	// Kind is the event's or alarm's kind, or "height".
	Kind string `json:"kind"`
	Text string `json:"text"`
	// Tones sound before the text, or in its place where nothing can speak.
	Tones []Tone `json:"tones"`
}

// Tone is one beep and the silence after it.
type Tone struct {
	Hz    int `json:"hz"`
	Ms    int `json:"ms"`
	GapMs int `json:"gap_ms"`
}

// tones gives the pattern of a call. The patterns differ in rhythm as well as
// in pitch, so that they can be told apart by people who hear high tones
// badly. They are shared: not to be written to.
func tones(kind string, rank Rank) []Tone {
	switch {
	case rank == Warning:
		return warningTones
	case rank == Notice:
		return noticeTones
	case rank == Number:
		return numberTones
	}
	return momentTones[kind]
}

var (
	warningTones = []Tone{{2000, 120, 40}, {1200, 120, 40}, {2000, 120, 40}, {1200, 120, 40}, {2000, 120, 40}, {1200, 240, 0}}
	noticeTones  = []Tone{{700, 200, 120}, {700, 200, 0}}
	numberTones  = []Tone{{900, 40, 0}}
	momentTones  = map[string][]Tone{
		"liftoff":   {{500, 80, 20}, {750, 80, 20}, {1000, 160, 0}},
		"apogee":    {{1000, 350, 0}},
		"release":   {{1000, 80, 40}, {1000, 80, 0}},
		"touchdown": {{1000, 80, 20}, {750, 80, 20}, {500, 160, 0}},
	}
)

// Config is the [callout] table of the configuration.
type Config struct {
	// Command is run for each call, with the text and a line feed on its
	// standard input: a speech synthesiser, say. {language} in an argument becomes
	// "en", "de" or "ja", for its voice. Empty: nothing is run.
	Command []string `toml:"command" json:"command,omitempty"`
	// HeightsM calls the height each so many metres on the way up; 0 not.
	HeightsM float64 `toml:"heights_m" json:"heights_m,omitempty"`
	// Off lists kinds that are not called: an event ("burnout" never is), an
	// alarm, or "height". Warnings to look up are always called.
	Off []string `toml:"off" json:"off,omitempty"`
	// LongestS is how long one command may run before it is ended, in s; 8 if
	// not given.
	LongestS float64 `toml:"longest_s" json:"longest_s,omitempty"`
}

// Validate says what is wrong, naming the key and the mend.
func (c Config) Validate() error {
	if len(c.Command) > 0 && strings.TrimSpace(c.Command[0]) == "" {
		return fmt.Errorf("callout.command: the program's name is empty; give it as the first of a list, or leave command out")
	}
	for _, n := range []struct {
		key string
		v   float64
		max float64
	}{{"heights_m", c.HeightsM, 10000}, {"longest_s", c.LongestS, 120}} {
		if math.IsNaN(n.v) || n.v < 0 || n.v > n.max {
			return fmt.Errorf("callout.%s: %v is out of range; give a number from 0 to %v", n.key, n.v, n.max)
		}
	}
	if c.HeightsM > 0 && c.HeightsM < 5 {
		return fmt.Errorf("callout.heights_m: %v m would talk without a break; give 5 m at least, or 0 for none", c.HeightsM)
	}
	return nil
}
