package main

import (
	"fmt"
	"testing"

	"padlark/flight/sim"
)

// fall is a flight of Rust, whose parachute stays in, and the station that hears it;
// for tests that follow one in real time.
type fall struct {
	station, link, layout string
	round, liftoff        float64 // s
	apogee                float64 // m
	more                  string  // boards
}

const boardOnPad = `
[[board]]
link = %q
liftoff_s = %.1f
apogee_m = %.1f
sink_mps = 6.0
noise_m = 0.2
step_pa = 0.1
%s
[board.rocket]
name = %q
id = %d
release = "servo"
cell = "lipo-1s"
rate_hz = 50
`

func (f fall) scenario(t *testing.T) sim.Scenario {
	t.Helper()
	text := fmt.Sprintf(`
name = %q
round_s = %.1f
break_s = 1.0
[site]
elevation_m = 212.0
temperature_c = 17.5
[[link]]
name = %q
kind = "udp"
layout = %q
`, f.station, f.round, f.link, f.layout) + f.more + fmt.Sprintf(boardOnPad, f.link, f.liftoff, f.apogee, "no_release = true", "Rust", 8)
	sc, err := sim.Parse([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

// config is the station's, with more of what may follow a table.
func (f fall) config(t *testing.T, data, udp, more string) (path string) {
	t.Helper()
	return writeConfig(t, fmt.Sprintf(`
[station]
name = %q
data = %q
[[link]]
name = %q
udp = %q
layout = %q
[site]
temperature_c = 17.5
elevation_m = 212
[[rocket]]
name = "Rust"
id = 8
cell = "lipo-1s"
release = "servo"
release_delay_s = 0.5
mass_kg = 0.145
diameter_m = 0.09
cd = 0.45
`, f.station, data, f.link, udp, f.layout)+more)
}

// writesDown is a callout that writes down what is said, and when.
func writesDown(said string) string {
	return fmt.Sprintf("[callout]\ncommand = [\"/bin/sh\", \"-c\", \"read -r words; echo $(date +%%s%%N) \\\"$words\\\" >> \\\"$0\\\"\", %q]\n", said)
}
