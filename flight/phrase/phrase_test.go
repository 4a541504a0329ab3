package phrase

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode"

	"github.com/google/go-cmp/cmp"
)

// Each text stands in each language, with the same quantities, and none has a
// brace that is no quantity.
func TestTextsAreComplete(t *testing.T) {
	places := func(text string) []string {
		all := place.FindAllString(text, -1)
		slices.Sort(all)
		return slices.Compact(all)
	}
	rows := 0
	for _, part := range parts() {
		rows += len(part)
	}
	if rows != len(everyText()) {
		t.Errorf("%d rows of %d stand twice in the catalogue", rows-len(everyText()), rows)
	}
	for key, text := range everyText() {
		want := places(text.in(key, English))
		for _, l := range Languages() {
			in := text.in(key, l)
			if strings.TrimSpace(in) == "" {
				t.Errorf("%s has no text in %s", key, l)
			}
			if got := places(in); !slices.Equal(got, want) {
				t.Errorf("%s in %s has the quantities %q, in English %q", key, l, got, want)
			}
			if rest := place.ReplaceAllString(in, ""); strings.ContainsAny(rest, "{}") {
				t.Errorf("%s in %s: a brace that is no quantity: %s", key, l, in)
			}
			if l == Japanese && !slices.ContainsFunc([]rune(place.ReplaceAllString(in, "")), func(r rune) bool { return r >= 0x3000 }) && place.ReplaceAllString(in, "") != "" {
				t.Errorf("%s in Japanese holds nothing Japanese: %s", key, in)
			}
		}
	}
}

