package guess

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// TOML writes the proposal as a commented configuration that padlark check
// accepts. source names where the bytes are from; link has the lines of the
// [[link]] table that say where it listens, such as `serial = "/dev/ttyUSB0"`.
func (g *Guess) TOML(source string, link ...string) string {
	var b strings.Builder
	comment(&b, "", fmt.Sprintf("A proposal, made of %s: it reads %d of %d frames. A number alone does not say what it measures, so each guess says how sure it is. Look at every TODO, then: padlark check FILE", source, g.Read, g.Frames))
	b.WriteString("#\n")
	for _, p := range g.Points {
		comment(&b, fmt.Sprintf("  %-10s %-12s ", p.What, p.Value), withWhy(p.Sure, p.Why))
	}
	if g.Raw != nil {
		b.WriteString("#\n# One frame as it came, and what is made of it:\n")
		rows := []string{strconv.QuoteToGraphic(string(g.Raw))}
		if isText(g.Raw) {
			rows[0] = string(g.Raw)
		} else {
			rows = hexRows(g.Raw)
		}
		for _, r := range rows {
			comment(&b, "  ", r)
		}
		comment(&b, "  ", g.Decoded())
	}
	for _, ask := range g.Asks {
		comment(&b, "TODO ", ask)
	}
	b.WriteString("\n[[link]]\nname = \"board\"\n")
	for _, l := range link {
		b.WriteString(l + "\n")
	}
	fmt.Fprintf(&b, "layout = %q\n", g.Layout.Name)
	g.writeAll(&b)
	id := uint32(1)
	if g.Layout.Rocket != nil {
		id = *g.Layout.Rocket
	}
	fmt.Fprintf(&b, "\n[[rocket]]\nname = \"My-rocket\"         # TODO its name\nid = %-21d # what the board sends, or the layout's rocket\n", id)
	b.WriteString("# mass_kg = 0.145          # TODO at landing, in kg\n# parachute_m = 0.6        # TODO diameter, in m\n# cell = \"lipo-1s\"         # padlark check --keys cell\n")
	if slices.ContainsFunc(g.names(), func(n string) bool { return decode.Use(n) == "release" }) {
		b.WriteString("release = \"servo\"\n")
	} else {
		b.WriteString("# release = \"servo\"        # TODO if it has one\n")
	}
	return b.String()
}

// Decoded is the shown frame in words.
func (g *Guess) Decoded() string {
	var words []string
	if g.Clock >= 0 {
		words = append(words, fmt.Sprintf("clock %.3f s", float64(g.Clock)/1e6))
	}
	for i, n := range g.Values.Names {
		if v := g.Values.Values[i]; v == v {
			words = append(words, fmt.Sprintf("%s %.6g", n, v))
		}
	}
	return strings.Join(words, ", ")
}

func withWhy(s Sure, why string) string {
	if why == "" {
		return s.String()
	}
	return s.String() + ": " + why
}

// LayoutTOML writes the layouts alone, to be put into a configuration that is there.
func (g *Guess) LayoutTOML() string {
	var b strings.Builder
	g.writeAll(&b)
	return b.String()
}

// writeAll writes the layout and those that it names.
func (g *Guess) writeAll(b *strings.Builder) {
	if g.BuiltIn != "" {
		return
	}
	g.writeLayout(b)
	for _, p := range g.Parts {
		p.writeAll(b)
	}
}

func (g *Guess) writeLayout(b *strings.Builder) {
	l := g.Layout
	fmt.Fprintf(b, "\n[[layout]]\nname = %q\n", l.Name)
	if l.Framing.Kind != "" {
		fmt.Fprintf(b, "framing = %s\n", g.framingText())
	}
	fmt.Fprintf(b, "form = %q\n", l.Form)
	for _, k := range []struct{ key, value string }{
		{"address", l.Address}, {"sentence", l.Sentence}, {"prefix", l.Prefix}, {"separator", l.Separator}, {"pairs", l.Pairs}, {"decimal", l.Decimal}, {"endian", l.Endian}, {"inner", l.Inner},
	} {
		if k.value != "" {
			fmt.Fprintf(b, "%s = %s\n", k.key, strconv.Quote(k.value))
		}
	}
	if len(l.Kinds) > 0 {
		fmt.Fprintf(b, "kinds = [%s]\n", quoted(l.Kinds))
	}
	if len(l.Sources) > 0 {
		var of []string
		for name, id := range l.Sources {
			of = append(of, fmt.Sprintf("%q = %d", name, id))
		}
		slices.Sort(of)
		fmt.Fprintf(b, "sources = { %s }   # which rocket each callsign is\n", strings.Join(of, ", "))
	}
	if len(l.APID) > 0 {
		fmt.Fprintf(b, "apid = [%d]\n", l.APID[0])
	}
	if l.More {
		b.WriteString("more = true\n")
	}
	if s := l.Series; s != nil {
		fmt.Fprintf(b, "series = { count = %d, every_ms = %g }   # TODO how far apart\n", s.Count, s.EveryMs)
	}
	if l.Length > 0 {
		fmt.Fprintf(b, "length = %d\n", l.Length)
	}
	if c := l.Checksum; c.Kind != "" {
		fmt.Fprintf(b, "checksum = { kind = %q", c.Kind)
		if c.Mark != "" {
			fmt.Fprintf(b, ", mark = %q", c.Mark)
		}
		if c.From != 0 {
			fmt.Fprintf(b, ", from = %d", c.From)
		}
		if c.Endian != "" {
			fmt.Fprintf(b, ", endian = %q", c.Endian)
		}
		b.WriteString(" }\n")
	}
	if l.Rocket != nil {
		fmt.Fprintf(b, "rocket = %d                 # the frames do not say whose they are\n", *l.Rocket)
	}
	if len(g.Columns) == 0 {
		return
	}
	b.WriteString("fields = [\n")
	for _, c := range g.Columns {
		what := withWhy(c.Sure, c.Why)
		if use := decode.Use(c.Field.Name); use != "" {
			what += "; used for " + use
		} else if !c.Field.Ignore && c.Field.Type != "skip" {
			what += "; kept, not used"
		}
		indented(b, "", c.Raw+"  "+what)
		if c.Ask != "" {
			indented(b, "TODO ", c.Ask)
		}
		fmt.Fprintf(b, "  %s,\n", fieldText(c.Field))
	}
	b.WriteString("]\n")
}

