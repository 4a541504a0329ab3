package beeps

import (
	"fmt"
	"math"
)

// Sound beeps a number in a code, as the code's board would: repeats times (3 if the
// code leaves it open), at a pitch in Hz and a rate in samples a second. The samples
// have full scale 1. It is for people who learn the code, and for tests.
func Sound(code Code, number int, pitchHz float64, rate int) ([]float64, error) {
	if err := code.Validate(); err != nil {
		return nil, err
	}
	c := code.Filled()
	if !(pitchHz >= 500) || pitchHz > 6000 || pitchHz > 0.45*float64(rate) {
		return nil, fmt.Errorf("a tone of %g Hz is out of range; 500 to 6000 Hz can be heard", pitchHz)
	}
	stretches, ok := c.stretches(number)
	if !ok {
		return nil, fmt.Errorf("the code cannot beep %d: %s", number, c.numbers())
	}
	repeats := c.Repeats
	if repeats == 0 || repeats > 5 {
		repeats = 3
	}
	lengths := c.lengths()
	var out []float64
	add := func(k kind) {
		n := int(lengths[k] / 1000 * float64(rate))
		edge := 0.005 * float64(rate) // so that it does not click
		for i := range n {
			v := 0.0
			if k.on() {
				t := float64(i)
				v = 0.5 * min(1, t/edge, (float64(n)-t)/edge) * math.Sin(2*math.Pi*pitchHz*t/float64(rate))
			}
			out = append(out, v)
		}
	}
	add(between)
	for i := range repeats {
		if i > 0 {
			add(pause)
		}
		for _, k := range stretches {
			add(k)
		}
	}
	add(pause)
	return out, nil
}

// numbers says which numbers the code can beep.
func (c *Code) numbers() string {
	if c.Style == styleMarks {
		return fmt.Sprintf("it beeps %d to %d in steps of %d", c.Short, c.Most, c.Short)
	}
	return fmt.Sprintf("it beeps 0 to %d", c.Most)
}
