package guess

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// lookText proposes a layout for lines.
func lookText(in Input, depth int) (*Guess, error) {
	framing := ingest.Framing{Kind: ingest.FramingLine}
	lines := linesOf(in, framing)
	if len(in.Messages) > 0 {
		framing.Kind = ingest.FramingDatagram
	}
	if len(lines) < few {
		return nil, fmt.Errorf("%d lines are too few to guess from: save some more, %d at least", len(lines), few)
	}
	if g := lookNMEA(lines, framing, in.Seconds); g != nil {
		return g, nil
	}
	if g := lookLineKinds(lines, framing, in.Seconds, depth); g != nil {
		return g, nil
	}
	t := newTable(lines)
	if t == nil {
		if g := lookPlaces(lines, framing, in.Seconds); g != nil {
			return g, nil
		}
		if g := lookEncoded(lines, framing, in.Seconds, depth); g != nil {
			return g, nil
		}
		return nil, fmt.Errorf("the lines have no fields in common: %.60q is one of them; describe them by hand (padlark check --keys layout)", lines[len(lines)/2])
	}
	g := t.guess(lines, framing, in.Seconds, depth)
	if t.separator == "space" { // gaps, or figures that touch
		if p := lookPlaces(lines, framing, in.Seconds); p != nil && (p.known() > g.known() || 10*len(t.rows) < 9*len(lines)) {
			return p, nil
		}
	}
	return g, nil
}

// guess proposes a layout for the lines of a table.
func (t *table) guess(lines [][]byte, framing ingest.Framing, seconds float64, depth int) *Guess {
	g := &Guess{Layout: decode.Layout{
		Name: "my-board", Framing: framing, Form: decode.Delimited, Prefix: t.prefix, Separator: t.layoutSeparator(), Checksum: t.checksum, Decimal: t.decimal,
	}, Frames: len(t.rows), frames: t.lines}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d lines of text", len(lines))},
		{"form", decode.Delimited, certain, fmt.Sprintf("%d of %d lines have %d fields", len(t.rows), len(lines), t.width)},
		{"separator", t.separatorWords(), certain, ""},
		t.checksumPoint(),
	}
	if t.prefix != "" {
		g.Points = append(g.Points, Point{"prefix", strconv.Quote(t.prefix), likely, "every line begins with it"})
	}
	if t.left > 0 {
		g.Asks = append(g.Asks, fmt.Sprintf("%d lines are of another kind, such as %.50q: are they needed? They are passed over.", t.left, t.other))
	}
	cells := t.columns()
	g.Columns = columnsOf(cells, t.titles, seconds)
	g.carry(cells, seconds, depth)
	g.seriesOf(cells, seconds)
	g.cells = t.cellsOf
	return g
}

// cellsOf are a line's fields as they stand there.
func (t *table) cellsOf(line []byte) (out []string) {
	for _, cell := range split(strings.TrimPrefix(string(line), t.prefix), t.separator) {
		out = append(out, strings.TrimSpace(cell))
	}
	return out
}

// linesOf are the lines without their ends; the first and the last of a stream may
// be cut off and are left out where there are enough.
func linesOf(in Input, f ingest.Framing) [][]byte {
	var out [][]byte
	for _, m := range in.frames(f) {
		for line := range bytes.SplitSeq(m, []byte("\n")) {
			if line = bytes.TrimRight(line, "\r\n "); len(line) > 0 {
				out = append(out, line)
			}
		}
	}
	return out
}

// table is lines cut into fields.
type table struct {
	separator string // "space" for runs of them
	prefix    string
	width     int
	rows      [][]string
	lines     [][]byte // of the rows, whole
	titles    []string // of a header line, nil without one
	decimal   string   // "," where numbers have a comma for a point
	left      int      // lines of another kind
	other     []byte
	checksum  decode.Checksum
}

// newTable chooses the separator with which most lines have one width and most
// fields are numbers.
func newTable(lines [][]byte) *table {
	sum, bare := textChecksum(lines)
	var best *table
	bestScore := 0.0
	for _, sep := range []string{",", ";", "\t", "|", "space", ":"} {
		t, score := cut(bare, lines, sep)
		if t != nil && score > bestScore*1.05 {
			best, bestScore = t, score
		}
	}
	if best == nil {
		return nil
	}
	best.checksum = sum
	best.takePrefix()
	return best
}

