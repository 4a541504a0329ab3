package flight_test

import (
	"math"
	"slices"
	"testing"

	"padlark/flight/ensemble"
)

// cutWide and cutRough are the worlds in which BenchmarkEnsemble counts calls.
func cutWide() ensemble.Spec {
	s := ensemble.Wide()
	s.Parametric, s.CutS = true, 8
	return s
}

func cutRough() ensemble.Spec {
	s := ensemble.Rough()
	s.CutS = 8
	return s
}

// TestTracedCalls: flights whose apogee was once called while they climbed, or never.
func TestTracedCalls(t *testing.T) {
	for _, c := range []struct {
		spec    ensemble.Spec
		flights []uint64
		says    string
	}{
		{cutRough(), []uint64{1473, 2784}, "a vent that reads 500 m high under thrust, and then stands still"},
		{cutRough(), []uint64{554, 1922}, "a vent that reads high, of a rocket that flies across at the top"},
		{cutRough(), []uint64{600}, "the same, and nothing is heard from before the top"},
		{cutWide(), []uint64{72, 957, 1329, 1601}, "10 to 13 m high, in gusts of more than a metre"},
		{cutWide(), []uint64{1261}, "12 m high, and only its top is heard"},
		{cutWide(), []uint64{1514}, "gusts that lower the level for ten seconds before the liftoff"},
	} {
		for _, i := range c.flights {
			f, err := ensemble.Draw(c.spec, 7, i)
			if err != nil {
				t.Fatal(err)
			}
			if got := follow(&f); math.IsNaN(got.late) || got.late < -0.1 {
				t.Errorf("%s %d (%s): called %.2f s after the apogee", c.spec.Name, i, c.says, got.late)
			}
		}
	}
}

// TestTracedAlarms: healthy flights that once raised an alarm of what was not so.
func TestTracedAlarms(t *testing.T) {
	for _, c := range []struct {
		spec    ensemble.Spec
		flights []uint64
		not     []string
		says    string
	}{
		{ensemble.Rough(), []uint64{83, 259, 306, 438}, []string{"sensor-drift", "sensor-coarse", "sensor-noisy"}, "a vent that reads low under thrust, before the liftoff is sure"},
		{ensemble.Rough(), []uint64{88, 211}, []string{"no-release"}, "a release at the end of the delay that is heard a frame later"},
		{ensemble.Rough(), []uint64{195, 228, 232, 388, 458}, []string{"out-of-field"}, "what it flies across is spent under the canopy, and there is less wind below"},
		{ensemble.Rough(), []uint64{104, 219}, []string{"ballistic"}, "20 m/s under the first of two canopies, and a vent that errs"},
		{ensemble.Rough(), []uint64{366}, []string{"ballistic"}, "a vent that errs by 13 m until the parachute ends what it flies across"},
		{wideNominal(), []uint64{360}, []string{"servo-moving", "armed-early", "sensor-drift"}, "a low flight in gusts"},
		{wideNominal(), []uint64{157}, []string{"not-at-rest"}, "sinks slowly, in steps of more than a metre"},
	} {
		for _, i := range c.flights {
			f, err := ensemble.Draw(c.spec, suiteSeed, i)
			if err != nil {
				t.Fatal(err)
			}
			raised, err := listen(&f, f.EndS)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range falseAlarms(&f, raised) {
				if slices.Contains(c.not, r.alarm.Kind) {
					t.Errorf("%s %d (%s): %s", c.spec.Name, i, c.says, r.alarm.Reason)
				}
			}
		}
	}
}
