package flight_test

import (
	"slices"
	"testing"

	"padlark/flight/ensemble"
)

// TestCasesRaiseNothingFalse: what recorded flights contain is no reason for an
// alarm, but where the flight itself is one.
func TestCasesRaiseNothingFalse(t *testing.T) {
	right := map[string][]string{
		// It falls without a parachute.
		"ends-ballistic": {"ballistic", "no-release"},
		// For two seconds nothing tells it from a rocket that stays where it is
		// and whose barometer has gone wrong.
		"speed-dip": {"no-liftoff", "sensor-drift"},
	}
	must := map[string]string{"ends-ballistic": "ballistic"}
	for _, c := range ensemble.Cases() {
		t.Run(c.Name, func(t *testing.T) {
			f, err := c.Draw(1)
			if err != nil {
				t.Fatal(err)
			}
			raised, err := listen(&f, f.S(f.Samples[len(f.Samples)-1].Heard))
			if err != nil {
				t.Fatal(err)
			}
			missing := must[c.Name]
			for _, r := range falseAlarms(&f, raised) {
				if r.alarm.Kind == missing {
					missing = ""
				}
				if !slices.Contains(right[c.Name], r.alarm.Kind) {
					t.Errorf("%.2f s after the liftoff: %s", r.at-f.Truth.LiftoffS, r.alarm.Reason)
				}
			}
			if missing != "" {
				t.Errorf("no alarm %s", missing)
			}
		})
	}
}

// TestRoughCasesRaiseNothingFalse: the same in the rough world.
func TestRoughCasesRaiseNothingFalse(t *testing.T) {
	right := map[string][]string{
		"tumbles":     {"ballistic", "no-release", "fast-descent"},
		"snagged":     {"ballistic", "fast-descent"}, // nothing brakes it for a while
		"two-stage":   {"fast-descent"},              // so it sinks, under the first
		"eight-bit":   {"sensor-coarse"},
		"burnout-dip": {"out-of-field", "not-armed"},
		"leap-on-pad": {"clock-jump"},
		"two-hertz":   {"rate-wrong"},
	}
	for _, c := range ensemble.RoughCases() {
		if c.Name == "restart-level" || c.Name == "restart-only" || c.Name == "long-silence" {
			continue // a flight that is invented on the pad is not the matter of an alarm
		}
		t.Run(c.Name, func(t *testing.T) {
			for seed := range uint64(6) {
				f, err := c.Draw(seed)
				if err != nil {
					t.Fatal(err)
				}
				raised, err := listen(&f, f.S(f.Samples[len(f.Samples)-1].Heard))
				if err != nil {
					t.Fatal(err)
				}
				for _, r := range falseAlarms(&f, raised) {
					if !slices.Contains(right[c.Name], r.alarm.Kind) {
						t.Errorf("seed %d, %.2f s after the liftoff: %s", seed, r.at-f.Truth.LiftoffS, r.alarm.Reason)
					}
				}
			}
		})
	}
}
