package track

import (
	"fmt"
	"os"
	"strconv"
	"testing"

	"padlark/flight/ensemble"
)

func TestDump(t *testing.T) {
	if os.Getenv("DUMP") == "" {
		t.Skip()
	}
	wide := ensemble.Wide()
	wide.Parametric, wide.CutS = true, 8
	idx, _ := strconv.Atoi(os.Getenv("I"))
	f, _ := ensemble.Draw(wide, 7, uint64(idx))
	tr := New(Config{Rocket: f.Rocket, Site: f.Site})
	a, _ := strconv.ParseFloat(os.Getenv("A"), 64)
	b, _ := strconv.ParseFloat(os.Getenv("B"), 64)
	for i := range f.Samples {
		s := &f.Samples[i]
		tr.Sample(s)
		if x := f.S(s.At); x > a && x < b {
			fmt.Printf("%.3f z %.2f pad %.2f true %.2f\n", x, tr.hist.at(0).z, tr.pad.level, f.Truth.HeightM(x))
		}
	}
}
