package model

import (
	"math"
	"testing"
)

// circle is y” = -y in the first two components, whose answer is known.
type circle struct{ n int }

func (c *circle) slope(_ float64, y, dy *state) {
	c.n++
	*dy = state{y[1], -y[0], 0, 0, 0}
}

// TestOrders measures the order of the pair and of its continuous extension:
// with half the step the error of one step falls by 2^6 (order 5) and 2^5
// (order 4).
func TestOrders(t *testing.T) {
	errs := func(h float64) (end, inside float64) {
		y := state{0, 1}
		var a attempt
		f := &circle{}
		f.slope(0, &y, &a.k[0])
		a.try(f, 0, h, &y, normal)
		c := a.extension(h, &y)
		end = math.Hypot(a.y1[0]-math.Sin(h), a.y1[1]-math.Cos(h))
		for _, u := range []float64{0.1, 0.3, 0.5, 0.7, 0.9} {
			z := c.at(u)
			inside = math.Max(inside, math.Hypot(z[0]-math.Sin(u*h), z[1]-math.Cos(u*h)))
		}
		if first, last := c.at(0), c.at(1); first != y || math.Abs(last[0]-a.y1[0]) > 1e-15 {
			t.Errorf("the extension does not meet the ends of the step")
		}
		return end, inside
	}
	e1, i1 := errs(0.4)
	e2, i2 := errs(0.2)
	if o := math.Log2(e1 / e2); o < 5.7 || o > 6.6 {
		t.Errorf("order of one step %.2f, want 6", o)
	}
	if o := math.Log2(i1 / i2); o < 4.7 || o > 5.6 {
		t.Errorf("order of the extension %.2f, want 5", o)
	}
}

// TestErrorEstimate: the estimate is of order 5 in one step and above the error
// of the step that is kept.
func TestErrorEstimate(t *testing.T) {
	est := func(h float64) (estimate, actual float64) {
		y := state{0, 1}
		var a attempt
		f := &circle{}
		f.slope(0, &y, &a.k[0])
		estimate = a.try(f, 0, h, &y, tolerance{abs: 1})
		return estimate, math.Hypot(a.y1[0]-math.Sin(h), a.y1[1]-math.Cos(h))
	}
	e1, a1 := est(0.4)
	e2, _ := est(0.2)
	if o := math.Log2(e1 / e2); o < 4.7 || o > 6.3 {
		t.Errorf("order of the estimate %.2f, want 5 to 6", o)
	}
	if e1 < a1 {
		t.Errorf("estimate %g below the error %g", e1, a1)
	}
}

func TestNextStep(t *testing.T) {
	for _, c := range []struct{ e, most, least float64 }{
		{0, growMost, growMost}, {1, 0.91, 0.89}, {1e6, growLeast, growLeast},
		{math.NaN(), growLeast, growLeast}, {math.Inf(1), growLeast, growLeast},
	} {
		if h := next(1, c.e); h > c.most || h < c.least {
			t.Errorf("after an error of %g the step grows by %g", c.e, h)
		}
	}
}
