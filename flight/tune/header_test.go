package tune

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the expected files")

func TestHeader(t *testing.T) {
	s := base()
	s.Median, s.BackupMs, s.LockoutMs, s.Shift = true, 42000, 700, 2
	got := s.Header(50, "Tried on 10000 flights.", "A name with */ in it.")
	file := filepath.Join("testdata", "header.h")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("header (-want +got):\n%s", d)
	}
	if n := strings.Count(got, "*/"); n != 1+len(s.Entries()) {
		t.Errorf("%d comments end", n)
	}
}

func TestExplain(t *testing.T) {
	for _, s := range grid() {
		text := strings.Join(explain(sumUp(s, []Outcome{{By: ByRule, LagS: 0.3, SpeedMps: -3}, {By: byBackup, LagS: 0.8, SpeedMps: -8}, {}}, 0.1), 50), "\n")
		for _, want := range []string{"releases when", "5.0 m above the pad", "does nothing for 0.7 s", "releases 20.0 s after arming", "Of 3 flights", "only the backup", "not before the ground in 1 "} {
			if !strings.Contains(text, want) {
				t.Errorf("%v: no %q in\n%s", s, want, text)
			}
		}
	}
	if got := explain(sumUp(base(), make([]Outcome, 2), 0.1), 50); !strings.Contains(got[2], "none of the flights") {
		t.Errorf("no release: %q", got)
	}
}
