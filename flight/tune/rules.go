package tune

import (
	"fmt"
	"strconv"
	"strings"
)

// rules are the settings to try.
func (s *Study) rules(common Settings) ([]Settings, error) {
	var out []Settings
	if len(s.Rules) == 0 {
		for _, f := range Families() {
			out = append(out, Grid(common, Narrow{Family: f})...)
		}
		return out, nil
	}
	for _, text := range s.Rules {
		n, err := parseRule(text)
		if err != nil {
			return nil, wrongf("rule", "%s: %w", text, err)
		}
		out = append(out, Grid(common, n)...)
	}
	for _, o := range out {
		if err := o.Validate(); err != nil {
			return nil, wrong("rule", err)
		}
	}
	return out, nil
}

// parseRule reads "drop,drop=1.5,n=3,smooth=2".
func parseRule(text string) (Narrow, error) {
	parts := strings.Split(text, ",")
	var n Narrow
	if err := n.Family.UnmarshalText([]byte(parts[0])); err != nil {
		return n, err
	}
	for _, p := range parts[1:] {
		key, value, _ := strings.Cut(p, "=")
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return n, fmt.Errorf("%q is no number; write n=3", value)
		}
		whole := v == float64(int(v)) && v >= 0 && v <= 255
		switch {
		case key == "drop" && n.Family != Drop:
			return n, fmt.Errorf("the rule %v has no drop", n.Family)
		case key == "drop" && v >= 0.01 && v <= 500:
			n.DropCm = append(n.DropCm, int32(v*100+0.5))
		case key == "n" && whole && v >= 1:
			n.Samples = append(n.Samples, uint8(v))
		case key == "smooth" && whole:
			n.Shift = append(n.Shift, uint8(v))
		case key == "drop", key == "n", key == "smooth":
			return n, fmt.Errorf("%s is out of range: drop is 0.01 to 500 m, n 1 to 255, smooth 0 to 5", p)
		default:
			return n, fmt.Errorf("there is no key %q; give drop, n or smooth", key)
		}
	}
	return n, nil
}
