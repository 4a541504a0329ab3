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
		seed    uint64
		flights []uint64
		says    string
	}{
		{cutRough(), 7, []uint64{1473, 2784}, "a vent that reads 500 m high under thrust, and then stands still"},
		{cutRough(), 7, []uint64{554, 1922}, "a vent that reads high, of a rocket that flies across at the top"},
		{cutRough(), 7, []uint64{600}, "the same, and nothing is heard from before the top"},
		{cutWide(), 7, []uint64{72, 957, 1329, 1601}, "10 to 13 m high, in gusts of more than a metre"},
		{cutWide(), 7, []uint64{1261}, "12 m high, and only its top is heard"},
		{cutWide(), 7, []uint64{1514}, "gusts that lower the level for ten seconds before the liftoff"},
		{cutRough(), 4718, []uint64{3779}, "a vent that reads 300 m high under thrust, and then 0.3 s of nothing"},
	} {
		for _, i := range c.flights {
			f, err := ensemble.Draw(c.spec, c.seed, i)
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
	curve := 8800 + uint64(4711) // the seed of BenchmarkBallisticCurve as it is measured
	for _, c := range []struct {
		spec    ensemble.Spec
		seed    uint64
		flights []uint64
		not     []string
		says    string
	}{
		{ensemble.Rough(), suiteSeed, []uint64{83, 259, 306, 438}, []string{"sensor-drift", "sensor-coarse", "sensor-noisy"}, "a vent that reads low under thrust, before the liftoff is sure"},
		{ensemble.Rough(), suiteSeed, []uint64{88, 211}, []string{"no-release"}, "a release at the end of the delay that is heard a frame later"},
		{ensemble.Rough(), suiteSeed, []uint64{195, 228, 232, 388, 458}, []string{"out-of-field"}, "what it flies across is spent under the canopy, and there is less wind below"},
		{ensemble.Rough(), suiteSeed, []uint64{104, 219}, []string{"ballistic"}, "20 m/s under the first of two canopies, and a vent that errs"},
		{ensemble.Rough(), suiteSeed, []uint64{366}, []string{"ballistic"}, "a vent that errs by 13 m until the parachute ends what it flies across"},
		{wideNominal(), suiteSeed, []uint64{360}, []string{"servo-moving", "armed-early", "sensor-drift"}, "a low flight in gusts"},
		{wideNominal(), suiteSeed, []uint64{157}, []string{"not-at-rest"}, "sinks slowly, in steps of more than a metre"},
		{healthy(faultWorlds()[2].spec), curve, []uint64{19}, []string{"ballistic", "no-release"}, "its top is dated 0.5 s early by a vent of -28 %, and it releases at the end of the delay"},
		{healthy(faultWorlds()[2].spec), curve, []uint64{603}, []string{"ballistic"}, "its vent feigns a fall of 5 m as the parachute ends what it flies across"},
		{healthy(faultWorlds()[3].spec), curve, []uint64{229}, []string{"ballistic"}, "the same of 9 m, and its top is dated 0.7 s early"},
		{healthy(faultWorlds()[3].spec), 70002, []uint64{886}, []string{"ballistic"}, "undescribed and heavy, 25 m/s 2.6 s after the top"},
	} {
		for _, i := range c.flights {
			f, err := ensemble.Draw(c.spec, c.seed, i)
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
