package guess

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"padlark/decode"
	"padlark/decode/document"
	"padlark/ingest"
)

// lookJSON proposes a layout for objects of JSON, one a line or message.
func lookJSON(in Input, depth int) *Guess {
	framing := ingest.Framing{Kind: ingest.FramingLine}
	lines := linesOf(in, framing)
	if len(in.Messages) > 0 {
		framing.Kind, lines = ingest.FramingDatagram, in.frames(framing)
	}
	return lookDocuments(decode.JSON, document.JSONText, framing, lines, in.Seconds, depth)
}

// lookMaps proposes a layout for maps of CBOR or MessagePack.
func lookMaps(in Input, depth int) *Guess {
	for _, cut := range in.cuts() {
		for _, form := range []struct {
			name string
			form document.Form
		}{{decode.CBOR, document.CBORMap}, {decode.MessagePack, document.MessagePackMap}} {
			if g := lookDocuments(form.name, form.form, cut.framing, cut.frames, in.Seconds, depth); g != nil {
				return g
			}
		}
	}
	return nil
}

// cuts are the ways to cut frames out that need no further knowledge.
func (in Input) cuts() (out []cutting) {
	kinds := []string{ingest.FramingCOBS, ingest.FramingSLIP, ingest.FramingKISS}
	if len(in.Messages) > 0 {
		kinds = []string{ingest.FramingDatagram}
	}
	for _, kind := range kinds {
		f := ingest.Framing{Kind: kind}
		if frames := in.frames(f); len(frames) >= few {
			out = append(out, cutting{framing: f, frames: frames})
		}
	}
	return out
}

// docs are messages that name what they hold.
type docs struct {
	form     document.Form
	framing  ingest.Framing
	messages [][]byte
	entries  [][]document.Entry
}

// lookDocuments proposes a layout for messages of a form; nil if they are of none.
func lookDocuments(form string, as document.Form, framing ingest.Framing, messages [][]byte, seconds float64, depth int) *Guess {
	d := docs{form: as, framing: framing}
	for _, m := range messages {
		if all, ok := document.All(as, m); ok && len(all) > 0 {
			d.messages, d.entries = append(d.messages, m), append(d.entries, all)
		}
	}
	if len(d.messages) < few || 10*len(d.messages) < 7*len(messages) {
		return nil
	}
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: form}}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d messages", len(messages))},
		{"form", form, certain, fmt.Sprintf("%d of them are read so", len(d.messages))},
	}
	tag, value := d.choose(g)
	if value == "TPV" && tag == "/class" { // the machine's own receiver
		g.BuiltIn = "gpsd"
		builtins, _ := decode.Builtin() //nolint:errcheck // builtIn has looked
		if i := slices.IndexFunc(builtins, func(l decode.Layout) bool { return l.Name == g.BuiltIn }); i >= 0 {
			g.Layout, g.Frames = builtins[i], len(d.messages)
			g.Points = append(g.Points, Point{"layout", g.BuiltIn, certain, "built in: what gpsd says"})
			g.try(d.messages)
			return g
		}
	}
	g.Frames, g.frames = len(d.messages), d.messages
	paths, cells := d.table()
	lists := d.lists()
	g.Columns = columnsOf(cells, titlesOf(paths), seconds)
	for i := range g.Columns {
		c := &g.Columns[i]
		if c.Field.Path = paths[i]; paths[i] == tag {
			c.Field = decode.Field{Name: c.Field.Name, Path: tag, Only: value, Ignore: true}
			c.Sure, c.Why, c.Ask = likely, "it tells the kinds of message apart", ""
		}
	}
	g.carry(cells, seconds, depth)
	g.addLists(lists, cells, seconds)
	g.cells = func(m []byte) []string { return d.cellsOf(m, g.Columns) }
	return g
}

// choose keeps the messages of one kind where a word in them says which kind they
// are: those that are most; nothing is kept out if all have the same values.
func (d *docs) choose(g *Guess) (tag, value string) {
	kinds := map[string]map[string][]int{} // pointer, word, messages
	for i, all := range d.entries {
		for _, e := range all {
			if e.Value.Kind != document.Text || len(e.Value.Text) > 40 {
				continue
			}
			of := kinds[e.Pointer]
			if of == nil {
				of = map[string][]int{}
				kinds[e.Pointer] = of
			}
			of[string(e.Value.Text)] = append(of[string(e.Value.Text)], i)
		}
	}
	pointers := make([]string, 0, len(kinds))
	for p := range kinds {
		pointers = append(pointers, p)
	}
	slices.Sort(pointers)
	for _, p := range pointers {
		words := kinds[p]
		if len(words) < 2 || len(words) > 8 || !d.differ(words) {
			continue
		}
		best := ""
		for word, of := range words {
			if d.numbers(of) > d.numbers(words[best]) || d.numbers(of) == d.numbers(words[best]) && word < best {
				best = word
			}
		}
		if best == "" || len(words[best]) < few {
			continue
		}
		for word, of := range words {
			if word != best {
				g.Asks = append(g.Asks, fmt.Sprintf("%d messages have %q in %s: are they needed? They are passed over.", len(of), word, p))
			}
		}
		slices.Sort(g.Asks)
		d.keep(words[best])
		return p, best
	}
	return "", ""
}