func split(line, sep string) []string {
	if sep == "space" {
		return strings.Fields(line)
	}
	return strings.Split(line, sep)
}

// cut splits all lines by a separator; the score is the share of lines that fit
// times the share of numbers in them, with a little for more columns.
func cut(bare, lines [][]byte, sep string) (*table, float64) {
	widths := map[int]int{}
	cells := make([][]string, len(bare))
	for i, b := range bare {
		cells[i] = split(string(b), sep)
		widths[len(cells[i])]++
	}
	t := &table{separator: sep}
	if sep != "," && commas(cells) {
		t.decimal = ","
		for _, row := range cells {
			for i, c := range row {
				row[i] = pointed(c)
			}
		}
	}
	for w, n := range widths {
		if w > 1 && (n > widths[t.width] || n == widths[t.width] && w > t.width) {
			t.width = w
		}
	}
	if t.width < 2 || 2*widths[t.width] < len(bare) {
		return nil, 0
	}
	numbers := 0
	for i, row := range cells {
		n := 0
		for _, c := range row {
			if isNumber(c) || isTime(c) {
				n++
			}
		}
		switch {
		case len(row) == t.width && n == 0:
			if t.titles == nil && len(t.rows) < 3 {
				t.titles = row
				continue
			}
			fallthrough
		case len(row) != t.width:
			if i > 0 && i < len(cells)-1 { // the first and the last may be cut off
				t.left++
				t.other = lines[i]
			}
		default:
			t.rows = append(t.rows, row)
			t.lines = append(t.lines, lines[i])
			numbers += n
		}
	}
	if len(t.rows) < few || numbers == 0 {
		return nil, 0
	}
	share := float64(len(t.rows)) / float64(len(bare))
	return t, share * float64(numbers) / float64(len(t.rows)*t.width) * (1 + 0.01*float64(min(t.width, 20)))
}

// takePrefix makes a first column that is one word into the layout's prefix.
func (t *table) takePrefix() {
	if t.separator == "space" || t.width < 3 {
		return
	}
	first := t.rows[0][0]
	for _, r := range t.rows {
		if r[0] != first {
			return
		}
	}
	if isNumber(first) || isTime(first) || first == "" || strings.ContainsFunc(first, func(r rune) bool { return r < ' ' || r > '~' }) {
		return
	}
	t.prefix = first + t.separator
	t.width--
	for i := range t.rows {
		t.rows[i] = t.rows[i][1:]
	}
	if t.titles != nil {
		t.titles = t.titles[1:]
	}
}

// columns are the fields by column.
func (t *table) columns() [][]string {
	out := make([][]string, t.width)
	for i := range out {
		for _, r := range t.rows {
			out[i] = append(out[i], strings.TrimSpace(r[i]))
		}
	}
	return out
}

func (t *table) layoutSeparator() string {
	if t.separator == "," {
		return ""
	}
	return t.separator
}

func (t *table) separatorWords() string {
	switch t.separator {
	case "space":
		return "spaces"
	case "\t":
		return "tab"
	}
	return t.separator
}

func (t *table) checksumPoint() Point {
	if t.checksum.Kind == "" {
		return Point{"checksum", "none", likely, "no line ends like one that is known"}
	}
	return Point{"checksum", t.checksum.Kind, certain, "it agrees with every line looked at"}
}

// endsInHex is a mark and hex digits at the end of a line.
var endsInHex = regexp.MustCompile(`^(.*?)([*#^~]|,0x|;0x|,|;| )([0-9A-Fa-f]{8}|[0-9A-Fa-f]{4}|[0-9A-Fa-f]{2})$`)

