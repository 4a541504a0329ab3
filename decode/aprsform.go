package decode

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"padlark/decode/aprs"
)

// The form aprs is the information field of an AX.25 frame, read by the package
// aprs. A field's column names the quantity. Of telemetry a station tells in
// messages of its own what the values are called and how they are computed; a
// field that has scale, offset or poly keeps to those.

// aprsQuantities are what a column can name, in the order of their numbers.
func aprsQuantities() []string {
	return []string{
		"latitude", "longitude", "altitude", "course", "speed", "time", "sequence",
		"a1", "a2", "a3", "a4", "a5", "b1", "b2", "b3", "b4", "b5", "b6", "b7", "b8", "comment",
	}
}

const (
	aprsSequence = 6
	aprsAnalog   = 7
	aprsBits     = 12
	aprsComment  = 20
)

// aprsFields is what a layout gives that says nothing of it.
func aprsFields() []Field {
	return []Field{
		{Name: LatitudeDeg, Column: "latitude"}, {Name: LongitudeDeg, Column: "longitude"}, {Name: GPSAltitudeM, Column: "altitude"},
		{Name: "course_deg", Column: "course"}, {Name: "ground_speed_mps", Column: "speed"},
	}
}

// telemetry is what a station has told of its telemetry.
type telemetry struct {
	names []string
	poly  [5][3]float64
	sense *[8]bool
	polys bool
}

// aprsField compiles what of a report a field is.
func (c *compiler) aprsField(i int, lf Field, f *field) error {
	names, number, err := columnOf(lf.Column)
	if err != nil || number > 0 || len(names) != 1 {
		return c.fieldErrorf(i, "column", "write one of: %s, or the name that the station gives a value of its telemetry", strings.Join(aprsQuantities(), ", "))
	}
	f.keys = names
	f.column = slices.Index(aprsQuantities(), names[0])
	switch {
	case (f.column == aprsComment) != (f.frame != noFrame):
		return c.fieldErrorf(i, "frame", "the comment is text: it needs frame = \"text\" (or hex, base64) and inner; nothing else has a frame")
	case lf.Name == FieldSeq && f.column != aprsSequence:
		return c.fieldErrorf(i, "column", "frames are counted by sequence only")
	}
	return nil
}

// readAPRS reads a report.
func (p *Program) readAPRS(b []byte, base int, sc *scratch, m *ident) *Reject {
	b = trimEnd(b)
	if d, ok, bad := aprs.ReadDefinition(b); ok {
		return p.definition(d, bad, base, m)
	}
	var r aprs.Report
	if err := aprs.Read(m.to.base(), b, &r); err != nil {
		kind, reason := Corrupt, ReasonHeader
		if err.Foreign {
			kind, reason = Unknown, ReasonNotOurs
		}
		return p.reject(kind, reason, "", base+err.Offset, err.What)
	}
	told := sc.taught[m.from.String()]
	sc.carried = carried{r.Comment, base + len(b) - len(r.Comment)}
	some := false
	for i := range p.fields {
		f := &p.fields[i]
		v := f.reported(&r, told)
		if f.isMissing(v) {
			v = math.NaN()
		}
		some = some || !math.IsNaN(v) || f.use == useFrame && len(r.Comment) > 0
		sc.raw[i] = v
	}
	if !some {
		return p.reject(Unknown, ReasonNotOurs, "", base, "it tells none of the layout's values")
	}
	return nil
}

// reported is a field's raw value of a report; NaN if it tells none.
func (f *field) reported(r *aprs.Report, told *telemetry) float64 {
	k := f.column
	if k < 0 && told != nil {
		if k = slices.Index(told.names, f.keys[0]); k >= 0 {
			k += aprsAnalog
		}
	}
	switch {
	case k < 0 || k >= aprsComment:
		return math.NaN()
	case k >= aprsBits:
		v := r.Bits[k-aprsBits]
		if told != nil && told.sense != nil && !told.sense[k-aprsBits] {
			v = 1 - v
		}
		return v
	case k >= aprsAnalog:
		v := r.Analog[k-aprsAnalog]
		if told != nil && told.polys && len(f.poly) == 0 && f.scale == 1 && f.offset == 0 {
			c := told.poly[k-aprsAnalog]
			v = (c[0]*v+c[1])*v + c[2]
		}
		return v
	}
	return [aprsAnalog]float64{r.LatitudeDeg, r.LongitudeDeg, r.AltitudeM, r.CourseDeg, r.SpeedMps, r.TimeS, r.Sequence}[k]
}

// definition is what becomes of a message that says what telemetry means.
func (p *Program) definition(d aprs.Definition, bad *aprs.Error, base int, m *ident) *Reject {
	if bad != nil {
		return p.reject(Corrupt, ReasonHeader, "", base+bad.Offset, bad.What)
	}
	if from := m.from.String(); from != "" && from != d.Of {
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("what it says of the telemetry of %s comes from %s", d.Of, from))
	}
	m.lesson = &lesson{layout: p.name, aprs: &d}
	return p.reject(Heading, ReasonHeadline, "", base, "what the telemetry of "+d.Of+" means ("+d.Kind+")")
}

// mostTaught bounds the stations whose definitions are kept.
const mostTaught = 64

// teach gives what a station has told to the layout that it is of.
func (p *Program) teach(sc *scratch, x *lesson) {
	if x.aprs == nil {
		return
	}
	if p.inner != nil {
		p.inner.teach(sc.inner, x)
	}
	for i, k := range p.kinds {
		k.program.teach(sc.kinds[i], x)
	}
	if p.form != formAPRS || p.name != x.layout {
		return
	}
	if sc.taught == nil || len(sc.taught) >= mostTaught {
		sc.taught = map[string]*telemetry{}
	}
	t := sc.taught[x.aprs.Of]
	if t == nil {
		t = &telemetry{}
		sc.taught[x.aprs.Of] = t
	}
	switch d := x.aprs; d.Kind {
	case "PARM":
		t.names = d.Names
	case "EQNS":
		t.poly, t.polys = d.Poly, true
	case "BITS":
		t.sense = &d.Sense
	}
}

// base is the callsign without the number of the station.
func (c callsign) base() string {
	name, _, _ := strings.Cut(c.String(), "-")
	return name
}
