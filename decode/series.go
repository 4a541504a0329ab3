package decode

import (
	"fmt"
	"math"
	"time"

	"padlark/decode/document"
)

// A slow radio sends several readings in one frame, with an even spacing: a list
// for each quantity,
//
//	clock | p p p p … | t t t t … | cell
//
// or one record after another,
//
//	clock | p t | p t | p t | … | cell
//
// of which the first may stand there whole and the others as differences to the
// reading before. Each reading becomes a sample with a time of its own. What the
// frame has once is of the reading that its clock and number are of.

// Series says how the readings of a frame stand in it.
type Series struct {
	// Count is how many readings a frame has; 0 is as many as it holds, and then
	// nothing but the checksum may follow them.
	Count int `toml:"count"`
	// EveryMs is from one reading to the next, in ms.
	EveryMs float64 `toml:"every_ms"`
	// Clock says of which reading the frame's clock is: "last" (default) or "first".
	Clock string `toml:"clock"`
	// Together says that what belongs to one reading stands together.
	Together bool `toml:"together"`
	// Separator stands between the readings of a field where a line of text has them
	// all in one column, as "/" in "p=1013.2/1013.1"; without it each has a column.
	Separator string `toml:"separator"`
}

// mostReadings bounds the readings of a frame.
const mostReadings = 256

// seriesForm is the compiled part of a layout that readings in a frame need.
type seriesForm struct {
	count  int     // 0 if the frame's length tells
	every  float64 // us
	first  bool    // the clock is of the first
	fields []int
	steps  []int // binary: from one of a field's readings to the next, behind the second
	second []int // binary: where the second is
	grows  int   // binary: bytes that a further reading takes

	together  bool   // text: as the layout says
	separator []byte // text: between the readings of one column
}

// compileSeries checks the readings and finds out where they are.
func (c *compiler) compileSeries() error {
	l := c.layout.Series
	var fields []int
	for i, lf := range c.layout.Fields {
		switch {
		case lf.Series:
			fields = append(fields, i)
		case lf.Delta != "":
			return c.fieldErrorf(i, "delta", "only fields with series = true have differences; leave it out")
		}
	}
	switch {
	case l == nil && len(fields) == 0:
		return nil
	case l == nil:
		return c.fieldErrorf(fields[0], "series", "the layout does not say how far the readings are apart; write series = { every_ms = … }")
	case len(fields) == 0:
		return c.errorf("series", "no field has series = true")
	case c.p.form == formAPRS:
		return c.errorf("series", "it means nothing in the form aprs; leave it out")
	case l.Separator != "" && !c.isLine():
		return c.errorf("series", "separator is for lines of text; leave it out")
	case l.Separator != "" && l.Together:
		return c.errorf("series", "separator contradicts together; keep one of them")
	case c.isLine() && l.Separator == "" && c.p.text.places != inOrder:
		return c.errorf("series", "write separator, which stands between the readings in a column; readings in columns of their own need fields in the line's order")
	case c.isLine() && l.Count == 0 && l.Separator == "" && c.layout.More:
		return c.errorf("series", "count is missing: with more = true nobody knows where the readings end")
	case l.Count < 0 || l.Count > mostReadings:
		return c.errorf("series", "count = %d is outside 0 to %d", l.Count, mostReadings)
	case !(l.EveryMs > 0 && l.EveryMs <= 3.6e6):
		return c.errorf("series", "every_ms = %v; write how many ms are from one reading to the next", l.EveryMs)
	case l.Clock != "" && l.Clock != "first" && l.Clock != "last":
		return c.errorf("series", "clock = %q is not known; write first or last", l.Clock)
	}
	s := &seriesForm{count: l.Count, every: l.EveryMs * 1e3, first: l.Clock == "first", fields: fields}
	for _, i := range fields {
		if f := &c.p.fields[i]; f.use != useChannel && f.use != useFlags && f.use != useIgnored {
			return c.fieldErrorf(i, "series", "a reading is a channel; rocket, boot, seq, clock and signs are the frame's")
		}
	}
	c.p.series = s
	switch {
	case c.isLine():
		s.together, s.separator = l.Together, []byte(l.Separator)
		return c.together(s)
	case c.p.form == formBinary:
		return c.placeSeries(s)
	}
	return nil
}

// together checks that records have their fields one after another.
func (c *compiler) together(s *seriesForm) error {
	for n, i := range s.fields {
		if c.layout.Series.Together && n > 0 && i != s.fields[n-1]+1 {
			return c.fieldErrorf(i, "series", "what belongs to one reading must stand together; write its fields one after another")
		}
	}
	return nil
}

