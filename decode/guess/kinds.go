package guess

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// A board that sends several kinds of frame: lines that begin with different words,
// sentences of different addresses, frames of different lengths or first bytes.

// mostKinds bounds how many kinds are told apart.
const mostKinds = 8

// ofKinds joins guesses for single kinds into one for all; nil if less than two are
// left.
func ofKinds(framing ingest.Framing, parts []*Guess, total int, how string) *Guess {
	if len(parts) < 2 {
		return nil
	}
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: decode.Kinds}, Parts: parts}
	for _, p := range parts {
		if p.BuiltIn == "" {
			p.Layout.Framing = ingest.Framing{}
		}
		g.Frames += p.Frames
		g.frames = append(g.frames, p.frames...)
	}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d frames", total)},
		{"form", decode.Kinds, likely, fmt.Sprintf("%d kinds of frame, told apart by %s", len(parts), how)},
	}
	for i, p := range parts {
		for _, pt := range p.Points {
			if pt.What == "checksum" || pt.What == "prefix" || pt.What == "address" {
				pt.What = fmt.Sprintf("%s %d", pt.What, i+1)
				g.Points = append(g.Points, pt)
			}
		}
	}
	oneClock(parts)
	return g
}

// oneClock leaves the clock, the number and the count of starts to the kinds that have
// them alike: they are the board's, and not the kind's.
func oneClock(parts []*Guess) {
	for _, name := range []string{decode.FieldClock, decode.FieldSeq, decode.FieldBoot} {
		var first *decode.Field
		for _, p := range parts {
			if p.BuiltIn != "" {
				continue
			}
			for i := range p.Columns {
				f := &p.Columns[i].Field
				switch {
				case f.Name != name:
				case first == nil:
					first = f
				case f.Type != first.Type || f.Unit != first.Unit:
					f.Name, f.Unit, f.Ignore = name+"_too", "", true
					p.Columns[i].Why += "; in another unit than in the first kind, so it is passed over"
				}
			}
		}
	}
}

// lookLineKinds proposes layouts for lines that begin with different words.
func lookLineKinds(lines [][]byte, framing ingest.Framing, seconds float64, depth int) *Guess {
	sum, bare := textChecksum(lines)
	for _, sep := range []string{",", ";", "\t", "|", "space"} {
		groups, order := byFirstWord(bare, lines, sep)
		covered := 0
		for _, w := range order {
			covered += len(groups[w])
		}
		if len(order) < 2 || len(order) > mostKinds || 10*covered < 8*len(lines) {
			continue
		}
		var parts []*Guess
		for _, w := range order {
			t := newTable(groups[w])
			if t == nil || t.separator != sep {
				break
			}
			if t.prefix == "" && sep == "space" {
				t.takeWord(w)
			}
			if t.prefix == "" {
				break
			}
			t.checksum = sum
			parts = append(parts, t.guess(groups[w], framing, seconds, depth))
		}
		if len(parts) == len(order) {
			return ofKinds(framing, parts, len(lines), "how their lines begin")
		}
	}
	return nil
}

// byFirstWord groups lines by the word that they begin with, in the order in which
// they come; a word of fewer lines than a table needs is no kind.
func byFirstWord(bare, lines [][]byte, sep string) (groups map[string][][]byte, order []string) {
	groups = map[string][][]byte{}
	for i, l := range bare {
		cells := split(string(l), sep)
		if len(cells) < 3 || isNumber(cells[0]) || strings.TrimSpace(cells[0]) == "" || len(cells[0]) > 16 {
			continue
		}
		w := cells[0]
		if len(groups[w]) == 0 {
			order = append(order, w)
		}
		groups[w] = append(groups[w], lines[i])
		if len(order) > 2*mostKinds {
			return groups, nil
		}
	}
	order = slices.DeleteFunc(order, func(w string) bool { return len(groups[w]) < few })
	return groups, order
}

// takeWord makes the first word of lines between spaces their prefix.
func (t *table) takeWord(word string) {
	for _, l := range t.lines {
		if !bytes.HasPrefix(l, []byte(word+" ")) {
			return
		}
	}
	t.prefix = word + " "
	t.width--
	for i := range t.rows {
		t.rows[i] = t.rows[i][1:]
	}
	if t.titles != nil {
		t.titles = t.titles[1:]
	}
}

