package smooth

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"padlark/flight/ensemble"
)

func TestDebug(t *testing.T) {
	if os.Getenv("I") == "" {
		t.Skip()
	}
	idx, _ := strconv.Atoi(os.Getenv("I"))
	f, _ := ensemble.Draw(ensemble.Wide(), 11, uint64(idx))
	cfg := Config{Rocket: f.Rocket, Site: f.Site}
	a := analysis{cfg: cfg, events: firstFlight(replay(cfg, f.Samples))}
	a.begin(f.Samples, nil)
	r, _ := read(cfg, f.Samples, a.liftoffGuess(f.Samples))
	a.r = &r
	a.locate()
	a.noise = learnNoise(&r, orElse(a.m.liftoff, r.t[0]), orElse(a.m.touchdown, r.t[len(r.t)-1]))
	fmt.Printf("truth %+v\nnoise %+v rocket %+v\n", f.Truth, a.noise, f.Rocket)
	off := f.S(r.ref)
	a.fitAll()
	ft := a.fit
	fmt.Printf("moments %+v off %.3f noise %+v chi2 %.2f\n", a.m, off, a.noise, ft.chi2)
	for _, i := range ft.free {
		fmt.Printf("  %d: %.4f ± %.4f (prior?)\n", i, ft.q[i], math.Sqrt(ft.cov[i][i]))
	}
	to, ho := ft.path.carries(&ft.q, ft.touch)
	fmt.Printf("open %.3f %.2f  truth %.3f %.2f touch %.3f\n", to+off, ho, f.Truth.OpenS, f.Truth.HeightM(f.Truth.OpenS), ft.touch+off)
	for i, x := range r.t {
		if math.Abs(x+off-f.Truth.ApogeeS) < 2.5 && i%4 == 0 {
			h, v := ft.path.at(&ft.q, x)
			p := f.Truth.At(x + off)
			fmt.Printf("%.3f raw %.2f fit %.2f %.2f truth %.2f %.2f\n", x+off, r.h[i], h, v, p.Height, p.Speed)
		}
	}
}
