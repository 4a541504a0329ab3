package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"padlark/storage/sqlite"
)

// The pages over a copied archive show its flights, as JSON the same as the
// command, and the copy stays as it is.
func TestShow(t *testing.T) {
	data := t.TempDir()
	must(t, "demo", "--fast", "--exit", "--quiet", "--data", data)
	file := filepath.Join(data, sqlite.FileName)
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	d := startProcess(t, program(t.Context(), "show", data, "--listen", "127.0.0.1:0"), "pages at http://", 1)
	base := regexp.MustCompile(`http://[^/]+`).FindString(d.log.String())
	var shown, told []struct {
		Rocket  string  `json:"rocket"`
		ApogeeM float64 `json:"apogee_m"`
	}
	if err := json.Unmarshal(get(t, base+"/api/v1/flights"), &shown); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(must(t, "flights", "--json", "--data", data)), &told); err != nil {
		t.Fatal(err)
	}
	if len(shown) != len(told) || len(told) < 3 {
		t.Fatalf("%d flights on the pages, %d told", len(shown), len(told))
	}
	for _, f := range told {
		if !strings.Contains(string(get(t, base+"/flights")), f.Rocket) {
			t.Errorf("no %s on the page of flights", f.Rocket)
		}
	}
	for _, page := range []string{"/", "/sessions", "/links", "/compare", "/alarms"} {
		if !strings.Contains(string(get(t, base+page)), "</html>") {
			t.Errorf("%s is no page", page)
		}
	}
	// The reference of the configuration is that of the command.
	for page, words := range map[string]string{"/keys?q=baud": "rate in bits per second", "/keys": "release_rest_us", "/keys?q=zzz": "has to do with"} {
		if text := string(get(t, base+page)); !strings.Contains(text, words) {
			t.Errorf("%s does not say %q", page, words)
		}
	}
	d.end(t, os.Interrupt)
	if after, err := os.ReadFile(file); err != nil || string(after) != string(before) {
		t.Errorf("the archive was changed (%v)", err)
	}
	if got := do(t, "show", t.TempDir()); got.code != exitUsage || !strings.Contains(got.err, "no archive in") {
		t.Errorf("an empty folder: %+v", got)
	}
}
