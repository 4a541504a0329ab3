package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A bundle of the demo, put into another station's archive, shows the same
// flights and replays to the same events, byte for byte.
func TestBundleReplaysElsewhere(t *testing.T) {
	here, there := demoDir(t), t.TempDir()
	must(t, "note", "--data", here, "Teal-1", "fill 650 mL")
	file := filepath.Join(t.TempDir(), "day.plarkbundle")
	must(t, "export", "--data", here, "--format", "bundle", "-o", file)
	if r := do(t, "export", "--data", here, "--format", "bundle", "-o", file); r.code != exitUsage {
		t.Errorf("a second export without --force: exit %d, want %d", r.code, exitUsage)
	}
	first := must(t, "import", file, "--data", there)
	if again := must(t, "import", file, "--data", there); again != first {
		t.Errorf("second import says %q, the first %q", again, first)
	}
	for _, args := range [][]string{{"flights", "--json"}, {"events", "--json"}, {"sessions", "--json"}} {
		if args[0] == "sessions" {
			continue // sizes on disk may differ
		}
		was, is := must(t, append(args, "--data", here)...), must(t, append(args, "--data", there)...)
		if diff := cmp.Diff(was, is); diff != "" {
			t.Errorf("%v (-here +there):\n%s", args, diff)
		}
	}
	was, is := must(t, "replay", "--speed", "max", "--json", "--data", here), must(t, "replay", "--speed", "max", "--json", "--data", there)
	if was != is || len(was) == 0 {
		t.Errorf("the replays differ:\n%s\n%s", was, is)
	}
	must(t, "replay", "--speed", "max", "--data", there) // compares with the recorded events
	// What was imported can be exported again: the same bytes.
	second := filepath.Join(t.TempDir(), "again.plarkbundle")
	must(t, "export", "--data", there, "--format", "bundle", "-o", second)
	if a, b := readFile(t, file), readFile(t, second); !bytes.Equal(a, b) {
		t.Errorf("the bundle of the import has %d bytes and differs from the first of %d", len(b), len(a))
	}
}

// A bundle carries how the session's times were fixed: whoever reads it sees the
// corrected times and their source.
func TestBundleCarriesTheTimeFix(t *testing.T) {
	here, there := demoDir(t), t.TempDir()
	must(t, "time", "set", "--data", here, "--started", "2026-05-02T11:30:00Z")
	file := filepath.Join(t.TempDir(), "day.plarkbundle")
	must(t, "export", "--data", here, "--format", "bundle", "-o", file)
	must(t, "import", file, "--data", there)
	was := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", here, "--json"))[0]
	is := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", there, "--json"))[0]
	if !strings.Contains(was.TimeFixedBy, "by hand") || is.TimeFixedBy != was.TimeFixedBy || is.ShiftS != was.ShiftS || !is.StartedAt.Equal(was.StartedAt) {
		t.Errorf("here %q, %g s, started %s; there %q, %g s, %s", was.TimeFixedBy, was.ShiftS, was.StartedAt, is.TimeFixedBy, is.ShiftS, is.StartedAt)
	}
	if a, b := must(t, "export", "--data", here), must(t, "export", "--data", there); a != b || !strings.Contains(a, "time_fixed_by") {
		t.Error("the samples of the two archives differ, or do not say how their times were fixed")
	}
}

func readFile(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Whatever is wrong with a bundle, it is refused with one line, and nothing of
// it is in the archive.
func TestBundleDamaged(t *testing.T) {
	here := demoDir(t)
	file := filepath.Join(t.TempDir(), "day.plarkbundle")
	must(t, "export", "--data", here, "--format", "bundle", "-o", file)
	whole := readFile(t, file)
	flip := func(at int) []byte {
		b := bytes.Clone(whole)
		b[at] ^= 0x10
		return b
	}
	cases := map[string]struct {
		bytes []byte
		want  string
	}{
		"cut in half":       {whole[:len(whole)/2], "cut short"},
		"last byte missing": {whole[:len(whole)-1], "cut short"},
		"only the head":     {whole[:16], "cut short"},
		"bit in the frames": {flip(len(whole) / 3), "damaged"},
		"bit near the end":  {flip(len(whole) - 900), "damaged"},
		"newer version":     {append(append(bytes.Clone(whole[:12]), "02"...), whole[14:]...), "newer"},
		"damaged version":   {flip(14), "damaged"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			path, dir := filepath.Join(t.TempDir(), "x.plarkbundle"), filepath.Join(t.TempDir(), "d")
			if err := os.WriteFile(path, c.bytes, 0o600); err != nil {
				t.Fatal(err)
			}
			r := do(t, "import", path, "--data", dir)
			if r.code != exitBad || strings.Count(r.err, "\n") != 1 || !strings.Contains(r.err, c.want) {
				t.Errorf("exit %d, want %d and one line with %q; it says\n%s", r.code, exitBad, c.want, r.err)
			}
			if _, err := os.Stat(dir); err == nil {
				t.Errorf("the archive was made although nothing could be imported")
			}
		})
	}
}
