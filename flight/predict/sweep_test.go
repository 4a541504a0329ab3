package predict

import (
	"errors"
	"testing"
)

// over is a range with values of its own.
func over(t *testing.T, text string, values ...float64) Over {
	t.Helper()
	o, err := ReadOver(text)
	if err != nil || len(o.Values) != 13 || o.Values[0] >= o.Values[12] {
		t.Fatalf("%s: %+v, %v", text, o, err)
	}
	o.Values = values
	return o
}

// Too little water gives too little thrust and too much is too heavy: between them
// is a best fill, about a third of the bottle (common practice, no source). The same
// draws fly at each value, so the differences are surer than the heights.
func TestSweepOfWater(t *testing.T) {
	in := teal()
	var values []float64
	for ml := 100.0; ml <= 1500; ml += 100 {
		values = append(values, ml)
	}
	s, err := RunSweep(in, over(t, "water=100:1500", values...))
	if err != nil {
		t.Fatal(err)
	}
	best := s.Points[s.Best]
	if best.Value < 400 || best.Value > 900 || best.LessM != 0 || best.Certain != 0 {
		t.Errorf("the best is %+v", best)
	}
	if s.From > best.Value || s.To < best.Value || s.From < 300 || s.To > 1100 {
		t.Errorf("open from %g to %g mL, best at %g", s.From, s.To, best.Value)
	}
	for k, p := range s.Points {
		if k > 0 && k <= s.Best && p.ApogeeM.Mean < s.Points[k-1].ApogeeM.Mean || k > s.Best && p.ApogeeM.Mean > s.Points[k-1].ApogeeM.Mean {
			t.Errorf("at %g mL %g m, at %g mL %g m: more than one top", p.Value, p.ApogeeM.Mean, s.Points[k-1].Value, s.Points[k-1].ApogeeM.Mean)
		}
		if near := k - s.Best; near >= -3 && near <= 3 && p.LessSDM >= best.ApogeeM.SD {
			t.Errorf("at %g mL the difference has ± %g m, a height ± %g m", p.Value, p.LessSDM, best.ApogeeM.SD)
		}
	}
	if far := s.Points[len(s.Points)-1]; far.Certain < 0.99 || far.LessM < 10 {
		t.Errorf("at %g mL: %+v", far.Value, far)
	}
	// More pressure is higher, and above the rating nothing is said.
	up, err := RunSweep(in, over(t, "pressure=2:4", 2, 3, 4))
	if err != nil || up.Best != 2 || up.Points[0].Certain != 1 {
		t.Errorf("over the pressure: %+v, %v", up, err)
	}
	var rating *OverRating
	if _, err := RunSweep(in, over(t, "pressure=4:9", 4, 9)); !errors.As(err, &rating) {
		t.Errorf("above the rating: %v", err)
	}
}
