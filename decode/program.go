package decode

import (
	"math"
	"strconv"

	"padlark/decode/beeps"
	"padlark/decode/document"
)

// Program is a layout that has been checked and compiled. It holds no state:
// several decoders and encoders may share one.
type Program struct {
	name   string
	layout Layout
	others []Layout // that it was compiled with, if a link uses it
	form   form
	check  *check // nil without a checksum

	fields   []field
	rocketAt int      // index in fields; -1 if there is none
	names    []string // the channels, in order

	boot, seq, clock counter

	barometer  *calibration
	rawP, rawT int // fields with the raw counts
	outPa      int // where the two results go in values
	outDegC    int
	meantPa    extent
	meantDegC  extent

	text     textForm
	binary   binaryForm
	ax25     ax25Form
	packet   packetForm
	document documentForm

	inner   *Program // the layout of what the frame carries
	carries int      // the field that has it; -1 if it is the rest of the frame
	kinds   []kind
	code    beeps.Code // of a sounder

	series  *seriesForm // nil if a frame has one reading
	several bool        // so may those within it
	once    []int       // channels that a frame has once, if it may have several readings

	uncounted bool // one of several kinds, whose numbers are not those that count
}

// Name is the layout's.
func (p *Program) Name() string { return p.name }

// Layout is what the program was compiled from.
func (p *Program) Layout() Layout { return p.layout }

// Channels lists the channels that the program gives, in order. It must not
// be written to.
func (p *Program) Channels() []string { return p.names }

type form uint8

const (
	formDelimited form = iota
	formNMEA
	formBinary
	formAX25
	formPacket
	formJSON
	formCBOR
	formMessagePack
	formAPRS
	formKinds
	formBeeps
)

// A counter is a boot, seq or clock field: where its raw value is, where it
// starts again, and (clock) how many us one count is.
type counter struct {
	at   int     // index in fields; -1 if there is none
	own  bool    // the fields are those of this program, not of an inner one
	wrap float64 // raw value at which it starts again; 0 if it does not
	conv conversion
}

// use says what a field is for.
type use uint8

const (
	useChannel use = iota
	useCounter     // rocket, boot, seq or clock
	useFlags
	useSign
	useIgnored // read, because it has a rule or someone refers to it
	useSkipped // not even read
	useFrame   // holds a frame of the inner layout
)

// field is one compiled field.
type field struct {
	name string
	use  use

	// binary
	kind numberKind
	at   int
	size int
	big  bool
	bit  int
	bits int
	// coarse is how many bytes count seconds in a CUC time, days in a CDS time.
	coarse int

	easy   bool // text: a decimal number and nothing else, see quick.go
	hex    bool // text: digits in base 16
	comma  bool // text: with a comma for a point
	format textFormat
	column int       // of a text with columns, from 0
	keys   []string  // text: names of the column
	slots  [2]int    // document: first of its paths, and one past the last
	frame  frameText // how a frame of the inner layout is written in it

	scale, offset float64
	poly          []float64
	conv          conversion

	missing, only         []float64
	missingText, onlyText []string
	words                 map[string]float64
	min, max              float64
	reject                bool   // out of range rejects the frame
	meaning               extent // beyond it the value is refused
	wrap                  float64

	out      int // index in the channels; -1 if none
	flags    []flagBit
	sign     int // index of the field with this one's sign; -1 if none
	signWest bool
	decimals int
}

type flagBit struct {
	bit int
	out int
}

// scratch is the working memory of one decoder for one program.
type scratch struct {
	raw    []float64 // one for each field; NaN if missing
	spans  []span    // text forms
	values []float64 // one for each channel

	refused refusal // of the frame at hand

	rows     int       // readings in the frame at hand
	readings []float64 // of each one, the fields that it has

	cells   []span // text with columns: where each field is
	places  []span // text: where each reading is
	picked  document.Picked
	carried carried
	buffer  []byte                // of the carried frame
	taught  map[string]*telemetry // by the callsign that an aprs layout has heard it of
	inner   *scratch              // of the inner program; its values are the last of these
	kinds   []*scratch            // of each kind
	kind    int                   // which one the frame at hand is
}

func newScratch(p *Program) *scratch { return newScratchFor(p, make([]float64, len(p.names))) }