// placeSeries lays the readings of a binary frame out. Fields behind them have been
// moved on by placeOf already.
func (c *compiler) placeSeries(s *seriesForm) error {
	together, after := c.layout.Series.Together, 0
	if err := c.together(s); err != nil {
		return err
	}
	for _, i := range s.fields {
		f := &c.p.fields[i]
		size, err := c.deltaSize(i)
		if err != nil {
			return err
		}
		s.steps, s.second = append(s.steps, size), append(s.second, f.at+f.size)
		after += size
	}
	s.grows = after
	if together {
		last := &c.p.fields[s.fields[len(s.fields)-1]]
		at := last.at + last.size
		for n := range s.fields {
			size := s.steps[n]
			s.second[n], s.steps[n] = at, after
			at += size
		}
	} else if s.count == 0 && len(s.fields) > 1 {
		return c.errorf("series", "count is missing: where one list ends only the number of readings can tell")
	}
	if i := s.fields[len(s.fields)-1]; s.count == 0 && i != len(c.p.fields)-1 {
		return c.fieldErrorf(i+1, "name", "it stands behind readings whose number nobody tells; write count for the series, or put it before them")
	}
	return nil
}

// deltaSize is how many bytes a field's further readings have each.
func (c *compiler) deltaSize(i int) (int, error) {
	lf := c.layout.Fields[i]
	if lf.Delta == "" {
		return c.p.fields[i].size, nil
	}
	size, kind, ok := binaryType(lf.Delta)
	if !ok || kind > kindSigned || lf.Bits != 0 {
		return 0, c.fieldErrorf(i, "delta", "%q is no type of a difference; write i8, i16, i24 or i32", lf.Delta)
	}
	return size, nil
}

// seriesSize is how many bytes the further readings of a field take, by which the
// fields behind it are moved on.
func (c *compiler) seriesSize(i int) int {
	l := c.layout.Series
	if l == nil || l.Count < 1 || l.Count > mostReadings {
		return 0
	}
	fields := c.layout.Fields
	if !l.Together {
		size, _, _ := binaryType(fields[i].Type)
		if fields[i].Delta != "" {
			size, _, _ = binaryType(fields[i].Delta)
		}
		return (l.Count - 1) * size
	}
	if i+1 < len(fields) && fields[i+1].Series {
		return 0 // the record goes on
	}
	total := 0
	for k := i; k >= 0 && fields[k].Series; k-- {
		size, _, _ := binaryType(fields[k].Type)
		if fields[k].Delta != "" {
			size, _, _ = binaryType(fields[k].Delta)
		}
		total += size
	}
	return (l.Count - 1) * total
}

// readSeries reads the readings of a binary frame behind the first. extra is by how
// many bytes it is longer than with one.
func (p *Program) readSeries(b []byte, extra int, sc *scratch) {
	s := p.series
	sc.rows = s.count
	if s.count == 0 {
		sc.rows = 1 + extra/s.grows
	}
	sc.readings = sc.readings[:0]
	for range sc.rows * len(s.fields) {
		sc.readings = append(sc.readings, math.NaN())
	}
	for n, i := range s.fields {
		f := p.fields[i] // a copy, which is moved along
		before := sc.raw[i]
		sc.readings[n] = before
		delta := p.layout.Fields[i].Delta
		if delta != "" {
			f.size, f.kind, _ = binaryType(delta)
			f.missing = nil
		}
		for k := 1; k < sc.rows; k++ {
			f.at = s.second[n] + (k-1)*s.steps[n]
			v := f.readBytes(b)
			if delta != "" {
				v += before
			} else if f.isMissing(v) || math.IsInf(v, 0) {
				v = math.NaN()
			}
			before = v
			sc.readings[k*len(s.fields)+n] = v
		}
	}
}

// listSeries reads the readings of a document, a list for each field.
func (p *Program) listSeries(base int, sc *scratch) *Reject {
	s := p.series
	sc.rows = 0
	for n, i := range s.fields {
		f := &p.fields[i]
		v := f.picked(sc)
		count := v.To - v.From
		if v.Kind != document.List {
			return p.reject(Corrupt, ReasonNumber, f.name, base, valueText(v)+" where a list of readings should be")
		}
		if n == 0 {
			sc.rows = count
		}
		if count != sc.rows || count < 1 || count > mostReadings || s.count > 0 && count != s.count {
			return p.reject(Corrupt, ReasonFieldCount, f.name, base, fmt.Sprintf("a list of %d readings, which is not what the layout or the other lists have", count))
		}
		if n == 0 {
			sc.readings = sc.readings[:0]
			for range sc.rows * len(s.fields) {
				sc.readings = append(sc.readings, math.NaN())
			}
		}
		before := 0.0
		for k, item := range sc.picked.Items[v.From:v.To] {
			raw, ok := f.readValue(item)
			if !ok {
				return p.reject(Corrupt, ReasonNumber, f.name, base, valueText(item))
			}
			if p.layout.Fields[i].Delta != "" {
				raw += before
				before = raw
			}
			sc.readings[k*len(s.fields)+n] = raw
		}
		sc.raw[i] = sc.readings[n]
	}
	return nil
}

