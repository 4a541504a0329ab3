package decode

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A delimited line whose fields do not stand in the layout's order has them in
// columns with numbers or with names that a header line gives,
//
//	Time (ms);Pressure [hPa];Note
//	120;1013,2;on the pad
//
// at fixed places,
//
//	   120  1013.2
//
// or each with its name:
//
//	t=120 p=1013.2

// places says how the fields of a line are found.
type places uint8

const (
	inOrder places = iota
	inColumns
	atPlaces // at is the first character, size how many there are
	byNames
)

// mostColumns bounds how many columns a line is split into.
const mostColumns = 1024

// noSpan is where a field is that a line does not have.
const noSpan = -1

// readColumns finds each field's place, and reads it.
func (p *Program) readColumns(line []byte, from, base int, sc *scratch) *Reject {
	if cap(sc.cells) < len(p.fields) {
		sc.cells = make([]span, len(p.fields))
	}
	sc.cells = sc.cells[:len(p.fields)]
	var short *Reject
	switch p.text.places {
	case atPlaces:
		short = p.findPlaces(line, from, base, sc.cells)
	case byNames:
		short = p.findNames(line, from, base, sc)
	default:
		short = p.findColumns(line, from, base, sc)
	}
	for i, s := range sc.cells {
		if s.from == noSpan {
			sc.cells[i] = span{len(line), len(line)} // empty: missing
			continue
		}
		sc.cells[i] = unquoted(line, s)
	}
	if short != nil && short.Kind == Unknown {
		return short
	}
	if r := p.ours(line, base, sc.cells); r != nil {
		return r
	}
	if short != nil {
		return short
	}
	return p.readSpans(line, base, sc.cells, sc)
}

// findColumns takes the columns that fields name.
func (p *Program) findColumns(line []byte, from, base int, sc *scratch) *Reject {
	sc.spans = p.split(line, from, sc.spans[:0], p.text.columns)
	var short *Reject
	for i := range p.fields {
		f := &p.fields[i]
		switch {
		case f.column < len(sc.spans):
			sc.cells[i] = sc.spans[f.column]
		case p.text.more && f.column >= 0:
			sc.cells[i] = span{noSpan, noSpan}
		default:
			sc.cells[i] = span{noSpan, noSpan}
			if short == nil {
				short = p.reject(Corrupt, ReasonFieldCount, f.name, base+len(line),
					fmt.Sprintf("%d columns where %d are needed: %.80q", len(sc.spans), p.text.columns, line))
			}
		}
	}
	return short
}

// findPlaces takes the characters at fixed places. A line may end within or
// before its last fields, as editors cut spaces off.
func (p *Program) findPlaces(line []byte, from, base int, cells []span) *Reject {
	some := false
	for i := range p.fields {
		f := &p.fields[i]
		a, b := from+f.at, min(from+f.at+f.size, len(line))
		if a >= len(line) {
			cells[i] = span{noSpan, noSpan}
			continue
		}
		cells[i], some = span{a, b}, true
	}
	if !some {
		return p.reject(Corrupt, ReasonFieldCount, "", base+len(line), fmt.Sprintf("the line has %d characters and ends before the first field", len(line)))
	}
	return nil
}

// findNames looks each name up in a line of pairs.
func (p *Program) findNames(line []byte, from, base int, sc *scratch) *Reject {
	sc.spans = p.split(line, from, sc.spans[:0], mostColumns)
	for i := range sc.cells {
		sc.cells[i] = span{noSpan, noSpan}
	}
	some := false
	for _, s := range sc.spans {
		at := bytes.Index(line[s.from:s.to], p.text.pairs)
		if at < 0 {
			continue
		}
		name := trimSpaces(line[s.from : s.from+at])
		for i := range p.fields {
			f := &p.fields[i]
			for _, key := range f.keys {
				if string(name) == key {
					sc.cells[i], some = span{s.from + at + len(p.text.pairs), s.to}, true
				}
			}
		}
	}
	if !some {
		return p.reject(Unknown, ReasonNotOurs, "", base+from, fmt.Sprintf("none of the layout's names stands before a %q: %.80q", p.text.pairs, line))
	}
	return nil
}

// unquoted leaves spaces and quotes around a value out.
func unquoted(line []byte, s span) span {
	for s.from < s.to && isSpace(line[s.from]) {
		s.from++
	}
	for s.from < s.to && isSpace(line[s.to-1]) {
		s.to--
	}
	if s.to-s.from >= 2 && line[s.from] == '"' && line[s.to-1] == '"' {
		s.from, s.to = s.from+1, s.to-1
	}
	return s
}

// headerIn says whether a line of a layout with named columns is a header, or
// must wait for one: nil if it is to be read.
func (p *Program) headerIn(line []byte, base int, m *ident) *Reject {
	if len(p.text.header) > 0 && bytes.Equal(trimSpaces(line), p.text.header) {
		return p.reject(Heading, ReasonHeadline, "", base, "the line that names the columns")
	}
	if !p.text.nameless {
		return nil
	}
	if r := p.newHeader(line, base, m); r != nil {
		return r
	}
	return p.reject(Unknown, ReasonHeadline, "", base, fmt.Sprintf("no line has named the columns yet; write header = … in the layout, or the columns' numbers: %.80q", line))
}