// differ says whether the words go with different values.
func (d *docs) differ(words map[string][]int) bool {
	before := ""
	for _, of := range words {
		var names []string
		for _, e := range d.entries[of[0]] {
			names = append(names, e.Pointer)
		}
		now := strings.Join(names, " ")
		if before != "" && now != before {
			return true
		}
		before = now
	}
	return false
}

// numbers is how many numbers those messages have.
func (d *docs) numbers(of []int) (n int) {
	for _, i := range of {
		for _, e := range d.entries[i] {
			if e.Value.Kind == document.Number {
				n++
			}
		}
	}
	return n
}

func (d *docs) keep(of []int) {
	var messages [][]byte
	var entries [][]document.Entry
	for _, i := range of {
		messages, entries = append(messages, d.messages[i]), append(entries, d.entries[i])
	}
	d.messages, d.entries = messages, entries
}

// mostPaths bounds the values of which fields are made.
const mostPaths = 80

// table gives the values that are in at least a fifth of the messages, as columns.
func (d *docs) table() (paths []string, cells [][]string) {
	count := map[string]int{}
	for _, all := range d.entries {
		for _, e := range all {
			if e.Value.Kind == document.List && !isAxes(e) {
				continue
			}
			for p := range texts(e) {
				if count[p]++; count[p] == 1 {
					paths = append(paths, p)
				}
			}
		}
	}
	paths = slices.DeleteFunc(paths, func(p string) bool { return 5*count[p] < len(d.entries) })
	paths = paths[:min(len(paths), mostPaths)]
	at := map[string]int{}
	for i, p := range paths {
		at[p] = i
		cells = append(cells, make([]string, len(d.entries)))
	}
	for row, all := range d.entries {
		for _, e := range all {
			for p, text := range texts(e) {
				if i, ok := at[p]; ok {
					cells[i][row] = text
				}
			}
		}
	}
	return paths, cells
}

// texts are the values of an entry with their pointers: one, or those of a list.
func texts(e document.Entry) map[string]string {
	if e.Value.Kind != document.List {
		return map[string]string{e.Pointer: textOf(e.Value)}
	}
	out := map[string]string{}
	for i, v := range e.Items {
		out[e.Pointer+"/"+strconv.Itoa(i)] = textOf(v)
	}
	return out
}

// textOf is a value as a person writes it.
func textOf(v document.Value) string {
	switch v.Kind {
	case document.Number:
		if v.Text != nil {
			return string(v.Text)
		}
		return strconv.FormatFloat(v.Num, 'g', -1, 64)
	case document.Text:
		return string(v.Text)
	case document.Bytes:
		return fmt.Sprintf("%x", v.Text)
	}
	return ""
}

// isAxes says whether a list is three axes and not three readings.
func isAxes(e document.Entry) bool {
	role := readTitle(titleOf(e.Pointer)).role
	return len(e.Items) == 3 && (role == roleAccel || role == "") || role == "" && len(e.Items) <= 8
}

// digitsOnly is a list's number in a pointer.
var digitsOnly = regexp.MustCompile(`^\d+$`)

// titleOf is the words of a pointer; the numbers in a list of three are its axes.
func titleOf(pointer string) string {
	var words []string
	tokens := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	for i, t := range tokens {
		if !digitsOnly.MatchString(t) {
			words = append(words, strings.NewReplacer("~1", "/", "~0", "~").Replace(t))
			continue
		}
		if n, _ := strconv.Atoi(t); i == len(tokens)-1 && n < 3 && len(words) > 0 && readTitle(words[len(words)-1]).role == roleAccel { //nolint:errcheck // digits only
			words = append(words, string("xyz"[n]))
		}
	}
	for i := len(words) - 1; i > 0; i-- { // "baro temp" is no pressure
		if own := strings.Join(words[i:], " "); readTitle(own).role != "" && !slices.Contains(words[:i], "gps") {
			return own
		}
	}
	return strings.Join(words, " ")
}

func titlesOf(paths []string) (out []string) {
	for _, p := range paths {
		out = append(out, titleOf(p))
	}
	return out
}

// cellsOf are a message's values as they stand there.
func (d *docs) cellsOf(m []byte, columns []Column) []string {
	out := make([]string, len(columns))
	all, _ := document.All(d.form, m)
	for _, e := range all {
		values := texts(e)
		if e.Value.Kind == document.List {
			if b, err := json.Marshal(numbersOf(e.Items)); err == nil {
				values[e.Pointer] = string(b)
			}
		}
		for i, c := range columns {
			if text, ok := values[fmt.Sprint(c.Field.Path)]; ok && len(text) < 60 {
				out[i] = text
			}
		}
	}
	return out
}

// numbersOf are the items of a list; NaN is what is no number.
func numbersOf(items []document.Value) (out []float64) {
	for _, v := range items {
		x, err := strconv.ParseFloat(textOf(v), 64)
		if err != nil || math.IsInf(x, 0) {
			x = nan
		}
		out = append(out, x)
	}
	return out
}
