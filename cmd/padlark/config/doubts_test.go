package config

import (
	"fmt"
	"strings"
	"testing"
)

// What can be run and is probably not meant is told with its line; what is as it
// should be is not.
func TestDoubts(t *testing.T) {
	sure := strings.Replace(good, `{ name = "pressure_pa", unit = "hPa" },`, `{ name = "pressure_pa", unit = "hPa" }, { name = "release_us" },`, 1)
	for _, c := range []struct {
		name, from, to string
		want           []string // "line: words" of each
	}{
		{"nothing", "", "", nil},
		{"a rate", "baud = 9600", "baud = 115201", []string{"8: 115201 baud is no usual rate: did you mean 115200?"}},
		{"a rate of one's own", "baud = 9600", "baud = 12345", nil},
		{"a fixed rocket", "form = \"delimited\"\n", "form = \"delimited\"\nrocket = 12\n", nil}, // refused: it is given twice
		{"a fixed rocket that is nowhere", "fields = [\n  { name = \"rocket\" },", "rocket = 12\nfields = [", []string{"20: there is no [[rocket]] with id = 12"}},
		{"a link's rocket", "udp = \":9750\"", "udp = \":9750\"\nrocket = \"Teel\"", []string{`14: there is no [[rocket]] named "Teel": did you mean Teal?`}},
		{"a misspelt field", `{ name = "release_us" }`, `{ name = "relesae_us" }`, []string{
			`23: field "relesae_us" is kept and used for nothing: did you mean release_us?`,
		}},
		{"a word of one's own", `{ name = "release_us" }`, `{ name = "servo" }`, []string{`23: field "servo" is kept and used for nothing: did you mean release_us or release_on?`}},
		{"something else", `{ name = "release_us" }`, `{ name = "release_us" }, { name = "humidity" }`, nil},
		{"no height", `{ name = "pressure_pa", unit = "hPa" },`, `{ name = "pressure", unit = "" },`, []string{
			"20: has no height", `23: field "pressure" is kept and used for nothing: did you mean pressure_pa?`,
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(sure, c.from, c.to, 1)
			if text == sure && c.from != "" {
				t.Fatalf("%q is not in the configuration", c.from)
			}
			cfg, err := Parse("padlark.toml", []byte(text))
			if err != nil {
				if c.name == "a fixed rocket" {
					return
				}
				t.Fatal(err)
			}
			var got []string
			for _, d := range cfg.Doubts() {
				got = append(got, fmt.Sprintf("%d: %v", d.Line, d.Err))
			}
			if len(got) != len(c.want) {
				t.Fatalf("%d doubts, want %d: %q", len(got), len(c.want), got)
			}
			for i, w := range c.want {
				line, words, _ := strings.Cut(w, ": ")
				if !strings.HasPrefix(got[i], line+": ") || !strings.Contains(got[i], words) {
					t.Errorf("%q, want %q", got[i], w)
				}
			}
		})
	}
	// A servo that nothing tells of, where no other layout does.
	alone := "[[link]]\nname = \"a\"\nudp = \":1\"\nlayout = \"mine\"\n[[layout]]\nname = \"mine\"\nframing = \"line\"\nform = \"delimited\"\nrocket = 1\nfields = [ { name = \"altitude_m\" } ]\n[[rocket]]\nname = \"Teal\"\nid = 1\nrelease = \"servo\"\n"
	cfg, err := Parse("f", []byte(alone))
	if err != nil {
		t.Fatal(err)
	}
	if d := cfg.Doubts(); len(d) != 1 || d[0].Line != 14 || !strings.Contains(d[0].Error(), "release_us or release_on") {
		t.Errorf("%v", d)
	}
	// The example is without doubt.
	cfg, err = Parse("example", []byte(Example()))
	if err != nil {
		t.Fatal(err)
	}
	if d := cfg.Doubts(); len(d) != 0 {
		t.Errorf("of the example: %v", d)
	}
}
