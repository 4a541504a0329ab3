package main

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the expected files")

// TestExampleLayouts tries the bytes of each example on its configuration and
// compares all that is said. Refresh with -update, and read the difference.
func TestExampleLayouts(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "layouts", "*.toml"))
	if err != nil || len(files) < 10 {
		t.Fatalf("%d examples: %v", len(files), err)
	}
	for _, file := range files {
		base := strings.TrimSuffix(file, ".toml")
		t.Run(filepath.Base(base), func(t *testing.T) {
			must(t, "check", file)
			r := do(t, "check", file, "--try", base+".bytes", "--first", "99")
			got := r.out + r.err
			if r.code != 0 {
				t.Errorf("exit status %d:\n%s", r.code, got)
			}
			for line := range strings.Lines(got) {
				if len([]rune(strings.TrimRight(line, "\n"))) > 80 {
					t.Errorf("wider than 80 columns: %s", line)
				}
			}
			if *update {
				if err := os.WriteFile(base+".want", []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(base + ".want")
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), got); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}
