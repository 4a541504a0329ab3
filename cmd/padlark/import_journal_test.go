package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
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
	kept, err := filepath.Glob(filepath.Join(to, "journal", "*"))
	if err != nil || len(kept) != 1 || filepath.Base(kept[0]) != filepath.Base(list[0]) {
		t.Errorf("journals that were kept: %v %v", kept, err)
	}
	if out := must(t, "replay", "--data", to, "--speed", "max"); !strings.Contains(out, "each equal to the recorded one") {
		t.Errorf("the replay says %s", out)
	}
}

// An imported log becomes a journal too, out of which the same session can be
// made again, with its frames, results and events.
func TestImportedLogHasJournal(t *testing.T) {
	dir := demoDir(t)
	log, _ := ownLog(t, dir)
	for range 2 { // the second time it is written anew
		must(t, "import", log, "--layout", "lark-text", "--rocket", "Teal", "--data", dir)
	}
	list, err := filepath.Glob(filepath.Join(dir, "journal", "*-*-*-*"))
	if err != nil || len(list) != 2 {
		t.Fatalf("journals of the log and of both merged: %v %v", list, err)
	}
	again := t.TempDir()
	for _, path := range list {
		must(t, "import", path, "--data", again)
		session := journal.SessionOf(path)
		for _, what := range []string{"flights", "events"} {
			was, is := must(t, what, session, "--json", "--data", dir), must(t, what, session, "--json", "--data", again)
			if was != is || len(was) < 3 {
				t.Errorf("%s of %s (-imported +out of its journal) %s", what, session, cmp.Diff(was, is))
			}
		}
		was, is := framesOf(t, dir, session), framesOf(t, again, session)
		if d := cmp.Diff(was, is); d != "" || len(was) == 0 {
			t.Errorf("%d frames (-imported +out of its journal) %s", len(was), d)
		}
		if out := must(t, "replay", session, "--data", again, "--speed", "max"); !strings.Contains(out, "each equal to the recorded one") {
			t.Errorf("the replay says %s", out)
		}
	}
}

func framesOf(t *testing.T, dir, session string) (out []ingest.Frame) {
	t.Helper()
	a, err := sqlite.OpenReadOnly(filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	err = a.Frames(t.Context(), storage.Query{Session: session, Recorded: true}, func(f ingest.Frame) error {
		f.Bytes = slices.Clone(f.Bytes)
		out = append(out, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
