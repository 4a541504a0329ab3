package decode

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the expected files")

// TestGoldenSession decodes a short session of one link, foreign and damaged
// lines among it, and compares every outcome. Refresh with -update and read
// the difference before committing it.
func TestGoldenSession(t *testing.T) {
	dir := filepath.Join("..", "testdata", "decode", "session")
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	id := uint32(7)
	d, err := New(Config{
		Layouts: layouts(t, read("layouts.toml")),
		Links:   []LinkLayouts{{Link: "pad", Layouts: []string{"lark-text", "gps"}, Rocket: "Teal"}},
		Rockets: []RocketID{{"Teal", &id}},
	})
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	out := json.NewEncoder(&got)
	for n, line := range strings.Split(strings.TrimSpace(read("frames.txt")), "\n") {
		if strings.HasPrefix(line, "#") {
			continue
		}
		ms, text, _ := strings.Cut(line, " ")
		mono, err := strconv.Atoi(ms)
		if err != nil {
			t.Fatal(err)
		}
		s, err := d.Decode(frame("pad", n, time.Duration(mono)*time.Millisecond, []byte(text)))
		var r *Reject
		if errors.As(err, &r) {
			err = out.Encode(r)
		} else {
			err = out.Encode(s)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if *update {
		if err := os.WriteFile(filepath.Join(dir, "want.jsonl"), got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if d := cmp.Diff(read("want.jsonl"), got.String()); d != "" {
		t.Errorf("samples (-want +got):\n%s", d)
	}
}
