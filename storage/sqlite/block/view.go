package block

import (
	"fmt"
	"math"
	"slices"

	"padlark/decode"
)

// Ids of columns; those from firstChannel on are channels. The list only grows.
const (
	idN byte = iota
	idMono
	idPassed
	idOrd
	idOff
	idWire
	idBaud
	idRSSI
	idLens
	idBytes
	idBoot
	idSeq
	idClock
	idAt
	firstChannel = 32
)

// ids are the names of the channels that have an id of their own.
var ids = [...]string{
	firstChannel:      decode.PressurePa,
	firstChannel + 1:  decode.TemperatureC,
	firstChannel + 2:  decode.AltitudeM,
	firstChannel + 3:  decode.VelocityMps,
	firstChannel + 4:  decode.AccelMps2,
	firstChannel + 5:  decode.AccelXMps2,
	firstChannel + 6:  decode.AccelYMps2,
	firstChannel + 7:  decode.AccelZMps2,
	firstChannel + 8:  decode.CellV,
	firstChannel + 9:  decode.ReleaseUs,
	firstChannel + 10: decode.ReleaseOn,
	firstChannel + 11: decode.Armed,
	firstChannel + 12: decode.LatitudeDeg,
	firstChannel + 13: decode.LongitudeDeg,
	firstChannel + 14: decode.GPSAltitudeM,
	firstChannel + 15: decode.GPSFix,
	firstChannel + 16: decode.RSSIDbm,
	firstChannel + 17: decode.SNRDb,
}

// idOf is a channel's id, namedColumn if it has none.
func idOf(name string) byte {
	for i := firstChannel; i < len(ids); i++ {
		if ids[i] == name {
			return byte(i)
		}
	}
	return namedColumn
}

func (c *Codec) writer() *writer {
	w, ok := c.pool.Get().(*writer)
	if !ok {
		w = &writer{c: c}
	}
	w.head, w.body, w.columns = w.head[:0], w.body[:0], 0
	return w
}

// ints adds a column of whole numbers. Differences of more than two bytes each
// are noise, which does not compress.
func (w *writer) ints(id byte, v, beside []int64) {
	w.column(id, "", 2*len(v)+packLeast, func(b []byte) []byte { return appendInts(b, v, beside) })
}

// floats adds a column unless no row has a value.
func (w *writer) floats(id byte, name string, v *Values) {
	if v.none() {
		return
	}
	w.column(id, name, math.MaxInt, func(b []byte) []byte { return appendFloats(b, v.V, v.Has, &w.floating) })
}

// View is an opened block of which single columns can be read. It is valid as
// long as the block's bytes are, and for one goroutine. After an error it gives
// empty columns; Err tells.
type View struct {
	c     *Codec
	dir   *directory
	err   error
	buf   []byte
	whole []int64
}

// OpenSamples checks a block of samples and reads its directory. Close gives
// the view back.
func (c *Codec) OpenSamples(data []byte) (*View, error) { return c.open(data, kindSamples) }

func (c *Codec) open(data []byte, kind byte) (*View, error) {
	dir, err := open(data, kind)
	if err != nil {
		return nil, err
	}
	v, ok := c.views.Get().(*View)
	if !ok {
		v = &View{c: c}
	}
	v.dir, v.err = dir, nil
	return v, nil
}

// Close gives the view's memory back; what it returned stays valid.
func (v *View) Close() { v.dir = nil; v.c.views.Put(v) }

// Err is the first error of reading columns.
func (v *View) Err() error { return v.err }

// Rows is how many rows the block has.
func (v *View) Rows() int { return v.dir.rows }

// Channels lists the names of the block's channels, sorted.
func (v *View) Channels() []string {
	var out []string
	for i := range v.dir.columns {
		if c := &v.dir.columns[i]; c.name != "" || c.id == namedColumn {
			out = append(out, c.name)
		}
	}
	slices.Sort(out)
	return out
}

// Numbers reads the frames' numbers. dst's memory is used if it suffices.
func (v *View) Numbers(dst []int64) []int64 { return v.ints(idN, dst, nil) }

// At reads when the rows were measured, in ns since the epoch.
func (v *View) At(dst []int64) []int64 { return v.ints(idAt, dst, nil) }

// Passed reads when the rows passed the sequencer, in ns since the epoch. at is
// what At gave.
func (v *View) Passed(dst, at []int64) []int64 {
	return v.ints(idPassed, dst, v.ints(idMono, nil, at))
}

// Channel reads a channel into dst, NaN where a row has no value; ok is false,
// and dst all NaN, if the block has no such channel.
func (v *View) Channel(name string, dst []float64) (out []float64, ok bool) {
	id := idOf(name)
	for i := range v.dir.columns {
		if c := &v.dir.columns[i]; c.id == id && c.name == name {
			vals := Values{V: dst}
			v.values(c, &vals)
			return vals.V, true
		}
	}
	dst = sized(dst, v.Rows())
	for i := range dst {
		dst[i] = math.NaN()
	}
	return dst, false
}

func (v *View) fail(format string, args ...any) {
	if v.err == nil {
		v.err = fmt.Errorf("%w: "+format, append([]any{ErrDamaged}, args...)...)
	}
}

// reader unpacks a column.
func (v *View) reader(id byte, limit int) reader {
	if v.err != nil {
		return reader{err: v.err}
	}
	col := v.dir.find(id)
	if col == nil {
		v.fail("it has no column %d", id)
		return reader{err: v.err}
	}
	b, err := v.c.unpack(col, limit, &v.buf)
	return reader{b: b, err: err}
}

// done takes over a reader's error and checks that it has read everything.
func (v *View) done(r reader) {
	if r.err == nil && len(r.b) > 0 {
		r.fail("%d bytes of a column are left over", len(r.b))
	}
	if v.err == nil {
		v.err = r.err
	}
}

func (v *View) ints(id byte, dst, beside []int64) []int64 {
	r := v.reader(id, intsLimit(v.Rows()))
	if r.err == nil {
		dst = r.ints(dst, v.Rows(), beside)
	}
	if v.done(r); v.err != nil {
		return dst[:0]
	}
	return dst
}

// floats reads a column that may be missing.
func (v *View) floats(id byte, dst *Values) {
	if col := v.dir.find(id); col != nil {
		v.values(col, dst)
		return
	}
	dst.clear()
}

func (v *View) values(col *column, dst *Values) {
	if v.err != nil {
		dst.clear()
		return
	}
	b, err := v.c.unpack(col, floatsLimit(v.Rows()), &v.buf)
	r := reader{b: b, err: err}
	if err == nil {
		dst.V, dst.Has = r.floats(dst.V, v.Rows(), &v.whole)
	}
	if v.done(r); v.err != nil {
		dst.clear()
	}
}