// lookSentences proposes layouts for a board of its own sentences and those of a
// satellite receiver, which are built in.
func lookSentences(byAddress map[string][][]byte, lines [][]byte, framing ingest.Framing, seconds float64) *Guess {
	var own, receiver []string
	for a, of := range byAddress {
		switch {
		case len(a) == 5 && slices.Contains([]string{"GGA", "RMC", "GSA", "VTG", "GLL", "ZDA"}, a[2:]):
			receiver = append(receiver, strings.ToLower(a[2:]))
		case len(of) >= few && !standard(a):
			own = append(own, a)
		}
	}
	slices.Sort(own)
	slices.Sort(receiver)
	receiver = slices.Compact(receiver)
	if len(own)+len(receiver) < 2 || len(own) == 0 || len(own) > mostKinds {
		return nil
	}
	var parts []*Guess
	for _, a := range own {
		if p := ofSentences(a, byAddress[a], framing, seconds); p != nil {
			parts = append(parts, p)
		}
	}
	builtins, err := decode.Builtin()
	if err != nil {
		return nil
	}
	for _, s := range receiver {
		if i := slices.IndexFunc(builtins, func(l decode.Layout) bool { return l.Name == "gps-"+s }); i >= 0 {
			parts = append(parts, ofReceiver(builtins[i]))
		}
	}
	g := ofKinds(framing, parts, len(lines), "their addresses")
	if g == nil {
		return nil
	}
	g.frames, g.Frames = nil, 0
	for _, l := range lines {
		if address, _, ok := strings.Cut(strings.TrimPrefix(string(l), "$"), ","); ok && (slices.Contains(own, address) || len(address) == 5 && slices.Contains(receiver, strings.ToLower(address[2:]))) {
			g.frames = append(g.frames, l)
		}
	}
	g.Frames = len(g.frames)
	return g
}

// ofReceiver is a receiver's sentence of a board that has a clock of its own.
func ofReceiver(l decode.Layout) *Guess {
	fields := l.Fields
	l.Fields = nil
	g := &Guess{Layout: l}
	for _, f := range fields {
		if f.Name == decode.FieldClock {
			f = decode.Field{Name: "time_of_day", Ignore: true}
		}
		g.Columns = append(g.Columns, Column{Field: f, Sure: certain, Why: "as NMEA 0183 has it"})
	}
	return g
}

// standard says whether an address is one of a talker that the standard names, and so
// no board's own: those begin with P.
func standard(a string) bool { return len(a) == 5 && a[0] != 'P' }

// lookKinds proposes layouts for frames of different lengths or first bytes.
func lookKinds(in Input, _ int) *Guess {
	for _, c := range in.cuts() {
		if g := binaryKinds(c.framing, c.frames, len(in.Bytes), in.Seconds); g != nil {
			return g
		}
	}
	return nil
}

func binaryKinds(framing ingest.Framing, frames [][]byte, total int, seconds float64) *Guess {
	type tag struct {
		first byte
		size  int
	}
	groups := map[tag][][]byte{}
	bytes := 0
	for _, m := range frames {
		bytes += len(m)
		if len(m) >= 6 {
			t := tag{m[0], len(m)}
			groups[t] = append(groups[t], m)
		}
	}
	if total > 0 && 2*bytes < total {
		return nil
	}
	var tags []tag
	covered := 0
	for t, of := range groups {
		if len(of) >= few && 50*len(of) >= len(frames) {
			tags, covered = append(tags, t), covered+len(of)
		}
	}
	if len(tags) < 2 || len(tags) > mostKinds || 10*covered < 9*len(frames) {
		return nil
	}
	slices.SortFunc(tags, func(a, b tag) int { return int(a.first)*1000 + a.size - int(b.first)*1000 - b.size })
	firsts := map[byte]int{}
	for _, t := range tags {
		firsts[t.first]++
	}
	sizes := map[int]int{}
	for _, t := range tags {
		sizes[t.size]++
	}
	if len(firsts) < len(tags) && len(sizes) < len(tags) {
		return nil // neither tells them apart
	}
	var parts []*Guess
	for _, t := range tags {
		c := cutting{framing: framing, frames: groups[t], size: t.size, all: len(frames), sum: binaryChecksum(groups[t])}
		if len(firsts) < 2 && c.sum.Kind == "" { // lengths alone, and nothing vouches for them
			return nil
		}
		p := c.guess(seconds)
		p.takeTag(t.first, len(firsts) == len(tags), seconds)
		parts = append(parts, p)
	}
	how := "their lengths"
	if len(firsts) == len(tags) {
		how = "their first bytes"
	}
	return ofKinds(framing, parts, len(frames), how)
}

// takeTag makes a first byte that is always the same the kind's mark.
func (g *Guess) takeTag(first byte, tells bool, seconds float64) {
	if !tells {
		return
	}
	sumBytes := 0
	if g.Layout.Checksum.Kind != "" {
		_, sumBytes = decode.SumFunc(g.Layout.Checksum.Kind)
	}
	fields, endian := binaryFields(g.frames, 1, g.Layout.Length-sumBytes, seconds)
	g.Layout.Endian = endian
	if sumBytes > 1 {
		want := binaryChecksum(g.frames).Endian
		if g.Layout.Checksum.Endian = want; want == orElse(endian, "little") {
			g.Layout.Checksum.Endian = ""
		}
	}
	g.Columns = append([]Column{{
		Field: decode.Field{Name: "tag", Type: "u8", Only: int64(first), Ignore: true}, Raw: fmt.Sprintf("%02x", first),
		Sure: certain, Why: "it tells the kinds of frame apart",
	}}, fields...)
}
