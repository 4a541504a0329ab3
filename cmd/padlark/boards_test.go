package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The worked examples of boards are good, and read the line that stands in them.
func TestExampleBoards(t *testing.T) {
	for name, want := range map[string]string{
		"servo-degrees": "pressure_pa 98642, release_us 1055.56",
		"servo-flag":    "pressure_pa 98642, release_on 0",
		"cell-counts":   "pressure_pa 98642, cell_v 4.01935", // 623 / 1023 * 3.3 V * 2
		"height-only":   "altitude_m -0.12",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("..", "..", "testdata", "boards", name+".toml")
			if out := must(t, "check", path); !strings.Contains(out, "The configuration is good.") {
				t.Errorf("check: %s", out)
			}
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			line := ""
			for l := range strings.Lines(string(text)) {
				if strings.HasPrefix(l, "#   1500,") {
					line = strings.TrimPrefix(l, "#   ")
				}
			}
			heard := filepath.Join(t.TempDir(), "heard")
			if err := os.WriteFile(heard, []byte(line), 0o600); err != nil {
				t.Fatal(err)
			}
			out := strings.Join(strings.Fields(must(t, "check", path, "--try", heard)), " ")
			if !strings.Contains(out, "clock 1.500 s: "+want) {
				t.Errorf("of %s it makes %s, want %s", line, out, want)
			}
		})
	}
}
