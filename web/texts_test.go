package web

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"padlark/flight/phrase"
)

// sameInAll reads the same in each language.
var sameInAll = map[string]bool{"padlark": true, "m": true, "CSV": true, "Parquet": true, "SVG": true}

// Every text of every template and every fixed text of every script stands in the
// catalogue, so no page shows English to who reads another language; and the
// catalogue holds none that no page says.
func TestPagesSayOnlyTextsOfTheCatalogue(t *testing.T) {
	english := phrase.Texts(phrase.English)
	said := map[string]string{}
	written := ""
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := files.ReadFile(name)
		if err != nil {
			return err
		}
		switch path.Ext(name) {
		case ".html":
			inLanguage(string(text), func(s string) string {
				said[s] = name
				return s
			})
			written += string(text)
		case ".js":
			for _, m := range saidByScripts.FindAllStringSubmatch(string(text), -1) {
				for _, s := range m[1:] {
					if s != "" {
						said[s] = name
					}
				}
			}
			written += string(text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(said) < 300 {
		t.Errorf("only %d fixed texts were found", len(said))
	}
	for text, where := range said {
		if english[text] != text && !sameInAll[text] {
			t.Errorf("%s says %q, and the catalogue does not hold it", where, text)
		}
	}
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(sources, "../flight/types.go", "../cmd/padlark/ready/ready.go") {
		source, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		written += string(source)
	}
	for key, text := range english {
		if key != text || said[key] != "" {
			continue
		}
		if !strings.Contains(written, `"`+key+`"`) && !strings.Contains(written, ` `+key+`:`) {
			t.Errorf("%q is in the catalogue, and no page says it", key)
		}
	}
}

// saidByScripts finds say("…") and say(… ? "…" : "…").
var saidByScripts = regexp.MustCompile(`\bsay\((?:"([^"]+)"|[^";]*\? "([^"]+)" : "([^"]+)")`)

// A text is found between tags and in what is read of them, whatever stands around it;
// code and actions stay as they are.
func TestInLanguage(t *testing.T) {
	upper := func(s string) string { return "<" + strings.ToUpper(s) + ">" }
	for template, want := range map[string]string{
		`<p title="a b">one, <b>two</b>: {{if .X}}three{{else}}, 4{{end}}</p>`:        `<p title="<A B>"><ONE>, <b><TWO></b>: {{if .X}}<THREE>{{else}}, 4{{end}}</p>`,
		`<td data-si="{{with gt .A 3}}{{.}}{{end}}">say <code>a <= b</code> so.</td>`: `<td data-si="{{with gt .A 3}}{{.}}{{end}}"><SAY> <code>a <= b</code> <SO.></td>`,
		"<p>over\n  two lines</p>": "<p><OVER TWO LINES></p>",
	} {
		if got := inLanguage(template, upper); got != want {
			t.Errorf("%s\n gives %s\n want  %s", template, got, want)
		}
	}
}
