package decode

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
)

// Message is what a board wants to say: the opposite of a Sample.
type Message struct {
	Rocket uint32
	Boot   uint32
	Seq    int64 // counts on for ever; Encode makes it start again where the field does
	Clock  int64 // us since boot, likewise
	// Values are the channels. One that is absent or NaN is sent as missing.
	// Where the layout has a barometer, pressure_pa and temperature_c become
	// raw counts.
	Values map[string]float64
}

// Encode appends the message as a board with this layout would send it, the
// checksum included, before framing; of several kinds of frame the first. It is for simulated boards and tests. The
// error names the field that cannot hold its value.
func (p *Program) Encode(dst []byte, v Message) ([]byte, error) {
	start := len(dst)
	var err error
	switch p.form {
	case formAX25:
		if dst, err = p.appendAX25(dst, v.Rocket); err != nil {
			return nil, err
		}
		if dst, err = p.inner.Encode(dst, v); err != nil {
			return nil, err
		}
		return p.appendCheck(dst, start), nil
	case formPacket:
		if dst, err = p.inner.Encode(p.packetStart(dst, v), v); err != nil {
			return nil, err
		}
		size := len(dst) - start - packetHeader
		if p.check != nil {
			size += p.check.sum.bytes
		}
		if size < 1 || size > 1<<16 {
			return nil, fmt.Errorf("encode layout %q: a packet of %d bytes of data is not possible", p.name, size)
		}
		putUint(dst[start+4:start+6], true, uint64(size-1))
		return p.appendCheck(dst, start), nil
	case formBinary:
		return p.encodeBinary(dst, v)
	case formKinds:
		return p.kinds[0].program.Encode(dst, v)
	case formDelimited, formNMEA:
		return p.encodeText(dst, v)
	case formAPRS:
		return nil, fmt.Errorf("encode layout %q: reports of the form aprs are read, and not written", p.name)
	}
	return p.encodeDocument(dst, v)
}

// appendCheck ends a frame with its checksum, if it has one there.
func (p *Program) appendCheck(dst []byte, start int) []byte {
	if p.check == nil {
		return dst
	}
	dst = append(dst, make([]byte, p.check.sum.bytes)...)
	p.putCheck(dst[start:])
	return dst
}

func (p *Program) putCheck(b []byte) {
	c := p.check
	at, from, to, ok := c.place(len(b))
	if ok {
		putUint(b[at:at+c.sum.bytes], c.big, uint64(c.sum.calc(b[from:to])))
	}
}

func (p *Program) encodeBinary(dst []byte, v Message) ([]byte, error) {
	start := len(dst)
	dst = append(dst, make([]byte, p.binary.length)...)
	b := dst[start:]
	raws, err := p.rawCounts(v)
	if err != nil {
		return nil, err
	}
	for i := range p.fields {
		f := &p.fields[i]
		if f.use == useSkipped {
			continue
		}
		raw, err := p.rawOf(i, v, raws)
		if err == nil {
			err = f.putBytes(b, raw)
		}
		if err != nil {
			return nil, fmt.Errorf("encode layout %q: field %q: %w", p.name, f.name, err)
		}
	}
	if p.check != nil {
		p.putCheck(b)
	}
	return dst, nil
}

// putBytes writes a raw value, or the missing marker for NaN.
func (f *field) putBytes(b []byte, raw float64) error {
	place := b[f.at : f.at+f.size]
	if math.IsNaN(raw) && len(f.missing) > 0 {
		raw = f.missing[0]
	}
	switch {
	case f.kind == kindFloat && f.size == 4:
		putUint(place, f.big, uint64(math.Float32bits(float32(raw))))
		return nil
	case f.kind == kindFloat:
		putUint(place, f.big, math.Float64bits(raw))
		return nil
	case f.kind >= kindCUC && raw >= 0:
		return f.putSpaceTime(place, raw)
	case math.IsNaN(raw):
		return fmt.Errorf("there is no value, and the layout has no marker for that; add missing = …")
	}
	width := 8 * f.size
	if f.bits > 0 {
		width = f.bits
	}
	lo, hi := 0.0, math.Ldexp(1, width)
	if f.kind == kindSigned {
		lo, hi = -hi/2, hi/2
	}
	raw = math.RoundToEven(raw)
	if raw < lo || raw >= hi {
		return fmt.Errorf("%v does not fit into %d bits", raw, width)
	}
	u := uint64(raw)
	if raw < 0 {
		u = uint64(int64(raw))
	}
	if f.bits > 0 {
		mask := (uint64(1)<<f.bits - 1) << f.bit
		u = getUint(place, f.big)&^mask | u<<f.bit&mask
	}
	putUint(place, f.big, u)
	return nil
}

