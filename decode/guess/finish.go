package guess

import (
	"slices"
	"strings"

	"padlark/decode"
)

// finish makes the layout of the columns, tries it, and asks what is missing.
func (g *Guess) finish(frames [][]byte) {
	var names []string
	for i := range g.Columns {
		g.Layout.Fields = append(g.Layout.Fields, g.Columns[i].Field)
		names = append(names, g.Columns[i].Field.Name)
	}
	if !slices.Contains(names, decode.FieldRocket) {
		id := uint32(1)
		g.Layout.Rocket = &id
	}
	g.try(frames)
	g.showRaw()
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

// showRaw puts the shown frame's own text beside each column.
func (g *Guess) showRaw() {
	if g.Raw == nil || g.Layout.Form != decode.Delimited && g.Layout.Form != decode.NMEA {
		return
	}
	sep := orElse(g.Layout.Separator, ",")
	line := strings.TrimPrefix(string(g.Raw), g.Layout.Prefix)
	if g.Layout.Form == decode.NMEA {
		_, line, _ = strings.Cut(line, ",")
	}
	for i, cell := range split(line, sep) {
		if i < len(g.Columns) {
			g.Columns[i].Raw = strings.TrimSpace(cell)
		}
	}
}
