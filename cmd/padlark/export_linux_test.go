package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/storage/export"
)

// TestExportLeavesNothingEmpty: what matches nothing leaves no file, and what
// is no file is not replaced by one.
func TestExportLeavesNothingEmpty(t *testing.T) {
	data, dir := demoDir(t), t.TempDir()
	there := filepath.Join(dir, "there.csv")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		code int
		want string
		args []string
	}{
		"another rocket":     {exitBad, "nothing in session", []string{"--rocket", "Nobody", "-o", filepath.Join(dir, "a.csv")}},
		"no such flight":     {exitBad, "nothing in session", []string{"--rocket", "Teal", "--flight", "9", "-o", filepath.Join(dir, "a.csv")}},
		"no positions":       {exitBad, "has a position", []string{"--format", "gpx", "-o", filepath.Join(dir, "a.gpx")}},
		"no positions, seen": {exitBad, "has a position", []string{"--format", "geojson"}},
		"no track, seen":     {exitBad, "has a position", []string{"--format", "gpx"}},
		"no places, seen":    {exitBad, "has a position", []string{"--format", "kml"}},
		"a file is there":    {exitUsage, "is there already", []string{"-o", there}},
		"a folder is there":  {exitUsage, "is a folder", []string{"-o", dir, "--force"}},
		"no folder":          {exitUsage, "there is no folder", []string{"-o", filepath.Join(dir, "no", "a.csv")}},
		"no room":            {exitBad, "/dev/full", []string{"-o", "/dev/full"}},
	} {
		r := do(t, append([]string{"export", "--data", data}, c.args...)...)
		if r.code != c.code || !strings.Contains(r.err, c.want) || r.out != "" {
			t.Errorf("%s: exit %d, %q; it says %q", name, r.code, r.out, r.err)
		}
	}
	if kept, err := os.ReadFile(there); err != nil || string(kept) != "mine" {
		t.Errorf("the file that was there: %q, %v", kept, err)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("left in the folder: %v, %v", left, err)
	}
	if st, err := os.Stat("/dev/full"); err != nil || st.Mode().IsRegular() {
		t.Errorf("/dev/full was replaced: %v", err)
	}
	for _, name := range append(export.Names(), bundleFormat) {
		if line := "\n" + must(t, "export", "--formats"); !strings.Contains(line, "\n"+name+" ") {
			t.Errorf("%s is not explained:%s", name, line)
		}
	}
}