// rawOf is the raw value of a field for a message; NaN is missing.
func (p *Program) rawOf(i int, v Message, raws map[int]float64) (float64, error) {
	f := &p.fields[i]
	if raw, ok := raws[i]; ok {
		return raw, nil
	}
	switch f.use {
	case useCounter:
		return p.rawCounter(f, i, v), nil
	case useFlags:
		return p.rawFlags(f, v), nil
	case useIgnored, useSkipped:
		if len(f.only) > 0 {
			return f.only[0], nil
		}
		if x, ok := v.Values[f.name]; ok {
			return f.uncalibrate(x)
		}
		return 0, nil
	case useSign:
		for j := range p.fields {
			if p.fields[j].sign == i {
				return math.Copysign(1, v.Values[p.fields[j].name]), nil
			}
		}
		return 1, nil
	}
	x, ok := v.Values[f.name]
	if !ok || math.IsNaN(x) {
		return math.NaN(), nil
	}
	if f.sign >= 0 {
		x = math.Abs(x)
	}
	return f.uncalibrate(x)
}

func (p *Program) rawCounter(f *field, i int, v Message) float64 {
	var raw float64
	switch {
	case i == p.rocketAt:
		return float64(v.Rocket)
	case p.boot.own && i == p.boot.at:
		raw = float64(v.Boot)
	case p.seq.own && i == p.seq.at:
		raw = float64(max(v.Seq, 0))
	default:
		raw = p.clock.conv.invert(float64(max(v.Clock, 0)))
		if f.kind < kindCUC && f.format < clockTime { // those have steps of their own
			raw = math.Round(raw*math.Pow10(f.decimals)) / math.Pow10(f.decimals)
		}
	}
	if f.wrap > 0 {
		raw = math.Mod(raw, f.wrap)
	}
	return raw
}

func (p *Program) rawFlags(f *field, v Message) float64 {
	var bits uint64
	given := false
	for _, fl := range f.flags {
		x, ok := v.Values[p.names[fl.out]]
		given = given || ok && !math.IsNaN(x)
		if ok && x > 0.5 {
			bits |= 1 << fl.bit
		}
	}
	if !given && (len(f.missing) > 0 || f.size == 0) {
		return math.NaN() // text can leave it out, a marker can say so
	}
	return float64(bits)
}

// uncalibrate is the raw value that gives the channel's value x.
func (f *field) uncalibrate(x float64) (float64, error) {
	y := f.conv.invert(x)
	if len(f.poly) == 0 {
		return (y - f.offset) / f.scale, nil
	}
	// Newton, from where the first two terms alone would be.
	raw := 0.0
	if f.poly[1] != 0 {
		raw = (y - f.poly[0]) / f.poly[1]
	}
	for range 60 {
		var value, slope float64
		for i := len(f.poly) - 1; i >= 0; i-- {
			slope = slope*raw + value
			value = value*raw + f.poly[i]
		}
		if miss := math.Abs(value - y); miss <= 1e-12*math.Max(1, math.Abs(y)) {
			return raw, nil
		}
		if slope == 0 {
			break
		}
		next := raw - (value-y)/slope
		if next == raw {
			return raw, nil
		}
		raw = next
	}
	if math.Abs(f.conv.invert(f.calibrate(raw))-y) <= 1e-9*math.Max(1, math.Abs(y)) {
		return raw, nil
	}
	return 0, fmt.Errorf("no raw value gives %v by the polynomial", x)
}