// readings is the program that has read several readings of the frame at hand, and
// its scratch; nil if there is none.
func (p *Program) readings(sc *scratch) (*Program, *scratch) {
	switch {
	case p.series != nil:
		return p, sc
	case p.inner != nil:
		return p.inner.readings(sc.inner)
	case p.form == formKinds:
		return p.kinds[sc.kind].program.readings(sc.kinds[sc.kind])
	}
	return nil, nil
}

// hasSeries says whether frames may hold several readings.
func (p *Program) hasSeries() bool {
	for _, k := range p.kinds {
		if k.program.hasSeries() {
			return true
		}
	}
	return p.series != nil || p.inner != nil && p.inner.hasSeries()
}

// seriesNames adds the channels that each reading has.
func (p *Program) seriesNames(to map[string]bool) {
	if p.series != nil {
		for _, i := range p.series.fields {
			f := &p.fields[i]
			if f.out >= 0 {
				to[p.names[f.out]] = true
			}
			for _, fl := range f.flags {
				to[p.names[fl.out]] = true
			}
			if i == p.rawP && p.barometer != nil {
				to[PressurePa] = true
			}
			if i == p.rawT && p.barometer != nil {
				to[TemperatureC] = true
			}
		}
	}
	if p.inner != nil {
		p.inner.seriesNames(to)
	}
	for _, k := range p.kinds {
		k.program.seriesNames(to)
	}
}

// fillReadings computes the channels of every reading of a parsed frame: rows of
// them, in the order of time, and which one the frame's clock is of.
func (p *Program) fillReadings(rocket uint32, sc *scratch, out *Parsed) *Reject {
	leaf, lsc := p.readings(sc)
	if leaf == nil || lsc.rows < 1 {
		out.readings = nil
		if r := p.fill(rocket, sc); r != nil {
			return r
		}
		out.Values = append(out.Values[:0], sc.values...)
		out.refused = sc.refused
		return nil
	}
	s := leaf.series
	main := lsc.rows - 1
	if s.first {
		main = 0
	}
	var refused refusal
	out.readings = make([]reading, 0, lsc.rows)
	for k := range lsc.rows {
		for n, i := range s.fields {
			lsc.raw[i] = lsc.readings[k*len(s.fields)+n]
		}
		if r := p.fill(rocket, sc); r != nil {
			return r
		}
		if refused.field == "" {
			refused = sc.refused
		}
		values := append([]float64(nil), sc.values...)
		if k != main {
			for _, c := range p.once {
				values[c] = math.NaN()
			}
		}
		out.readings = append(out.readings, reading{values: values, us: int64(math.Round(float64(k-main) * s.every)), main: k == main})
	}
	out.Values = append(out.Values[:0], out.readings[main].values...)
	out.refused = refused
	return nil
}

// spread makes a sample of each reading, in the order of time, and returns the
// first; More has the others. s is that of the frame.
func (d *Decoder) spread(s Sample, readings []reading) Sample {
	s.Part = 1
	for i, x := range readings {
		one := s
		one.Part, one.Values.Values = uint16(i+1), x.values
		if !x.main {
			one.Seq = -1 // the frame's number is that of one reading
			one.At = s.At.Add(time.Duration(x.us) * time.Microsecond)
			if one.Clock = s.Clock + x.us; s.Clock < 0 || one.Clock < 0 {
				one.Clock = -1
			}
		}
		d.more = append(d.more, one)
	}
	if len(d.more) == 0 {
		return s
	}
	first := d.more[0]
	d.more = d.more[1:]
	return first
}

// More are the further samples of the frame decoded last, where it holds several
// readings, in the order of time. It is valid until the next frame is decoded.
func (d *Decoder) More() []Sample { return d.more }

// reading is one of several of a frame.
type reading struct {
	values []float64
	us     int64 // later than the frame's clock
	main   bool  // the one that the clock and the number are of
}
