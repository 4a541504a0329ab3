package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/logimport"
	"padlark/storage/sqlite"
)

// ownLog makes the log that Teal's board might have kept: twice as dense as
// what the radio heard, on a clock that runs 1234.5 s ahead, with a torn line
// and a header in the middle.
func ownLog(t *testing.T, dir string) (path string, begins int64) {
	t.Helper()
	a, err := sqlite.OpenReadOnly(filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	var heard []decode.Sample
	err = a.Samples(context.Background(), storage.Query{Rocket: "Teal"}, func(s *decode.Sample) error {
		heard = append(heard, *s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	k := 0
	for i := range len(heard) - 1 {
		x, y := heard[i], heard[i+1]
		p, _ := x.Values.Get(decode.PressurePa)
		q, _ := y.Values.Get(decode.PressurePa)
		width, _ := x.Values.Get(decode.ReleaseUs)
		on, _ := x.Values.Get(decode.ReleaseOn)
		for j := range 2 {
			clock := float64(x.Clock) + float64(y.Clock-x.Clock)*float64(j)/2
			line := sentence(fmt.Sprintf("PLRK,7,1,%d,%.0f,%.1f,2150,3900,%.0f,%.0f", k%65536, clock/1000+1234500, p+(q-p)*float64(j)/2, width, on))
			switch k {
			case 700:
				line = line[:20] + "\r\n"
			case 900:
				line = "# a header\r\n" + line
			}
			b.WriteString(line)
			k++
		}
	}
	path = filepath.Join(t.TempDir(), "teal.log")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, heard[0].At.UnixNano()
}

func TestImportLogOverRadio(t *testing.T) {
	dir := demoDir(t)
	path, begins := ownLog(t, dir)
	args := []string{"import", path, "--layout", "lark-text", "--rocket", "Teal", "--data", dir, "--json"}
	first := must(t, args...)
	if again := must(t, args...); again != first {
		t.Errorf("the second import did something else:\n%s\n%s", first, again)
	}
	d := fromJSON[logimport.Done](t, first)
	if len(d.Aligned) != 1 || len(d.Merged) != 1 || d.Flights != 1 {
		t.Fatalf("import: %s", first)
	}
	if len(d.Skipped) != 2 || d.Skipped[0].Line != 701 || d.Skipped[1].Line != 901 {
		t.Errorf("skipped %v, want lines 701 (torn) and 901 (header)", d.Skipped)
	}
	// The log began when the radio's first sample was measured.
	if e := float64(d.Aligned[0].Begins.UnixNano()-begins) * 1e-9; math.Abs(e) > 0.02 {
		t.Errorf("the log is laid %.3f s beside the truth", e)
	}
	radio := fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", dir, d.Aligned[0].RadioSession))
	merged := fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", dir, d.Merged[0]))
	if len(merged) != 1 {
		t.Fatalf("%d flights in the merged session", len(merged))
	}
	for _, r := range radio {
		if r.Rocket == "Teal" && math.Abs(*r.ApogeeM / *merged[0].ApogeeM - 1) > 0.01 {
			t.Errorf("apogee by radio %.2f m, merged %.2f m", *r.ApogeeM, *merged[0].ApogeeM)
		}
	}
	for _, s := range []string{d.Session, d.Merged[0]} {
		if was, is := must(t, "events", "--json", "--data", dir, s), must(t, "replay", "--json", "--speed", "max", "--data", dir, s); was != is {
			t.Errorf("session %s: recorded\n%sreplayed\n%s", s, was, is)
		}
		must(t, "replay", "--speed", "max", "--data", dir, s) // equals the recorded events
	}
}

// TestImportLogUntoldRelease: a log without release, temperature and cell tells
// the same flight as the radio that had them all.
func TestImportLogUntoldRelease(t *testing.T) {
	dir := demoDir(t)
	path, _ := ownLog(t, dir)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var bare strings.Builder
	for _, line := range strings.Split(string(text), "\r\n") {
		body, _, whole := strings.Cut(strings.TrimPrefix(line, "$"), "*")
		fields := strings.Split(body, ",")
		if !whole || len(fields) != 10 {
			continue
		}
		bare.WriteString(sentence(strings.Join(fields[:6], ",") + ",,,,"))
	}
	if err := os.WriteFile(path, []byte(bare.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	d := fromJSON[logimport.Done](t, must(t, "import", path, "--layout", "lark-text", "--rocket", "Teal", "--data", dir, "--json"))
	if len(d.Aligned) != 1 || len(d.Merged) != 1 {
		t.Fatalf("%+v", d)
	}
	var truth float64
	for _, tr := range readTruth(t, dir) {
		if tr.Rocket == "Teal" {
			truth = tr.ApogeeM
		}
	}
	for _, s := range []string{d.Session, d.Merged[0]} {
		r := fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", dir, s))
		if len(r) != 1 || r[0].ApogeeM == nil || r[0].TimeToApogeeS == nil || r[0].DescentMps == nil {
			t.Fatalf("session %s: %+v", s, r)
		}
		if off, sd := math.Abs(*r[0].ApogeeM-truth), *r[0].ApogeeSD; off > 0.5 || sd > 1 {
			t.Errorf("session %s: apogee %.2f ± %.2f m, truth %.2f m", s, *r[0].ApogeeM, sd, truth)
		}
	}
}

func TestImportWrongUse(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.log")
	if err := os.WriteFile(path, []byte("hello\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		want string
		code int
		args []string
	}{
		{"--layout", exitUsage, nil},
		{"no layout \"nothing\"", exitUsage, []string{"--layout", "nothing", "--rocket", "Teal"}},
		{"no line of", exitBad, []string{"--layout", "lark-text", "--rocket", "Teal"}},
	} {
		r := do(t, append([]string{"import", path, "--data", t.TempDir()}, c.args...)...)
		if r.code != c.code || !strings.Contains(r.err, c.want) {
			t.Errorf("import %v: exit %d, want %d and %q; it says %s", c.args, r.code, c.code, c.want, r.err)
		}
	}
}