func (g *Guess) framingText() string {
	f := g.Layout.Framing
	if f.Kind != ingest.FramingSync {
		return strconv.Quote(f.Kind)
	}
	text := fmt.Sprintf("{ kind = %q", f.Kind)
	if f.Sync != "" {
		text += fmt.Sprintf(", sync = %q", f.Sync)
	}
	if f.LengthBytes > 0 {
		text += fmt.Sprintf(", length_at = %d, length_bytes = %d, length_endian = %q, length_add = %d", f.LengthAt, f.LengthBytes, f.LengthEndian, f.LengthAdd)
	} else {
		text += fmt.Sprintf(", size = %d", f.Size)
	}
	if f.KeepSync {
		text += ", keep_sync = true"
	}
	return text + " }"
}

func quoted(words []string) string {
	var q []string
	for _, w := range words {
		q = append(q, strconv.Quote(w))
	}
	return strings.Join(q, ", ")
}

// fieldText is a field as an inline table, with the keys that it has.
func fieldText(f decode.Field) string {
	parts := []string{}
	add := func(key, value string) { parts = append(parts, key+" = "+value) }
	if f.Name != "" {
		add("name", strconv.Quote(f.Name))
	}
	for _, k := range []struct {
		key   string
		value any
	}{{"column", f.Column}, {"path", f.Path}, {"type", f.Type}, {"frame", f.Frame}, {"delta", f.Delta}, {"only", f.Only}} {
		if s, ok := k.value.(string); ok && s != "" {
			add(k.key, strconv.Quote(s))
		} else if n, ok := k.value.(int64); ok {
			add(k.key, strconv.FormatInt(n, 10))
		}
	}
	if f.Series {
		add("series", "true")
	}
	if f.SignOf != "" {
		add("sign_of", strconv.Quote(f.SignOf))
	}
	if len(f.Words) > 0 {
		var of []string
		for w, v := range f.Words {
			of = append(of, fmt.Sprintf("%s = %g", w, v))
		}
		slices.Sort(of)
		add("words", "{ "+strings.Join(of, ", ")+" }")
	}
	if f.Size != 0 {
		add("size", strconv.Itoa(f.Size))
	}
	if f.At != nil {
		add("at", strconv.Itoa(*f.At))
	}
	if f.Endian != "" {
		add("endian", strconv.Quote(f.Endian))
	}
	if f.Unit != "" {
		add("unit", strconv.Quote(f.Unit))
	}
	if f.Scale != 0 {
		add("scale", strconv.FormatFloat(f.Scale, 'g', -1, 64))
	}
	if f.Offset != 0 {
		add("offset", strconv.FormatFloat(f.Offset, 'g', -1, 64))
	}
	if f.Ignore {
		add("ignore", "true")
	}
	return "{ " + strings.Join(parts, ", ") + " }"
}

// comment writes "# lead text", in lines of 80 columns.
func comment(b *strings.Builder, lead, text string) { commentAt(b, "# ", lead, text) }

func indented(b *strings.Builder, lead, text string) { commentAt(b, "  # ", lead, text) }

func commentAt(b *strings.Builder, sign, lead, text string) {
	line := sign + lead
	pad := sign + strings.Repeat(" ", len(lead))
	fresh := true
	for _, word := range strings.Fields(strings.Map(commentRune, strings.ToValidUTF8(text, "?"))) {
		for len([]rune(word)) > 60 { // a line without a space
			word = string([]rune(word)[:57]) + "…"
		}
		if !fresh && len([]rune(line))+1+len([]rune(word)) > 80 {
			b.WriteString(line + "\n")
			line, fresh = pad, true
		}
		if !fresh {
			line += " "
		}
		line, fresh = line+word, false
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}

// commentRune leaves what may stand in a comment.
func commentRune(r rune) rune {
	if r < ' ' || r == 0x7f {
		return ' '
	}
	return r
}

func hexRows(b []byte) (rows []string) {
	for len(b) > 0 {
		n := min(len(b), 20)
		rows = append(rows, fmt.Sprintf("% x", b[:n]))
		b = b[n:]
	}
	return rows
}
