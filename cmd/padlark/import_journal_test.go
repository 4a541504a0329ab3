package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A journal that is copied from another computer is taken in with its name, its
// flights and its configuration, twice as well as once, compressed or not, and
// replays there.
func TestImportJournal(t *testing.T) {
	dir := t.TempDir()
	from := filepath.Join(dir, "from")
	must(t, "demo", "--fast", "--exit", "--data", from)
	list, err := filepath.Glob(filepath.Join(from, "journal", "*"))
	if err != nil || len(list) != 1 {
		t.Fatalf("journals: %v %v", list, err)
	}
	data, err := os.ReadFile(list[0])
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(dir, "from the card.zst")
	if err := os.WriteFile(copied, data, 0o644); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(dir, "to")
	for range 2 {
		must(t, "import", copied, "--data", to)
	}
	for _, what := range []string{"flights", "events"} {
		if was, is := must(t, what, "--data", from, "--json"), must(t, what, "--data", to, "--json"); was != is {
			t.Errorf("%s differ:\n%s\n%s", what, was, is)
		}
	}
	if out := must(t, "replay", "--data", to, "--speed", "max"); !strings.Contains(out, "each equal to the recorded one") {
		t.Errorf("the replay says %s", out)
	}
}
