package track

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"padlark/flight/ensemble"
)

func TestDebug(t *testing.T) {
	name := os.Getenv("SPEC")
	if name == "" {
		t.Skip()
	}
	slow := ensemble.Slow10()
	slow.Parametric, slow.PadS, slow.CutS = true, ensemble.Range{Lo: 3, Hi: 5}, 2
	wide := ensemble.Wide()
	wide.Parametric, wide.CutS = true, 8
	spec := map[string]ensemble.Spec{"short": ensemble.Short(), "slow": slow, "wide": wide, "nom": ensemble.Nominal50()}[name]
	idx, _ := strconv.Atoi(os.Getenv("I"))
	f, err := ensemble.Draw(spec, 7, uint64(idx))
	if err != nil {
		t.Fatal(err)
	}
	tr := New(Config{Rocket: f.Rocket, Site: f.Site})
	fmt.Printf("%+v\n%+v\n", f.Setup, f.Truth)
	for i := range f.Samples {
		s := &f.Samples[i]
		ev := tr.Sample(s)
		for _, e := range ev {
			fmt.Printf("  EVENT %s at %.3f called %.3f %s\n", e.Kind, f.S(e.At), f.S(e.CalledAt), e.Note)
		}
		if !tr.flying {
			continue
		}
		fl := &tr.filter
		tt := f.S(s.At)
		p := f.Truth.At(tt)
		fmt.Printf("%.3f true h %.2f v %.2f | raw %.2f | w %.1e %.1e %.1e | v %.2f±%.2f %.2f±%.2f %.2f±%.2f | drag %.4f true? in %.2f health %.2f p0 %.2e pe %.2e noise %.2f gust %.2f±%.2f (%.2f)\n", tt, p.Height, p.Speed, tr.hist.at(0).h,
			fl.w[0], fl.w[1], fl.w[2], fl.x[0][1], math.Sqrt(fl.p[0][1][1]), fl.x[1][1], math.Sqrt(fl.p[1][1][1]), fl.x[2][1], math.Sqrt(fl.p[2][1][1]), math.Exp(fl.x[1][2]), fl.inlier, fl.health, fl.faster(0), fl.faster(earlyMps), math.Sqrt(fl.noise), fl.x[1][3], math.Sqrt(fl.p[1][3][3]), math.Sqrt(fl.gust))
	}
}
