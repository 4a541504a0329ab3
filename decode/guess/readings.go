package guess

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"padlark/decode"
	"padlark/decode/document"
)

// Several readings in one frame: lists of a document, columns or pieces that stand
// one behind the other and hold nearly the same.

var nan = math.NaN()

// readingsOf are the lists of one pointer.
type readingsOf struct {
	pointer string
	all     [][]float64
}

// lists are the lists whose title says that they are a quantity of the flight.
func (d *docs) lists() (out []readingsOf) {
	at := map[string]int{}
	for _, all := range d.entries {
		for _, e := range all {
			if e.Value.Kind != document.List || isAxes(e) || len(e.Items) < 2 {
				continue
			}
			i, ok := at[e.Pointer]
			if !ok {
				i = len(out)
				at[e.Pointer] = i
				out = append(out, readingsOf{pointer: e.Pointer})
			}
			out[i].all = append(out[i].all, numbersOf(e.Items))
		}
	}
	return slices.DeleteFunc(out, func(r readingsOf) bool { return 5*len(r.all) < 4*len(d.entries) })
}

// addLists makes fields of lists that are all as long as the first, with readings of
// a known quantity.
func (g *Guess) addLists(lists []readingsOf, cells [][]string, seconds float64) {
	count := 0
	for _, l := range lists {
		var flat []string
		same := true
		for _, r := range l.all {
			same = same && len(r) == len(l.all[0])
			for _, v := range r {
				flat = append(flat, strconv.FormatFloat(v, 'g', -1, 64))
			}
		}
		c := columnsOf([][]string{flat}, []string{titleOf(l.pointer)}, 0)[0]
		if !same || readTitle(titleOf(l.pointer)).role == "" || count > 0 && len(l.all[0]) != count || slices.ContainsFunc(g.Columns, func(o Column) bool { return o.Field.Name == c.Field.Name }) {
			g.Asks = append(g.Asks, fmt.Sprintf("what are the values of %s? They are passed over.", l.pointer))
			continue
		}
		count = len(l.all[0])
		c.Field.Path, c.Field.Series, c.Field.Ignore = l.pointer, true, false
		if deltas(l.all) {
			c.Field.Delta = "yes"
			first := make([]string, 0, len(l.all))
			for _, r := range l.all {
				first = append(first, strconv.FormatFloat(r[0], 'g', -1, 64))
			}
			f := columnsOf([][]string{first}, []string{titleOf(l.pointer)}, 0)[0]
			c.Field.Unit, c.Sure = f.Field.Unit, min(f.Sure, likely)
			c.Why = f.Why + "; the first of each list is whole, the others are differences"
		}
		g.Columns = append(g.Columns, c)
	}
	if count > 0 {
		g.every(count, cells, seconds)
	}
}

// deltas says whether what follows the first of each list is far smaller than it.
func deltas(all [][]float64) bool {
	var first, rest []float64
	for _, r := range all {
		first = append(first, math.Abs(r[0]))
		for _, v := range r[1:] {
			rest = append(rest, math.Abs(v))
		}
	}
	return middle(first) > 100 && middle(rest) < 0.05*middle(first)
}

// every says how far the readings of a frame are apart: as far as the frames, divided
// by their number.
func (g *Guess) every(count int, cells [][]string, seconds float64) {
	for i := range cells {
		if f := g.Columns[i].Field; f.Name == decode.FieldClock {
			g.apart(count, textSeries(cells[i]).step, f.Unit, seconds)
			return
		}
	}
	g.apart(count, 0, "", seconds)
}

// apart is every, with the usual step of the clock.
func (g *Guess) apart(count int, step float64, unit string, seconds float64) {
	s := &decode.Series{Count: count}
	g.Layout.Series = s
	per := map[string]float64{"s": 1000, "ms": 1, "us": 1e-3, "ns": 1e-6}[unit]
	ask := "no clock tells how far the readings of a frame are apart: is every_ms right?"
	if per > 0 && step > 0 {
		s.EveryMs = step * per / float64(count)
		ask = fmt.Sprintf("are the readings of a frame %g ms apart, and is its clock that of the last of them? (clock = \"first\" if not)", round3(s.EveryMs))
	}
	if s.EveryMs <= 0 && seconds > 0 && g.Frames > 0 {
		s.EveryMs = 1000 * seconds / float64(g.Frames*count)
	}
	if s.EveryMs = round3(s.EveryMs); !(s.EveryMs > 0 && s.EveryMs <= 3.6e6) {
		s.EveryMs = 100
	}
	g.Asks = append(g.Asks, ask)
	g.Points = append(g.Points, Point{"readings", strconv.Itoa(count), likely, fmt.Sprintf("of one quantity in each frame, %g ms apart", s.EveryMs)})
}