func newScratchFor(p *Program, values []float64) *scratch {
	sc := &scratch{raw: make([]float64, len(p.fields)), spans: make([]span, 0, len(p.fields)+1), values: values}
	if p.inner != nil {
		sc.inner = newScratchFor(p.inner, values[len(values)-len(p.inner.names):])
	}
	for _, k := range p.kinds {
		sc.kinds = append(sc.kinds, newScratch(k.program))
	}
	return sc
}

// ident is what the fields say about a frame before anything is known of
// the board: raw counters, NaN where there is none.
type ident struct {
	from, to         callsign // of ax25
	rocket           uint32
	hasRocket        bool
	boot, seq, clock float64
	lesson           *lesson // of a Heading: what it says
}

// parse checks the frame and reads its fields into sc.raw. base is where b
// starts in the whole frame, for the offsets of rejects.
func (p *Program) parse(b []byte, base int, sc *scratch, m *ident) *Reject {
	if p.layout.Rocket != nil {
		m.rocket, m.hasRocket = *p.layout.Rocket, true
	}
	var r *Reject
	switch p.form {
	case formAX25:
		return p.parseAX25(b, base, sc, m)
	case formPacket:
		return p.parsePacket(b, base, sc, m)
	case formKinds:
		return p.parseKinds(b, base, sc, m)
	case formBeeps:
		return p.readBeeps(b, base, sc)
	case formAPRS:
		r = p.readAPRS(b, base, sc, m)
	case formBinary:
		r = p.readBinary(b, base, sc)
	case formNMEA:
		r = p.readNMEA(b, base, sc)
	case formDelimited:
		r = p.readDelimited(b, base, sc, m)
	default:
		r = p.readDocument(b, base, sc)
	}
	if r != nil {
		return r
	}
	if r = p.identify(sc, m); r != nil || p.inner == nil {
		return r
	}
	return p.parseCarried(b, base, sc, m)
}

// identify takes rocket, boot, seq and clock out of the raw values.
func (p *Program) identify(sc *scratch, m *ident) *Reject {
	if p.rocketAt >= 0 {
		v := sc.raw[p.rocketAt]
		if math.IsNaN(v) {
			return p.reject(Corrupt, ReasonNumber, p.fields[p.rocketAt].name, -1, "the rocket's id is missing")
		}
		if !wholeBelow(v, 1<<32) {
			return p.reject(Corrupt, ReasonNumber, p.fields[p.rocketAt].name, -1, "the rocket's id is "+number(v)+", not a whole number")
		}
		m.rocket, m.hasRocket = uint32(v), true
	}
	if r := p.count(&p.boot, true, sc, &m.boot); r != nil {
		return r
	}
	if r := p.count(&p.seq, true, sc, &m.seq); r != nil {
		return r
	}
	if r := p.count(&p.clock, false, sc, &m.clock); r != nil {
		return r
	}
	return p.inRange(m)
}

// inRange asks whether the clock is in the range that the layout gives it.
func (p *Program) inRange(m *ident) *Reject {
	if !p.clock.own || math.IsNaN(m.clock) {
		return nil
	}
	f := &p.fields[p.clock.at]
	s := p.clock.conv.apply(m.clock) * 1e-6
	if s >= f.min && s <= f.max {
		return nil
	}
	if f.reject {
		return p.reject(Corrupt, ReasonRange, f.name, -1, number(s)+" s is outside "+number(f.min)+" to "+number(f.max)+" s")
	}
	m.clock = math.NaN()
	return nil
}

// maySkip says whether a frame may leave values out: its form finds each by itself.
func (p *Program) maySkip() bool {
	return p.text.places != inOrder || p.form == formAPRS || p.document.picker != nil
}

// mostCount bounds a clock's raw value: ns since 1970 fit.
const mostCount = 1e19