func (p *Program) encodeText(dst []byte, v Message) ([]byte, error) {
	start := len(dst)
	if p.form == formNMEA {
		dst = append(dst, '$')
		if len(p.text.address) > 0 {
			dst = append(dst, p.text.address...)
		} else {
			talker := p.text.talker
			if len(talker) == 0 {
				talker = []byte("GP")
			}
			dst = append(append(dst, talker...), p.text.sentence...)
		}
		dst = append(dst, ',')
	}
	dst = append(dst, p.text.prefix...)
	raws, err := p.rawCounts(v)
	if err != nil {
		return nil, err
	}
	if p.text.places != inOrder {
		if dst, err = p.appendColumns(dst, v, raws); err != nil {
			return nil, err
		}
	}
	for i := range p.fields {
		if p.text.places != inOrder {
			break
		}
		if i > 0 {
			dst = p.appendSeparator(dst)
		}
		if dst, err = p.appendField(dst, i, v, raws); err != nil {
			return nil, fmt.Errorf("encode layout %q: field %q: %w", p.name, p.fields[i].name, err)
		}
	}
	if p.check == nil {
		return dst, nil
	}
	sum := p.check.sum.calc(dst[min(start+p.check.from, len(dst)):])
	dst = append(dst, p.check.mark...)
	return fmt.Appendf(dst, "%0*X", 2*p.check.sum.bytes, sum), nil
}

func (p *Program) appendSeparator(dst []byte) []byte {
	if p.text.separator == nil {
		return append(dst, ' ')
	}
	return append(dst, p.text.separator...)
}

func (p *Program) appendField(dst []byte, i int, v Message, raws map[int]float64) ([]byte, error) {
	f := &p.fields[i]
	switch {
	case len(f.onlyText) > 0:
		return append(dst, f.onlyText[0]...), nil
	case f.use == useFrame:
		return p.appendCarried(dst, v)
	}
	raw, err := p.rawOf(i, v, raws)
	if err != nil {
		return nil, err
	}
	if math.IsNaN(raw) {
		return f.appendMissing(dst, p.text.separator == nil), nil
	}
	for w, x := range f.words {
		if x == math.Round(raw) {
			return append(dst, w...), nil
		}
	}
	switch {
	case f.use == useSign:
		letters := "NS"
		if f.signWest {
			letters = "EW"
		}
		if raw < 0 {
			return append(dst, letters[1]), nil
		}
		return append(dst, letters[0]), nil
	case f.hex:
		raw = math.RoundToEven(raw)
		if raw < 0 || raw >= 1<<32 {
			return nil, fmt.Errorf("%v does not fit into eight hex digits", raw)
		}
		return fmt.Appendf(dst, "%X", uint32(raw)), nil
	case f.format == degreesMinutes:
		return f.appendDegreesMinutes(dst, raw)
	case f.format == hoursMinutes:
		return f.appendHoursMinutes(dst, raw), nil
	case f.format >= clockTime:
		return appendTime(dst, raw, f.format), nil
	}
	from := len(dst)
	dst = strconv.AppendFloat(dst, raw, 'f', f.decimals, 64)
	if at := bytes.IndexByte(dst[from:], '.'); f.comma && at >= 0 {
		dst[from+at] = ','
	}
	return dst, nil
}

// appendMissing writes "not measured": nothing, unless runs of spaces
// separate the fields, which would swallow it.
func (f *field) appendMissing(dst []byte, spaces bool) []byte {
	switch {
	case len(f.missingText) > 0:
		return append(dst, f.missingText[0]...)
	case len(f.missing) > 0:
		return strconv.AppendFloat(dst, f.missing[0], 'f', -1, 64)
	case spaces:
		return append(dst, "nan"...)
	}
	return dst
}

func (f *field) appendDegreesMinutes(dst []byte, deg float64) ([]byte, error) {
	if deg < 0 || deg > 180 {
		return nil, fmt.Errorf("%v degrees cannot be written as ddmm.mmmm; add a field with sign_of", deg)
	}
	scale := math.Pow10(f.decimals)
	units := math.Round(deg * 60 * scale)
	whole := math.Floor(units / (60 * scale))
	minutes := (units - whole*60*scale) / scale
	width := 2
	if f.decimals > 0 {
		width += 1 + f.decimals
	}
	return fmt.Appendf(dst, "%02.0f%0*.*f", whole, width, f.decimals, minutes), nil
}

func (f *field) appendHoursMinutes(dst []byte, s float64) []byte {
	h, m := math.Floor(s/3600), math.Floor(math.Mod(s, 3600)/60)
	width := 2
	if f.decimals > 0 {
		width += 1 + f.decimals
	}
	return fmt.Appendf(dst, "%02.0f%02.0f%0*.*f", h, m, width, f.decimals, s-h*3600-m*60)
}
