package main

import (
	"encoding/json"
	"fmt"
	"sort"
	"strings"

	"padlark/flight/sim"
)

// linkAddress says where the simulated boards can be heard: one address line
// of a [[link]] table, as TOML.
type linkAddress func(l sim.Link) string

// demoConfig writes the configuration of a station that hears the scenario's
// boards: what a person would have written, and so an example too.
func demoConfig(s *sim.Sim, data, listen string, address linkAddress) (string, error) {
	sc := s.Scenario()
	var b strings.Builder
	fmt.Fprintf(&b, "# The station of the demo: three simulated rockets on real links.\n")
	fmt.Fprintf(&b, "[station]\nname = %q\ndata = %q\n\n[web]\nlisten = %q\n", sc.Name, data, listen)
	if err := writeTable(&b, "[site]", sc.Site); err != nil {
		return "", err
	}
	for _, l := range sc.Links {
		fmt.Fprintf(&b, "\n[[link]]\nname = %q\n%s\nlayout = %q\n", l.Name, address(l), l.Layout)
	}
	b.WriteString("\n" + sim.DemoLayouts())
	for _, r := range s.Rockets() {
		if err := writeTable(&b, "[[rocket]]", r); err != nil {
			return "", err
		}
	}
	return b.String(), nil
}

// writeTable writes what is given in a flat struct: its JSON names are its TOML
// names, and what is not given is left out of both.
func writeTable(b *strings.Builder, header string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write %s: %w", header, err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(data, &fields); err != nil {
		return fmt.Errorf("write %s: %w", header, err)
	}
	keys := make([]string, 0, len(fields))
	for k := range fields {
		keys = append(keys, k)
	}
	// The name first, the rest by the alphabet.
	sort.Slice(keys, func(i, j int) bool {
		if (keys[i] == "name") != (keys[j] == "name") {
			return keys[i] == "name"
		}
		return keys[i] < keys[j]
	})
	fmt.Fprintf(b, "\n%s\n", header)
	for _, k := range keys {
		fmt.Fprintf(b, "%s = %s\n", k, fields[k])
	}
	return nil
}
