package guess

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// pairNames are names that stand before a value: "p=1013.2", "Temp: 21.5".
var pairNames = map[string]*regexp.Regexp{
	"=": regexp.MustCompile(`^\s*([A-Za-z][\w./\-]{0,30})\s*=`),
	":": regexp.MustCompile(`^\s*([A-Za-z][\w./\-]{0,30})\s*:`),
}

// lookPairs proposes a layout for lines whose values have their names before them.
func lookPairs(in Input, _ int) *Guess {
	framing := ingest.Framing{Kind: ingest.FramingLine}
	lines := linesOf(in, framing)
	if len(in.Messages) > 0 {
		framing.Kind = ingest.FramingDatagram
	}
	if len(lines) < few {
		return nil
	}
	sum, bare := textChecksum(lines)
	var best *pairTable
	for _, sep := range []string{",", ";", "\t", "|", "&", "space"} {
		for _, mark := range []string{"=", ":"} {
			if t := newPairs(bare, sep, mark); t != nil && (best == nil || t.values > best.values) {
				best = t
			}
		}
	}
	if best == nil {
		return nil
	}
	g := &Guess{Layout: decode.Layout{
		Name: "my-board", Framing: framing, Form: decode.Delimited, Separator: best.layoutSeparator(), Pairs: best.mark, Checksum: sum,
	}}
	for i, row := range best.rows {
		if row != nil {
			g.frames = append(g.frames, lines[i])
		}
	}
	g.Frames = len(g.frames)
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d lines of text", len(lines))},
		{"pairs", strconv.Quote(best.mark), certain, fmt.Sprintf("in %d of %d lines the values have their names before it", g.Frames, len(lines))},
		{"separator", best.separatorWords(), certain, ""},
		best.checksumPoint(sum),
	}
	if left := len(lines) - g.Frames; left > 0 {
		g.Asks = append(g.Asks, fmt.Sprintf("%d lines have no such names: are they needed? They are passed over.", left))
	}
	g.Columns = columnsOf(best.cells(), best.names, in.Seconds)
	for i := range g.Columns {
		g.Columns[i].Field.Column = best.names[i]
	}
	g.cells = func(line []byte) (out []string) {
		row := best.read(string(line))
		for _, name := range best.names {
			out = append(out, row[name])
		}
		return out
	}
	return g
}

// pairTable is lines cut into names and values.
type pairTable struct {
	table
	mark   string
	names  []string
	rows   []map[string]string // by line, nil for one without names
	values int                 // in all
}

// newPairs cuts lines; nil if less than two in three have two names at least.
func newPairs(lines [][]byte, sep, mark string) *pairTable {
	t := &pairTable{table: table{separator: sep}, mark: mark}
	count := map[string]int{}
	good := 0
	for _, l := range lines {
		row := t.read(string(l))
		if len(row) < 2 {
			t.rows = append(t.rows, nil)
			continue
		}
		good++
		t.rows = append(t.rows, row)
		for name, value := range row {
			if count[name]++; count[name] == 1 {
				t.names = append(t.names, name)
			}
			if value != "" && !strings.ContainsAny(value, "=:;|&") {
				t.values++
			}
		}
	}
	if good < few || 3*good < 2*len(lines) {
		return nil
	}
	t.names = slices.DeleteFunc(t.names, func(n string) bool { return 5*count[n] < good })
	slices.Sort(t.names) // the lines' own order differs
	t.names = t.names[:min(len(t.names), mostPaths)]
	return t
}

// read gives the values of a line by their names.
func (t *pairTable) read(line string) map[string]string {
	out := map[string]string{}
	for _, cell := range split(line, t.separator) {
		if m := pairNames[t.mark].FindStringSubmatch(cell); m != nil {
			out[m[1]] = strings.TrimSpace(cell[len(m[0]):])
		}
	}
	return out
}

func (t *pairTable) cells() [][]string {
	out := make([][]string, len(t.names))
	for i, name := range t.names {
		for _, row := range t.rows {
			if row != nil {
				out[i] = append(out[i], row[name])
			}
		}
	}
	return out
}

func (t *pairTable) checksumPoint(sum decode.Checksum) Point {
	t.checksum = sum
	return t.table.checksumPoint()
}

// lookPlaces proposes a layout for lines whose fields stand at fixed places: where in
// every line there is a space, or a sign, one ends.
func lookPlaces(lines [][]byte, framing ingest.Framing, seconds float64) *Guess {
	sizes := map[int]int{}
	width := 0
	for _, l := range lines {
		if sizes[len(l)]++; sizes[len(l)] > sizes[width] {
			width = len(l)
		}
	}
	var rows [][]byte
	for _, l := range lines {
		if len(l) == width && strings.ContainsAny(string(l), "0123456789") {
			rows = append(rows, l)
		}
	}
	if len(rows) < few || 10*len(rows) < 7*len(lines) || width > 400 {
		return nil
	}
	places := placesOf(rows, width)
	if len(places) < 2 {
		return nil
	}
	cells := make([][]string, len(places))
	numbers := 0
	for i, p := range places {
		for _, r := range rows {
			cell := strings.TrimSpace(string(r[p.from:p.to]))
			cells[i] = append(cells[i], cell)
			if isNumber(cell) {
				numbers++
			}
		}
	}
	if 2*numbers < len(rows)*len(places) {
		return nil
	}
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: decode.Delimited, Separator: "none"}, Frames: len(rows), frames: rows}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d lines of text", len(lines))},
		{"separator", "none", likely, fmt.Sprintf("%d lines have %d characters, with fields at fixed places", len(rows), width)},
	}
	g.Columns = columnsOf(cells, nil, seconds)
	for i, p := range places {
		g.Columns[i].Field.At, g.Columns[i].Field.Size = &p.from, p.to-p.from
	}
	g.cells = func(line []byte) (out []string) {
		for _, p := range places {
			if p.to <= len(line) {
				out = append(out, strings.TrimSpace(string(line[p.from:p.to])))
			}
		}
		return out
	}
	return g
}

