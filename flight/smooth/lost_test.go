package smooth_test

import (
	"fmt"
	"strings"
	"testing"

	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// TestLostWhileClimbing: a flight of which nothing is heard after a part of the
// climb is said to be lost, whatever the board's rate, and not to have come down
// without a parachute.
func TestLostWhileClimbing(t *testing.T) {
	for _, every := range []int{1, 5, 10, 20} { // of 50 a second
		t.Run(fmt.Sprintf("%g Hz", 50/float64(every)), func(t *testing.T) {
			for i := range uint64(6) {
				spec := ensemble.Nominal50()
				spec.WaterM = ensemble.Range{Lo: 60, Hi: 150}
				f, err := ensemble.Draw(spec, 77, i)
				if err != nil {
					t.Fatal(err)
				}
				kept := f.Samples[:0]
				until := f.Truth.LiftoffS + max(0.9, 4.5*float64(every)/50)
				if until > f.Truth.ApogeeS-0.3 {
					continue
				}
				for k, s := range f.Samples {
					if k%every == 0 && f.S(s.At) < until {
						kept = append(kept, s)
					}
				}
				res, _, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, kept, nil, nil)
				if err != nil {
					t.Fatalf("flight %d: %v", i, err)
				}
				if !strings.HasPrefix(res.Verdict, "look: lost while climbing") {
					t.Errorf("flight %d: verdict %q", i, res.Verdict)
				}
			}
		})
	}
}