func round3(v float64) float64 {
	x, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	if err != nil {
		return v
	}
	return x
}

// fewestReadings stand side by side before they are taken for readings of one quantity.
const fewestReadings = 3

// seriesOf joins columns that stand behind a pressure or height, have no title that
// says otherwise, and hold the same within a hundredth.
func (g *Guess) seriesOf(cells [][]string, seconds float64) {
	for i := range g.Columns {
		role := g.Columns[i].Field.Name
		if role != decode.PressurePa && role != decode.AltitudeM {
			continue
		}
		from, to := i, i+1
		mine := textSeries(cells[i])
		for from > 0 && alike(mine, textSeries(cells[from-1])) && g.Columns[from-1].spare() {
			from--
		}
		for to < len(cells) && alike(mine, textSeries(cells[to])) && g.Columns[to].spare() {
			to++
		}
		if to-from < fewestReadings {
			continue
		}
		one := g.Columns[i]
		one.Field.Series = true
		one.Why = fmt.Sprintf("%s; columns %d to %d hold nearly the same", one.Why, from+1, to)
		n := to - from
		g.every(n, cells, seconds)
		g.Columns = slices.Replace(g.Columns, from, to, one)
		before := g.cells
		g.cells = func(b []byte) []string {
			row := before(b)
			if len(row) < to {
				return row
			}
			return slices.Replace(row, from, to, row[i])
		}
		return
	}
}

// spare says whether nothing is known of a column but its numbers.
func (c *Column) spare() bool { return c.Title == "" && decode.Use(c.Field.Name) == "" }

// alike says whether two columns are readings of one quantity: as large as each other,
// and what is between them small beside what they are.
func alike(a, b *series) bool {
	if a.n < few || b.n < few || a.words+b.words > 0 || a.timeUnit+b.timeUnit != "" || len(a.v) != len(b.v) {
		return false
	}
	var off, size []float64
	for i := range a.v {
		if d := a.v[i] - b.v[i]; !math.IsNaN(d) {
			off, size = append(off, math.Abs(d)), append(size, math.Abs(a.v[i]))
		}
	}
	if len(off) < few {
		return false
	}
	limit := 0.01 * max(middle(size), math.Abs(a.hi)*0.1)
	return middle(off) <= limit && a.distinct > 2 && b.distinct > 2
}

// readings joins the pieces of a binary frame that stand beside a pressure or height
// and hold nearly the same.
func (best *cutting) readings(g *Guess, size int, seconds float64) {
	for at, i := 0, 0; i < len(g.Columns); i++ {
		f := g.Columns[i].Field
		wide := width(f)
		if f.Name != decode.PressurePa && f.Name != decode.AltitudeM {
			at += wide
			continue
		}
		endian := orElse(f.Endian, orElse(g.Layout.Endian, "little"))
		mine := binarySeries(best.frames, at, wide, f.Type, endian)
		like := func(at int) bool {
			return at >= 0 && at+wide <= size && alike(mine, binarySeries(best.frames, at, wide, f.Type, endian))
		}
		from, to := at, at+wide
		for like(from - wide) {
			from -= wide
		}
		for like(to) {
			to += wide
		}
		n := (to - from) / wide
		if n < fewestReadings {
			return
		}
		one := g.Columns[i]
		one.Field.Series = true
		one.Why = fmt.Sprintf("%s; bytes %d to %d hold nearly the same", one.Why, from, to-1)
		before, _ := binaryFields(best.frames, 0, from, seconds)
		after, _ := binaryFields(best.frames, to, size, seconds)
		g.Columns = append(before, one)
		step, unit := 0.0, ""
		at = 0
		for _, c := range before {
			if c.Field.Name == decode.FieldClock {
				step, unit = binarySeries(best.frames, at, width(c.Field), c.Field.Type, orElse(c.Field.Endian, endian)).step, c.Field.Unit
			}
			at += width(c.Field)
		}
		for _, c := range after {
			if slices.ContainsFunc(g.Columns, func(o Column) bool { return o.Field.Name == c.Field.Name && c.Field.Name != "" }) {
				c.Field = decode.Field{Type: "skip", Size: width(c.Field)}
			}
			g.Columns = append(g.Columns, c)
		}
		g.apart(n, step, unit, seconds)
		return
	}
}

// width is how many bytes a field of a binary frame has.
func width(f decode.Field) int {
	switch f.Type {
	case "u8":
		return 1
	case "u16", "i16":
		return 2
	case "u32", "f32":
		return 4
	}
	return f.Size
}