type place struct{ from, to int }

// placesOf finds the places of fields that are filled up with spaces before or behind
// them, or that begin with a sign.
func placesOf(rows [][]byte, width int) (out []place) {
	at, before := -1, false
	end := func(to int) {
		if at >= 0 {
			out = append(out, place{at, to})
		}
		at = -1
	}
	for i := range width {
		spaces, signs := true, true
		for _, r := range rows {
			spaces = spaces && r[i] == ' '
			signs = signs && (r[i] == '+' || r[i] == '-' || r[i] == ' ') // a missing value
		}
		switch {
		case spaces:
			end(i)
		case signs && before:
			end(i)
			at = i
		case at < 0:
			at = i
		}
		before = !signs
	}
	end(width)
	for i, p := range out { // what stands at the right grows to the left
		right := !slices.ContainsFunc(rows, func(r []byte) bool { return r[p.to-1] == ' ' })
		if right && i > 0 {
			out[i].from = out[i-1].to
		} else if right {
			out[i].from = 0
		}
	}
	return out
}

// hexText and base64Text are how a frame is written in a field.
var (
	hexText    = regexp.MustCompile(`^(?:[0-9A-Fa-f]{2}[ :]?){6,}$`)
	base64Text = regexp.MustCompile(`^[A-Za-z0-9+/_\-]{8,}={0,2}$`)
)

// written says how nearly all cells write bytes down, and which.
func written(cells []string) (frame string, frames [][]byte) {
	for _, way := range []struct {
		name string
		text *regexp.Regexp
		read func(string) ([]byte, bool)
	}{{"hex", hexText, readHex}, {"base64", base64Text, readBase64}} {
		frames = nil
		letters := false
		for _, c := range cells {
			if !way.text.MatchString(c) {
				continue
			}
			letters = letters || strings.ContainsAny(c, "ABCDEFabcdef")
			if b, ok := way.read(c); ok {
				frames = append(frames, b)
			}
		}
		if letters && len(frames) >= few && 10*len(frames) >= 7*len(cells) {
			return way.name, frames
		}
	}
	return "", nil
}

// carry looks for a column that holds whole frames, in hex or base64, and makes what
// is in them the layout within.
func (g *Guess) carry(cells [][]string, seconds float64, depth int) {
	for i := range cells {
		frame, frames := written(cells[i])
		if frame == "" {
			continue
		}
		inner := within(frames, seconds, depth)
		if inner == nil {
			continue
		}
		c := &g.Columns[i]
		f := decode.Field{Name: "frame", Frame: frame, Path: c.Field.Path, Column: c.Field.Column}
		*c = Column{Title: c.Title, Field: f, Sure: likely, Why: "it holds a whole frame, written in " + frame}
		g.Parts = append(g.Parts, inner)
		g.Points = append(g.Points, Point{"inner", inner.Layout.Form, likely, fmt.Sprintf("what the frames in %s are; it reads %d of them", orElse(c.Title, fmt.Sprintf("column %d", i+1)), inner.Frames)})
		inner.fields()
		theirs := inner.names()
		for k := range g.Columns {
			o := &g.Columns[k].Field
			if k != i && (slices.Contains(theirs, o.Name) || o.Name == decode.FieldClock && slices.Contains(theirs, decode.FieldClock)) {
				o.Name, o.Unit, o.Ignore = free("outer_"+o.Name, k, map[string]bool{}), "", true
				g.Columns[k].Why += "; the frame has it too, and its own counts"
			}
		}
		return
	}
}

// lookEncoded proposes a layout for lines that are nothing but a frame in hex or
// base64.
func lookEncoded(lines [][]byte, framing ingest.Framing, seconds float64, depth int) *Guess {
	cells := make([]string, len(lines))
	for i, l := range lines {
		cells[i] = string(l)
	}
	if frame, _ := written(cells); frame == "" {
		return nil
	}
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: decode.Delimited, Separator: ";"}, Frames: len(lines), frames: lines}
	g.Points = []Point{{"framing", framing.Kind, certain, fmt.Sprintf("%d lines of text", len(lines))}}
	g.Columns = columnsOf([][]string{cells}, nil, seconds)
	if g.carry([][]string{cells}, seconds, depth); len(g.Parts) == 0 {
		return nil
	}
	return g
}
