package guess

import (
	"slices"
	"strconv"

	"padlark/decode"
	"padlark/ingest"
)

// finish makes the layout of the columns, tries it, and asks what is missing.
func (g *Guess) finish() {
	g.fields()
	g.Call("my-board")
	names := g.names()
	if !slices.Contains(names, decode.FieldRocket) && len(g.Layout.Sources) == 0 {
		id := uint32(1)
		g.Layout.Rocket = &id
	}
	g.try(g.frames)
	g.showRaw()
	for _, p := range g.Parts {
		p.show()
		g.Asks = append(g.Asks, p.Asks...)
		p.Asks = nil
	}
	if !slices.Contains(names, decode.FieldClock) {
		g.Asks = append(g.Asks, "no column looks like the board's clock: the times are then those of arrival, which a radio makes uneven")
	}
	if !slices.ContainsFunc(names, func(n string) bool { return decode.Use(n) == "height" }) {
		g.Asks = append(g.Asks, "no column looks like a pressure or a height: without one nothing can be said of a flight")
	}
	if !slices.ContainsFunc(names, func(n string) bool { return decode.Use(n) == "release" }) {
		g.Asks = append(g.Asks, "no column says that the parachute was released: it is then inferred from the descent, later and less surely")
	}
}

// fields makes the layouts' fields of the columns.
func (g *Guess) fields() {
	for _, p := range g.Parts {
		p.fields()
	}
	if g.Layout.Fields == nil {
		for i := range g.Columns {
			g.Layout.Fields = append(g.Layout.Fields, g.Columns[i].Field)
		}
	}
}

// names are the fields of all layouts.
func (g *Guess) names() (out []string) {
	for _, f := range g.Layout.Fields {
		if !f.Ignore {
			out = append(out, f.Name)
		}
		for name := range f.Flags {
			out = append(out, name)
		}
	}
	for _, p := range g.Parts {
		out = append(out, p.names()...)
	}
	return out
}

// known is how many of the columns are numbers.
func (g *Guess) known() (n int) {
	for _, c := range g.Columns {
		if !c.Field.Ignore {
			n++
		}
	}
	return n
}

// show takes a frame of its own for each layout that another names.
func (g *Guess) show() {
	if g.BuiltIn == "" && len(g.frames) > 0 {
		g.try(g.frames)
		g.showRaw()
	}
	for _, p := range g.Parts {
		p.show()
	}
}

// showRaw puts the shown frame's own text beside each column.
func (g *Guess) showRaw() {
	if g.Raw == nil || g.cells == nil {
		return
	}
	for i, cell := range g.cells(g.Raw) {
		if i < len(g.Columns) {
			g.Columns[i].Raw = cell
		}
	}
}

// within guesses what frames carry: nil if nothing is found.
func within(messages [][]byte, seconds float64, depth int) *Guess {
	if depth >= deepest || len(messages) < few {
		return nil
	}
	var all []byte
	for _, m := range messages {
		all = append(all, m...)
	}
	if len(all) == 0 {
		return nil
	}
	g, err := look(Input{Messages: messages, Seconds: seconds}, isText(all), depth+1)
	if err != nil {
		return nil
	}
	if g.BuiltIn == "" {
		g.Layout.Framing = ingest.Framing{}
	}
	return g
}

// Call gives the layouts names: the outermost that one, those that it names the same
// with a number.
func (g *Guess) Call(name string) {
	if g.BuiltIn == "" {
		g.Layout.Name = name
	}
	g.Layout.Kinds = nil
	for i, p := range g.Parts {
		p.Call(name + "-" + strconv.Itoa(i+1))
		if g.Layout.Form == decode.Kinds {
			g.Layout.Kinds = append(g.Layout.Kinds, p.Layout.Name)
		} else {
			g.Layout.Inner = p.Layout.Name
		}
	}
}

// deepest is how deep frames are looked for within frames.
const deepest = 2
