package phrase

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"
)

// Language is a language that padlark speaks, as in BCP 47.
type Language string

// The languages.
const (
	English  Language = "en"
	German   Language = "de"
	Japanese Language = "ja"
)

// Languages lists them; the first is that of whoever asks for none.
func Languages() []Language { return []Language{English, German, Japanese} }

// Prefer finds the language for a reader who accepts some, as HTTP's
// Accept-Language lists them (RFC 9110); otherwise is for one who accepts none
// of ours.
func Prefer(accept string, otherwise Language) Language {
	wanted, _, err := language.ParseAcceptLanguage(accept)
	if err != nil {
		return otherwise
	}
	var ours []language.Tag
	for _, l := range Languages() {
		ours = append(ours, language.Make(string(l)))
	}
	_, i, sure := language.NewMatcher(ours).Match(wanted...)
	if sure < language.High {
		return otherwise
	}
	return Languages()[i]
}

// Reader is whom a phrase is written for. The zero value reads English and
// metric units.
type Reader struct {
	Language Language
	Feet     bool // lengths, speeds and accelerations in feet
	Aloud    bool // for a voice
}

// aloud is Japanese for a voice.
const aloud Language = "ja-Hrkt"

// footM is the international foot of 1959, in m, exactly.
const footM = 0.3048

// Write gives the sentence. A phrase that this catalogue does not hold, of
// another version, reads as otherwise does.
func (r Reader) Write(p Phrase, otherwise string) string {
	c := texts()
	e, ok := c.entries[p.Key]
	if !ok {
		return otherwise
	}
	values := make([]any, len(e.places))
	for i, place := range e.places {
		values[i] = r.value(p, place)
	}
	l := r.Lang()
	if r.Aloud && l == Japanese {
		l = aloud
	}
	return c.printers[l].Sprintf(p.Key, values...)
}

// Say writes a fixed text, whose key is the English one.
func (r Reader) Say(text string) string { return r.Write(Of(text), text) }

// Lang is the reader's language; English for one that padlark does not speak.
func (r Reader) Lang() Language {
	if _, ok := texts().printers[r.Language]; ok {
		return r.Language
	}
	return English
}

func (r Reader) value(p Phrase, place string) string {
	name, bare := strings.CutSuffix(place, "#")
	i := slices.IndexFunc(p.Args, func(a Arg) bool { return a.Name == name })
	if i < 0 {
		return ""
	}
	a := p.Args[i]
	switch {
	case a.Phrase != nil:
		return r.Write(*a.Phrase, "?")
	case a.Value == nil && a.Unit == "":
		return a.Text
	}
	unit, per := r.Unit(a.Unit)
	text := "?"
	if a.Value != nil {
		text = r.Number(*a.Value/per, a.Digits)
	}
	if a.SD != nil {
		text += " ± " + r.Number(*a.SD/per, a.Digits)
	}
	if bare || unit == "" {
		return text
	}
	return text + " " + unit
}

// Number writes a number with so many decimals.
func (r Reader) Number(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if r.Language == German {
		return strings.Replace(text, ".", ",", 1)
	}
	return text
}

// Unit gives the unit that a quantity is shown in, and how much of what it came
// in that is.
func (r Reader) Unit(si string) (unit string, per float64) {
	if r.Feet {
		switch si {
		case "m", "m/s", "m/s2", "m/s²":
			return "ft" + si[1:], footM
		}
	}
	return si, 1
}

// Text is one entry of the catalogue, in each language. A fixed text has no
// English: its key is that.
type Text struct {
	En, De, Ja string
	// Kana is how the Japanese is read where it is called out: a voice without a
	// dictionary, such as espeak-ng's, reads no kanji.
	Kana string
}

// Texts is the whole catalogue in a language, by key.
func Texts(l Language) map[string]string {
	out := map[string]string{}
	for key, t := range everyText() {
		out[key] = t.in(key, l)
	}
	return out
}

func (t Text) in(key string, l Language) string {
	switch {
	case l == German:
		return t.De
	case l == Japanese, l == aloud:
		return t.Ja
	case t.En == "":
		return key
	}
	return t.En
}

// compiled is the catalogue, ready for use.
type compiled struct {
	entries  map[string]entry
	printers map[Language]*message.Printer
}

// entry is the places of a text in the order in which the printer numbers them.
type entry struct{ places []string }

func parts() []map[string]Text {
	return []map[string]Text{flightAlarms(), padAlarms(), boardAlarms(), verdicts(), calls(), boardPage(), otherPages(), scripts(), events(), judgements()}
}

// everyText is the whole catalogue.
var everyText = sync.OnceValue(func() map[string]Text {
	all := map[string]Text{}
	for _, part := range parts() {
		maps.Copy(all, part)
	}
	return all
})

var place = regexp.MustCompile(`\{([a-z_]+#?)\}`)

// texts compiles the catalogue when it is first used.
var texts = sync.OnceValue(func() compiled {
	c := compiled{map[string]entry{}, map[Language]*message.Printer{}}
	b := catalog.NewBuilder(catalog.Fallback(language.English))
	for key, t := range everyText() {
		var e entry
		for _, m := range place.FindAllStringSubmatch(t.in(key, English), -1) {
			if !slices.Contains(e.places, m[1]) {
				e.places = append(e.places, m[1])
			}
		}
		c.entries[key] = e
		for _, l := range append(Languages(), aloud) {
			text := t.in(key, l)
			if t.Kana != "" && l == aloud {
				text = t.Kana
			}
			// An error would be one of a macro, of which there are none.
			_ = b.SetString(language.Make(string(l)), key, compile(text, e))
		}
	}
	for _, l := range append(Languages(), aloud) {
		c.printers[l] = message.NewPrinter(language.Make(string(l)), message.Catalog(b))
	}
	return c
})

// compile writes a text as its printer takes it.
func compile(text string, e entry) string {
	return place.ReplaceAllStringFunc(strings.ReplaceAll(text, "%", "%%"), func(m string) string {
		return "%[" + strconv.Itoa(slices.Index(e.places, m[1:len(m)-1])+1) + "]s"
	})
}
