package logimport

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/ingest"
)

// wideText is a text in UTF-16, by the standard library's table.
func wideText(order binary.AppendByteOrder, text string) []byte {
	var out []byte
	for _, u := range utf16.Encode([]rune(text)) {
		out = order.AppendUint16(out, u)
	}
	return out
}

func packed(t *testing.T, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// separated is the layout of plain with another separator.
func separated(sep string) Config {
	c := plain()
	c.Layouts[0].Separator = sep
	return c
}

// TestFormsOfText: however the same text was saved, the same frames are read.
func TestFormsOfText(t *testing.T) {
	text := "time,pressure,cell é 🚀\n" + lines(500, 0)
	tabs := strings.ReplaceAll(text, ",", "\t")
	german := strings.ReplaceAll(strings.ReplaceAll(text, ",", ";"), ".", ",")
	whole := packed(t, []byte(text))
	cases := map[string]struct {
		data []byte
		cfg  Config
		good int
		hint string
	}{
		"as it is":                   {[]byte(text), plain(), 500, ""},
		"byte order mark":            {append([]byte("\ufeff"), text...), plain(), 500, ""},
		"UTF-16 of the small end":    {wideText(binary.LittleEndian, "\ufeff"+text), plain(), 500, ""},
		"UTF-16 of the big end":      {wideText(binary.BigEndian, "\ufeff"+text), plain(), 500, ""},
		"UTF-16 without a mark":      {wideText(binary.LittleEndian, lines(500, 0)), plain(), 500, ""},
		"big end without a mark":     {wideText(binary.BigEndian, lines(500, 0)), plain(), 500, ""},
		"packed":                     {whole, plain(), 500, ""},
		"packed twice in a row":      {append(packed(t, []byte(text)), packed(t, []byte(lines(10, 10000)))...), plain(), 510, ""},
		"packed UTF-16":              {packed(t, wideText(binary.LittleEndian, "\ufeff"+text)), plain(), 500, ""},
		"packed, damaged at its end": {append(whole[:len(whole)-8:len(whole)-8], make([]byte, 8)...), plain(), 500, "the packed file is damaged"},
		"tabs":                       {[]byte(tabs), separated("\t"), 500, ""},
		"decimal commas":             {[]byte(german), separated(";"), 500, "decimal commas"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			l, _ := readForm(t, c.data, c.cfg)
			if l.Good != c.good {
				t.Errorf("%d good lines; skipped %v", l.Good, l.Skipped)
			}
			if hints := strings.Join(l.Hints, "\n"); !strings.Contains(hints, c.hint) || c.hint == "" && hints != "" {
				t.Errorf("hints %q, want %q", hints, c.hint)
			}
			// The second pass, which is what is stored, has the first one's values.
			sum := 0.0
			err := l.Each(t.Context(), "s", l.Begins, func(_ *ingest.Frame, said *decode.Parsed) error {
				if said != nil {
					sum += said.Values[0]
				}
				return nil
			})
			want := 500*101325.0 - 499*500/2
			if c.good == 510 {
				want += 10*101325 - 45
			}
			if err != nil || sum != want {
				t.Errorf("the pressures make %v, want %v; %v", sum, want, err)
			}
		})
	}
	t.Run("packed and cut off", func(t *testing.T) {
		for cut := 30; cut < len(whole); cut += 97 {
			l, err := readForm(t, whole[:cut], plain())
			if err == nil && (len(l.Hints) != 1 || !strings.Contains(l.Hints[0], "cut off")) {
				t.Errorf("cut at %d: hints %q", cut, l.Hints)
			}
		}
	})
}

func readForm(t *testing.T, data []byte, c Config) (*Log, error) {
	t.Helper()
	form, err := c.Form()
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), bytes.NewReader(data), int64(len(data)), form)
	if err != nil {
		return nil, err
	}
	l, err := Read(t.Context(), s, c)
	if err != nil {
		t.Fatal(err)
	}
	return l, nil
}

func TestWhatIsNoLog(t *testing.T) {
	for name, c := range map[string]struct{ data, want string }{
		"empty":          {"", "it is empty"},
		"only a mark":    {"\ufeff", "it is empty"},
		"nothing packed": {string(packed(t, nil)), "nothing is in it"},
		"zip":            {"PK\x03\x04 and so on", "zip file"},
		"no gzip":        {"\x1f\x8b\x08\xff torn", "gzip"},
	} {
		if _, err := readForm(t, []byte(c.data), plain()); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
	}
}

func TestMisfit(t *testing.T) {
	comma := lines(30, 0)
	got := map[string]string{}
	for name, text := range map[string]string{
		"semicolons": strings.ReplaceAll(strings.ReplaceAll(comma, ",", ";"), ".", ","),
		"tabs":       strings.ReplaceAll(comma, ",", "\t"),
		"quotes":     strings.ReplaceAll(`"`+strings.ReplaceAll(strings.ReplaceAll(strings.TrimSpace(comma), ",", `","`), "\n", "\"\n\"")+`"`, `""`, `"`),
		"columns":    strings.ReplaceAll(comma, ",3.9", ""),
		"no text":    strings.Repeat("\x00\xfe\x91,\x03", 300),
		"words":      strings.Repeat("not a log at all\n", 30),
	} {
		s := source(t, []byte(text))
		got[name] = s.misfit(plain())
	}
	want := map[string]string{
		"semicolons": `its values are separated by ";", and the layout says ",": write separator = ";"; decimal commas are read then too`,
		"tabs":       `its values are separated by "\t", and the layout says ",": write separator = "\t"`,
		"quotes":     `its values stand in quotes ("): save it once more without them`,
		"columns":    "its lines have 2 values, and the layout lists 3 fields: list them in fields as they stand there",
		"no text":    "it is no text: take the layout of the board's binary log",
		"words":      "",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
