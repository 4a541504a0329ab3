package track

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"padlark/flight/ensemble"
)

func TestZZTrace(t *testing.T) {
	spec := ensemble.Rough()
	spec.CutS = 8
	i, _ := strconv.Atoi(os.Getenv("ZI"))
	if os.Getenv("ZSPEC") == "wide" {
		spec = ensemble.Wide()
		spec.Parametric, spec.CutS = true, 8
	}
	f, err := ensemble.Draw(spec, 7, uint64(i))
	if err != nil {
		t.Fatal(err)
	}
	tr := New(Config{Rocket: f.Rocket, Site: f.Site})
	u := f.Truth
	fmt.Println(f.Setup.PortCp, u.BurnoutS-u.LiftoffS, u.MaxSpeedMps)
	last := -99.0
	for k := range f.Samples {
		s := &f.Samples[k]
		for _, e := range tr.Sample(s) {
			fmt.Println("   ", e.Kind, f.S(e.At)-u.ApogeeS, f.S(e.CalledAt)-u.ApogeeS, e.Note)
		}
		at := f.S(s.At)
		if !tr.flying || at > u.ApogeeS+1 || at-last < 0.1 {
			continue
		}
		last = at
		x, p := &tr.filter.x[coast], &tr.filter.p[coast]
		fmt.Printf("%+.2f h %.1f (%.1f) v %.1f (%.1f) sd %.2f drag %.3f sd %.2f port %+.3f sd %.3f gust %.2f| w %.2g %.2g %.2g | vm %.1f early %.1e health %.2f\n", at-u.ApogeeS, x[0], u.HeightM(at), x[1], u.SpeedMps(at), math.Sqrt(p[1][1]), math.Exp(x[2]), math.Sqrt(p[2][2]), x[4], math.Sqrt(p[4][4]), x[3], tr.filter.w[0], tr.filter.w[1], tr.filter.w[2], tr.filter.x[canopy][1], tr.fl.early, tr.filter.health)
	}
}