// newHeader says whether a line that is not the known header is one: a board
// that starts anew, perhaps with another program, names its columns again.
func (p *Program) newHeader(line []byte, base int, m *ident) *Reject {
	if len(line) > maxHeader || !p.namesAll(line) {
		return nil
	}
	m.lesson = &lesson{layout: p.name, header: string(trimSpaces(line))}
	return p.reject(Heading, ReasonHeadline, "", base, "the line that names the columns")
}

// maxHeader is how long a header line may be.
const maxHeader = 8192

// namesAll says whether a line has a column for every field that wants one by
// its name.
func (p *Program) namesAll(line []byte) bool {
	// Most lines are numbers: that is seen at once.
	if !bytes.ContainsFunc(line, func(r rune) bool { return r >= 'A' && r != 'E' && r != 'e' }) {
		return false
	}
	cells := p.headerCells(string(line))
	for i := range p.fields {
		if f := &p.fields[i]; len(f.keys) > 0 && findHeading(cells, f.keys) < 0 {
			return false
		}
	}
	return true
}

// headerCells splits a header line as any line.
func (p *Program) headerCells(line string) []heading {
	b := []byte(line)
	from := 0
	if bytes.HasPrefix(b, p.text.prefix) {
		from = len(p.text.prefix)
	}
	var out []heading
	for _, s := range p.split(b, from, nil, mostColumns) {
		s = unquoted(b, s)
		out = append(out, headingOf(line[s.from:s.to]))
	}
	return out
}

// heading is what a header says of a column.
type heading struct {
	text string // as it stands there
	name string // without the unit
	unit string // as it stands there; empty if none is told
	sure bool   // brackets say that it is one
}

// headingOf splits "Pressure [hPa]", "pressure(hPa)" or "pressure / hPa".
func headingOf(text string) heading {
	for _, marks := range []string{"[]", "()", "{}"} {
		open := strings.LastIndexByte(text, marks[0])
		if open > 0 && strings.HasSuffix(text, marks[1:]) {
			return heading{text, strings.TrimSpace(text[:open]), strings.TrimSpace(text[open+1 : len(text)-1]), true}
		}
	}
	for _, mark := range []string{" in ", " / ", "/", " ", "_"} {
		at := strings.LastIndex(text, mark)
		if at <= 0 {
			continue
		}
		if unit := strings.TrimSpace(text[at+len(mark):]); unitWritten(unit) != "" {
			return heading{text, strings.TrimSpace(text[:at]), unit, false}
		}
	}
	return heading{text: text, name: text}
}

// findHeading finds a column by its whole text, or by its name without the unit.
func findHeading(cells []heading, keys []string) int {
	for _, key := range keys {
		for i, c := range cells {
			if strings.EqualFold(c.text, key) {
				return i
			}
		}
	}
	for _, key := range keys {
		for i, c := range cells {
			if strings.EqualFold(c.name, key) {
				return i
			}
		}
	}
	return -1
}

// unitWritten is the name of a unit as headers write it; empty if it is none.
func unitWritten(s string) string {
	if _, ok := findUnit(s); ok {
		return s
	}
	for _, w := range [][2]string{
		{"°C", "degC"}, {"ºC", "degC"}, {"C", "degC"}, {"deg C", "degC"}, {"°F", "degF"}, {"F", "degF"},
		{"µs", "us"}, {"μs", "us"}, {"sec", "s"}, {"seconds", "s"}, {"msec", "ms"}, {"millis", "ms"}, {"usec", "us"}, {"micros", "us"},
		{"m/s²", "m/s2"}, {"m/s^2", "m/s2"}, {"m/s/s", "m/s2"}, {"G", "g"}, {"feet", "ft"}, {"meters", "m"}, {"metres", "m"},
		{"volts", "V"}, {"volt", "V"}, {"knots", "kn"}, {"kt", "kn"}, {"kph", "km/h"}, {"°", "deg"}, {"°/s", "deg/s"}, {"mb", "mbar"},
	} {
		if s == w[0] {
			return w[1]
		}
	}
	return ""
}