// A voice without a dictionary reads kana only: each call has them, with the same
// quantities.
func TestCallsInKana(t *testing.T) {
	unsaid := []string{ // known, not called out (flight.Know), or of the pages
		"losses.say", "weak-signal.say", "clock-jump.say", "slow-descent.say", "not-at-rest.say", "silent.say.pad", "reboot.say.pad",
		"server-away.say", "server-aside.say", "ballistic.say.short",
	}
	for key, text := range everyText() {
		in, ok := text.Kana, text.Kana != ""
		if called := (strings.Contains(key, ".say") || strings.HasPrefix(key, "call.")) && !slices.Contains(unsaid, key); called != ok {
			t.Errorf("%s is called: %t, has kana: %t", key, called, ok)
		}
		if strings.ContainsFunc(in, func(r rune) bool { return unicode.Is(unicode.Han, r) }) {
			t.Errorf("%s is read with kanji: %s", key, in)
		}
		if got, want := place.FindAllString(in, -1), place.FindAllString(text.Ja, -1); ok && !slices.Equal(got, want) {
			t.Errorf("%s is read with the quantities %q, written with %q", key, got, want)
		}
	}
	to := Reader{Language: Japanese, Aloud: true}
	if got, want := to.Write(Of("ballistic.say.many", Word("rocket", "Teal"), Qty("left", 3, 0, "s")), ""), "うえをみて！Teal、らっかちゅう、あと3びょう"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// What the program says is in the catalogue, and what is in the catalogue is said:
// this reads the keys from the source.
func TestKeysAreThoseOfTheProgram(t *testing.T) {
	said := map[string]bool{}
	literals := map[string]bool{}
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (strings.HasPrefix(d.Name(), ".") && len(d.Name()) > 2 || d.Name() == "testdata" || d.Name() == "phrase") {
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return err
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				if text, err := strconv.Unquote(l.Value); err == nil {
					literals[text] = true
				}
			}
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			fun, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || fun.Sel.Name != "Of" && fun.Sel.Name != "tell" {
				return true
			}
			if pkg, ok := fun.X.(*ast.Ident); ok && fun.Sel.Name == "Of" && pkg.Name != "phrase" {
				return true
			}
			if l, ok := call.Args[0].(*ast.BasicLit); ok {
				if key, err := strconv.Unquote(l.Value); err == nil {
					said[key] = true
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(said) < 100 {
		t.Fatalf("only %d keys were found in the source", len(said))
	}
	all := everyText()
	for key := range said {
		if _, ok := all[key]; !ok {
			t.Errorf("%q is said, and the catalogue does not hold it", key)
		}
	}
	for key, text := range all {
		if text.En == "" {
			continue // fixed texts: web looks whether its pages say them
		}
		name := strings.TrimPrefix(strings.TrimPrefix(key, "level."), "event.")
		if !literals[key] && !literals[name] && key != "ballistic.say.short" { // of the pages
			t.Errorf("%q is in the catalogue, and nothing says it", key)
		}
	}
}

// The foot is 0.3048 m exactly (international yard and pound agreement of 1959).
func TestUnitsAndLanguages(t *testing.T) {
	jolt := Of("no-liftoff.jolt", Qty("accel", 31, 0, "m/s2"))
	sag := Of("cell-sag.restart", Qty("cutoff", 3.05, 1, "V"))
	field := Of("out-of-field.beyond", Word("rocket", "Big 3 m"), Qty("far", 84.4, 0, "m"), Qty("edge", math.NaN(), 0, "m"))
	sink := Of("hard-landing", PlusMinus("sink", 9.144, new(0.06), "m/s"))
	for _, c := range []struct {
		to   Reader
		p    Phrase
		want string
	}{
		{Reader{}, jolt, "the rocket was jolted (31 m/s2)"},
		{Reader{Feet: true}, jolt, "the rocket was jolted (102 ft/s2)"},
		{Reader{Feet: true}, sag, "below about 3.0 V boards start again, and the release is lost"},
		{Reader{Language: German}, sag, "unter etwa 3,0 V startet die Elektronik neu, und der Auswurf fällt aus"},
		{Reader{}, field, "Big 3 m is 84 m from the pad; the field ends at ? m. Keep it in sight; nobody runs after it across a road or a fence."},
		{Reader{Feet: true}, field, "Big 3 m is 277 ft from the pad; the field ends at ? ft. Keep it in sight; nobody runs after it across a road or a fence."},
		{Reader{}, sink, "it sank at 9.14 ± 0.06 m/s, which is a hard landing"},
		{Reader{Language: Japanese, Feet: true}, sink, "30.00 ± 0.20 ft/sで降下、強い着地です"},
		{Reader{Language: "xx"}, Of("sensor-stuck", Word("rocket", "100 %d{x}")), "100 %d{x} has sent the very same pressure () "},
		{Reader{Language: German}, Of("another version's"), "as it was"},
	} {
		if got := c.to.Write(c.p, "as it was"); !strings.HasPrefix(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.to, got, c.want)
		}
	}
}

// The languages of Accept-Language (RFC 9110, 12.5.4) in their order.
func TestPrefer(t *testing.T) {
	for accept, want := range map[string]Language{
		"": Japanese, "de": German, "de-AT,en;q=0.8": German, "fr-FR, ja;q=0.5, en;q=0.7": English, "ja-JP": Japanese,
		"fr": Japanese, "*": Japanese, ";;;": Japanese, "en-GB,de;q=0.9": English,
	} {
		if got := Prefer(accept, Japanese); got != want {
			t.Errorf("%q: %s, want %s", accept, got, want)
		}
	}
}

// A phrase outlives a journal, and readers write it at the same time.
func TestPhraseInJSON(t *testing.T) {
	p := Of("ballistic", Word("rocket", "Teal"), Qty("speed", math.Inf(1), 1, "m/s"), PlusMinus("after", 2.5, new(0.25), "s"), In("why", Of("ballistic.told")), Arg{})
	text, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var back Phrase
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(p, back); diff != "" {
		t.Error(diff)
	}
	var readers sync.WaitGroup
	for _, l := range Languages() {
		readers.Go(func() {
			to := Reader{Language: l}
			want := to.Write(p, "")
			for range 200 {
				if got := to.Write(p, ""); got != want {
					t.Errorf("%s: %q, then %q", l, want, got)
					return
				}
			}
		})
	}
	readers.Wait()
}