// count takes one counter out of the raw values.
func (p *Program) count(c *counter, whole bool, sc *scratch, into *float64) *Reject {
	if !c.own {
		return nil
	}
	v := sc.raw[c.at]
	if math.IsNaN(v) && p.maySkip() {
		return nil
	}
	if v < 0 || v >= mostCount || whole && (v >= 1<<53 || v != math.Trunc(v)) {
		return p.reject(Corrupt, ReasonNumber, p.fields[c.at].name, -1, number(v)+" is not a counter's value")
	}
	if c.wrap > 0 && v >= c.wrap {
		return p.reject(Corrupt, ReasonRange, p.fields[c.at].name, -1, number(v)+" is not below "+number(c.wrap)+", where the counter starts again")
	}
	*into = v
	return nil
}

// fill computes the channels of a parsed frame into sc.values.
func (p *Program) fill(rocket uint32, sc *scratch) *Reject {
	sc.refused = refusal{}
	if p.form == formKinds {
		return p.fillKind(rocket, sc)
	}
	for i := range p.fields {
		f := &p.fields[i]
		switch {
		case f.use == useFlags:
			for _, fl := range f.flags {
				sc.values[fl.out] = bitOf(sc.raw[i], fl.bit)
			}
			continue
		case f.out < 0:
			continue
		}
		v := f.calibrate(sc.raw[i])
		if f.sign >= 0 {
			v *= sc.raw[f.sign] // a missing sign makes the value missing
		}
		if v < f.min || v > f.max {
			if f.reject {
				return p.reject(Corrupt, ReasonRange, f.name, -1, number(v)+" is outside "+number(f.min)+" to "+number(f.max))
			}
			v = math.NaN()
		}
		if !math.IsNaN(v) && !f.meaning.holds(v) {
			sc.refuse(f.name, v) // a calibration that ran over too
			v = math.NaN()
		}
		sc.values[f.out] = v
	}
	if r := p.fillBarometer(rocket, sc); r != nil || p.inner == nil {
		return r
	}
	r := p.inner.fill(rocket, sc.inner)
	sc.refuse(sc.inner.refused.field, sc.inner.refused.value)
	return r
}

func (p *Program) fillBarometer(rocket uint32, sc *scratch) *Reject {
	if p.barometer == nil {
		return nil
	}
	calc := p.barometer.of(rocket)
	if calc == nil {
		return p.reject(Unknown, ReasonNoWords, "", -1, "rocket "+strconv.FormatUint(uint64(rocket), 10)+" has no calibration words in [[layout.barometer.boards]]")
	}
	pa, degC, ok := calc(sc.raw[p.rawP], sc.raw[p.rawT])
	if !ok {
		pa, degC = math.NaN(), math.NaN()
	}
	if !math.IsNaN(pa) && !p.meantPa.holds(pa) {
		sc.refuse(PressurePa, pa)
		pa = math.NaN()
	}
	if !math.IsNaN(degC) && !p.meantDegC.holds(degC) {
		sc.refuse(TemperatureC, degC)
		degC = math.NaN()
	}
	sc.values[p.outPa], sc.values[p.outDegC] = pa, degC
	return nil
}

// calibrate turns a raw value into the channel's unit.
func (f *field) calibrate(raw float64) float64 {
	v := raw
	if len(f.poly) > 0 {
		v = 0
		for i := len(f.poly) - 1; i >= 0; i-- {
			v = v*raw + f.poly[i]
		}
	} else {
		v = v*f.scale + f.offset
	}
	return f.conv.apply(v)
}

// isMissing says whether a raw number is one of the field's markers.
func (f *field) isMissing(raw float64) bool {
	for _, m := range f.missing {
		if raw == m {
			return true
		}
	}
	return false
}

// allows says whether a raw number is one that the field may have.
func (f *field) allows(raw float64) bool {
	if len(f.only) == 0 {
		return true
	}
	for _, o := range f.only {
		if raw == o {
			return true
		}
	}
	return false
}

func (p *Program) reject(k RejectKind, reason, field string, offset int, detail string) *Reject {
	return &Reject{Kind: k, Reason: reason, Detail: detail, Layout: p.name, Field: field, Offset: offset}
}

// number writes a float as a person would.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func wholeBelow(v, limit float64) bool { return v >= 0 && v < limit && v == math.Trunc(v) }

// bitOf is 0 or 1, or NaN where the flags are missing.
func bitOf(raw float64, bit int) float64 {
	if !(raw >= 0) {
		return math.NaN()
	}
	return float64(uint64(raw) >> bit & 1)
}