// compilePlaces finds out how the fields of a delimited line are found.
func (c *compiler) compilePlaces() error {
	l, t := c.layout, &c.p.text
	numbered, named := 0, 0
	for i := range l.Fields {
		switch names, number, err := columnOf(l.Fields[i].Column); {
		case err != nil:
			return c.fieldErrorf(i, "column", "%w", err)
		case number > 0:
			numbered++
		case len(names) > 0:
			named++
		}
	}
	switch {
	case l.Separator == "none":
		t.places = atPlaces
		if l.Pairs != "" || numbered+named > 0 {
			return c.errorf("separator", "\"none\" is for fields at fixed places (at and size); leave pairs and column out")
		}
	case l.Pairs != "":
		t.places, t.pairs = byNames, []byte(l.Pairs)
		if numbered > 0 || named < len(l.Fields) {
			return c.errorf("pairs", "each field needs column = \"NAME\", the name that stands before %q", l.Pairs)
		}
	case numbered+named > 0:
		t.places = inColumns
		if numbered+named < len(l.Fields) {
			return c.errorf("fields", "some have a column and some do not; give each one")
		}
	}
	if t.places != inOrder && t.places != inColumns && l.More {
		return c.errorf("more", "what no field names is left alone anyway; leave it out")
	}
	if l.Header == "" {
		t.nameless = t.places == inColumns && named > 0
		return nil
	}
	if t.places != inColumns || named == 0 {
		return c.errorf("header", "it names columns, and no field has a column by its name; write column = \"NAME\", or leave header out")
	}
	t.header = []byte(strings.TrimSpace(l.Header))
	return c.readHeader()
}

// readHeader takes numbers and units of columns from the header.
func (c *compiler) readHeader() error {
	cells := c.p.headerCells(string(c.p.text.header))
	fields := slices.Clone(c.layout.Fields)
	for i := range fields {
		f := &fields[i]
		names, number, _ := columnOf(f.Column) //nolint:errcheck // compilePlaces has looked
		if number--; number < 0 {
			if number = findHeading(cells, names); number < 0 {
				return c.fieldErrorf(i, "column", "there is no %s in the header; it has: %s", orQuoted(names), headingList(cells))
			}
		}
		f.Column = int64(number + 1)
		c.named = append(c.named, names)
		if number >= len(cells) {
			continue
		}
		if err := c.unitOf(i, f, cells[number]); err != nil {
			return err
		}
	}
	c.layout.Fields = fields
	return nil
}

// unitOf takes a field's unit from the header, if the layout gives none.
func (c *compiler) unitOf(i int, f *Field, h heading) error {
	if f.Unit != "" || h.unit == "" || f.Ignore || f.SignOf != "" || len(f.Flags) > 0 {
		return nil
	}
	to, measured := channelUnit(f.Name)
	if f.Name == FieldClock {
		to, measured = unit{quantity: duration}, true
	}
	if !measured {
		return nil
	}
	from, known := findUnit(unitWritten(h.unit))
	switch {
	case known && from.quantity == to.quantity:
		f.Unit = from.name
	case h.sure:
		return c.fieldErrorf(i, "unit", "the header has the column in %q, which is no unit of %s known here; write unit = …", h.unit, to.quantity)
	}
	return nil
}

func orQuoted(names []string) string {
	var q []string
	for _, n := range names {
		q = append(q, strconv.Quote(n))
	}
	return strings.Join(q, " or ")
}

func headingList(cells []heading) string {
	var names []string
	for _, c := range cells {
		names = append(names, c.text)
	}
	return fmt.Sprintf("%.300s", strings.Join(names, ", "))
}

// columnOf reads a column: its names, or its number from 1 on.
func columnOf(v any) (names []string, number int, err error) {
	switch x := v.(type) {
	case nil:
		return nil, 0, nil
	case int:
		return columnOf(int64(x))
	case int64:
		if x < 1 || x > mostColumns {
			return nil, 0, fmt.Errorf("%d is outside 1 to %d", x, mostColumns)
		}
		return nil, int(x), nil
	}
	names, err = nameList(v)
	return names, 0, err
}

// nameList reads a word, or a list of them.
func nameList(v any) ([]string, error) {
	switch x := v.(type) {
	case nil:
		return nil, nil
	case string:
		return []string{x}, nil
	case []string:
		return x, nil
	case []any:
		var out []string
		for _, e := range x {
			s, ok := e.(string)
			if !ok {
				return nil, fmt.Errorf("%v is no word; write a word, or a list of words", e)
			}
			out = append(out, s)
		}
		if len(out) > 0 && len(out) <= 8 {
			return out, nil
		}
	}
	return nil, fmt.Errorf("%v is no word; write one, or a list of 1 to 8 of them", v)
}

// columnField compiles where a field of a delimited line is.
func (c *compiler) columnField(i int, lf Field, f *field) error {
	t := &c.p.text
	names, number, _ := columnOf(lf.Column) //nolint:errcheck // compilePlaces has looked
	f.keys, f.column = names, number-1
	if t.places == inColumns && len(t.header) > 0 {
		f.keys = c.named[i] // a board may name its columns anew
	}
	t.columns = max(t.columns, number)
	if t.places != atPlaces {
		if lf.At != nil || lf.Size != 0 {
			return c.fieldErrorf(i, "at", "at and size mean nothing in text without fixed places; write separator = \"none\" for the layout, or leave them out")
		}
		return nil
	}
	if lf.Size < 1 || lf.Size > mostColumns {
		return c.fieldErrorf(i, "size", "%d is not possible; write how many characters the field has", lf.Size)
	}
	f.size = lf.Size
	return c.placeOf(i, lf, f)
}
