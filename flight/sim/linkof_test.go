package sim

import (
	"strings"
	"testing"
)

// TestLinkOf: a link is meant by its name, or by being the only one of its kind.
func TestLinkOf(t *testing.T) {
	two := Scenario{Links: []Link{{Name: "pad", Kind: "serial"}, {Name: "wifi", Kind: "udp"}}}
	three := Scenario{Links: append([]Link{{Name: "far", Kind: "serial"}}, two.Links...)}
	one := Scenario{Links: two.Links[:1]}
	for _, c := range []struct {
		s                *Scenario
		kind, name, want string
	}{
		{&two, "serial", "", "pad"}, {&two, "udp", "", "wifi"}, {&two, "udp", "pad", "pad"},
		{&one, "udp", "", "pad"}, {&three, "serial", "", ""}, {&two, "udp", "none", ""},
	} {
		got, err := c.s.LinkOf(c.kind, c.name)
		if got.Name != c.want || (err == nil) != (c.want != "") {
			t.Errorf("%s %q of %d: %q, %v; want %q", c.kind, c.name, len(c.s.Links), got.Name, err, c.want)
		}
		if err != nil && !strings.Contains(err.Error(), "pad, wifi") {
			t.Errorf("the error names no links: %v", err)
		}
	}
}