// textChecksum finds a checksum in hex at the end of nearly every line, and gives
// the lines without it.
func textChecksum(lines [][]byte) (decode.Checksum, [][]byte) {
	var tried [][][]byte // before, mark, digits
	for _, l := range lines[:min(len(lines), 60)] {
		if m := endsInHex.FindSubmatch(l); m != nil {
			tried = append(tried, m)
		}
	}
	if len(tried) < few || 10*len(tried) < 7*min(len(lines), 60) {
		return decode.Checksum{}, lines
	}
	mark := string(tried[len(tried)/2][2])
	best, most := decode.Checksum{}, 0
	for _, name := range decode.ChecksumNames() {
		calc, size := decode.SumFunc(name)
		for from := range 2 {
			n := 0
			for _, m := range tried {
				if len(m[1]) <= from || string(m[2]) != mark {
					continue
				}
				if want, err := strconv.ParseUint(string(m[3]), 16, 32); err == nil && len(m[3]) == 2*size && uint32(want) == calc(m[1][from:]) {
					n++
				}
			}
			if n > most {
				best, most = decode.Checksum{Kind: name, Mark: mark, From: from}, n
			}
		}
	}
	// A single byte agrees by chance once in 256 lines.
	if most < few || 10*most < 8*len(tried) {
		return decode.Checksum{}, lines
	}
	if best.Mark == "*" {
		best.Mark = ""
	}
	bare := make([][]byte, len(lines))
	for i, l := range lines {
		bare[i] = l
		if m := endsInHex.FindSubmatch(l); m != nil && string(m[2]) == mark {
			bare[i] = m[1]
		}
	}
	return best, bare
}

// lookNMEA proposes a layout for sentences: "$ABCD,...*HH".
func lookNMEA(lines [][]byte, framing ingest.Framing, seconds float64) *Guess {
	byAddress := map[string][][]byte{}
	best := ""
	good := 0
	calc, _ := decode.SumFunc("xor8")
	for _, l := range lines {
		s := string(l)
		star := strings.LastIndexByte(s, '*')
		if !strings.HasPrefix(s, "$") || star < 0 || len(s) != star+3 {
			continue
		}
		want, err := strconv.ParseUint(s[star+1:], 16, 8)
		if err != nil || uint64(calc(l[1:star])) != want {
			continue
		}
		good++
		address, _, _ := strings.Cut(s[1:star], ",")
		byAddress[address] = append(byAddress[address], l)
		if len(byAddress[address]) > len(byAddress[best]) {
			best = address
		}
	}
	if good < few || 10*good < 7*len(lines) {
		return nil
	}
	chosen := byAddress[best]
	if g := lookSentences(byAddress, lines, framing, seconds); g != nil {
		return g
	}
	g := ofSentences(best, chosen, framing, seconds)
	if g == nil {
		return nil
	}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d lines of text", len(lines))},
		{"form", decode.NMEA, certain, "sentences of NMEA 0183 with their checksum"},
		{"address", best, certain, fmt.Sprintf("of %d of %d sentences", len(chosen), good)},
	}
	for a, of := range byAddress {
		if a != best {
			g.Asks = append(g.Asks, fmt.Sprintf("%d sentences are %s: they need a layout of their own if they matter", len(of), a))
		}
	}
	return g
}

// ofSentences is the layout of sentences of one address.
func ofSentences(address string, chosen [][]byte, framing ingest.Framing, seconds float64) *Guess {
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: decode.NMEA, Address: address}, Frames: len(chosen), frames: chosen}
	t := &table{separator: ","}
	for _, l := range chosen {
		fields := strings.Split(string(l[:len(l)-3]), ",")[1:]
		if t.width == 0 {
			t.width = len(fields)
		}
		if len(fields) == t.width && t.width > 0 {
			t.rows = append(t.rows, fields)
		}
	}
	if t.width == 0 {
		return nil
	}
	g.Columns = columnsOf(t.columns(), nil, seconds)
	g.cells = func(line []byte) []string {
		_, fields, _ := strings.Cut(string(line), ",")
		return split(fields, ",")
	}
	return g
}

// isNumber is what a text layout reads as a number, or a missing one.
func isNumber(s string) bool {
	s = strings.TrimSpace(s)
	if s == "" || len(s) > 40 || strings.ContainsAny(s, "xXpP_iI") {
		return false
	}
	_, err := strconv.ParseFloat(s, 64)
	return err == nil && !strings.EqualFold(s, "nan")
}
