package decode

import (
	"math"
	"slices"
	"strings"
)

// counterOf compiles rocket, boot, seq and clock.
func (c *compiler) counterOf(i int, lf Field, f *field) error {
	f.use = useCounter
	if lf.Ignore {
		return c.fieldErrorf(i, "ignore", "%s is no channel; give the field another name to ignore it", lf.Name)
	}
	if len(lf.Poly) > 0 || lf.Name != FieldClock && (lf.Scale != 0 || lf.Offset != 0) {
		return c.fieldErrorf(i, "scale", "%s counts; it takes no calibration", lf.Name)
	}
	if lf.Name != FieldClock && (lf.Min != nil || lf.Max != nil) {
		return c.fieldErrorf(i, "min", "%s has no range; leave min and max out", lf.Name)
	}
	wrap, err := c.wrapOf(i, lf, f)
	if err != nil {
		return err
	}
	cnt := counter{at: i, own: true, wrap: wrap, conv: linear(1, 0, plainNumber)}
	if lf.Name != FieldClock && lf.Unit != "" {
		return c.fieldErrorf(i, "unit", "%s has none; leave it out", lf.Name)
	}
	into := &c.p.boot
	switch lf.Name {
	case FieldRocket:
		if c.p.rocketAt >= 0 || c.layout.Rocket != nil {
			return c.fieldErrorf(i, "name", "the rocket's id is given twice; keep one of the fields and rocket = …")
		}
		if lf.WrapAt != 0 {
			return c.fieldErrorf(i, "wrap_at", "an id does not start again; leave it out")
		}
		c.p.rocketAt = i
		return nil
	case FieldSeq:
		into = &c.p.seq
	case FieldClock:
		into = &c.p.clock
		switch {
		case lf.Unit != "":
		case c.p.text.nameless:
			lf.Unit = "ms" // until the header says which
		case f.kind >= kindCUC:
			lf.Unit = "s"
		}
		scale, err := clockScale(lf.Unit)
		if err != nil {
			return c.fieldErrorf(i, "unit", "%w", err)
		}
		if scale.format != plainNumber && !c.isText() {
			return c.fieldErrorf(i, "unit", "%q is a way to write text; binary needs s, ms or us", lf.Unit)
		}
		f.format = scale.format
		if (f.format == hoursMinutes || f.format == clockTime || c.p.form == formAPRS) && cnt.wrap == 0 {
			cnt.wrap = 86400 // the time of day
		}
		cnt.conv = linear(scale.mul*f.scale, lf.Offset*scale.mul, plainNumber)
	}
	if into.at >= 0 {
		return c.fieldErrorf(i, "name", "%s is there twice; keep one", lf.Name)
	}
	*into = cnt
	f.wrap = cnt.wrap
	return nil
}

// wrapOf says at which raw value a counter starts again.
func (c *compiler) wrapOf(i int, lf Field, f *field) (float64, error) {
	if lf.WrapAt < 0 || lf.WrapAt == 1 || math.IsInf(lf.WrapAt, 0) || lf.WrapAt > 1<<53 {
		return 0, c.fieldErrorf(i, "wrap_at", "%v is not possible; write the first value that the counter never has, as 65536", lf.WrapAt)
	}
	if f.kind == kindCUC && lf.WrapAt == 0 {
		return math.Ldexp(1, 8*f.coarse), nil
	}
	if c.isText() || f.kind > kindSigned {
		return lf.WrapAt, nil
	}
	width := 8 * f.size
	if f.bits > 0 {
		width = f.bits
	}
	if f.kind == kindSigned {
		return 0, c.fieldErrorf(i, "type", "%s counts from 0; write an unsigned type", lf.Name)
	}
	full := math.Ldexp(1, width)
	switch {
	case lf.WrapAt > full:
		return 0, c.fieldErrorf(i, "wrap_at", "%v does not fit into %d bits", lf.WrapAt, width)
	case lf.WrapAt != 0:
		return lf.WrapAt, nil
	case width > 53:
		return 0, nil // would take longer than any board lives
	}
	return full, nil
}

// linkSigns joins each sign_of with its channel.
func (c *compiler) linkSigns() error {
	for i, lf := range c.layout.Fields {
		if lf.SignOf == "" {
			continue
		}
		j := slices.IndexFunc(c.p.fields, func(f field) bool { return f.name == lf.SignOf && f.out >= 0 })
		if j < 0 {
			return c.fieldErrorf(i, "sign_of", "there is no channel %q in this layout", lf.SignOf)
		}
		if c.p.fields[j].sign >= 0 {
			return c.fieldErrorf(i, "sign_of", "%s has a sign field already", lf.SignOf)
		}
		c.p.fields[j].sign = i
		c.p.fields[i].signWest = strings.HasPrefix(lf.SignOf, "lon")
	}
	return nil
}

func (c *compiler) isRawCount(name string) bool {
	b := c.layout.Barometer
	return b != nil && (b.Pressure == name || b.Temperature == name)
}

// compileBarometer joins the barometer with its fields and adds its channels.
func (c *compiler) compileBarometer() error {
	b := c.layout.Barometer
	if b == nil {
		return nil
	}
	cal, err := compileBarometer(b)
	if err != nil {
		return c.errorf("barometer", "%w", err)
	}
	for _, ref := range []struct {
		key, name string
		into      *int
	}{{"pressure", b.Pressure, &c.p.rawP}, {"temperature", b.Temperature, &c.p.rawT}} {
		i := slices.IndexFunc(c.p.fields, func(f field) bool {
			return f.name == ref.name && (f.use == useChannel || f.use == useIgnored)
		})
		if ref.name == "" || i < 0 {
			return c.errorf("barometer", "%s = %q is not a field with raw counts; name the field", ref.key, ref.name)
		}
		*ref.into = i
	}
	for _, ch := range []struct {
		name string
		into *int
	}{{PressurePa, &c.p.outPa}, {TemperatureC, &c.p.outDegC}} {
		if slices.Contains(c.p.names, ch.name) {
			return c.errorf("barometer", "it makes the channel %s, but a field has that name too; give the field another", ch.name)
		}
		*ch.into = len(c.p.names)
		c.p.names = append(c.p.names, ch.name)
	}
	c.p.meantPa, c.p.meantDegC = meaningOf(PressurePa), meaningOf(TemperatureC)
	c.p.barometer = cal
	return nil
}

// finishBinary fixes the length of a binary frame and checks that the checksum
// is inside it and on no field.
func (c *compiler) finishBinary() error {
	if c.p.form != formBinary {
		return nil
	}
	need := 0
	for _, f := range c.p.fields {
		need = max(need, f.at+f.size)
	}
	if s := c.p.series; s != nil {
		for n := range s.fields {
			if s.count > 1 {
				size, _ := c.deltaSize(s.fields[n]) //nolint:errcheck // placeSeries has looked
				need = max(need, s.second[n]+(s.count-2)*s.steps[n]+size)
			}
		}
		if s.count == 0 && (c.layout.Length != 0 || c.p.check != nil && c.p.check.at >= 0) {
			return c.errorf("length", "readings whose number the frame's length tells have no fixed length, and the checksum behind them; leave length and at out")
		}
	}
	if need > maxMessage {
		return c.errorf("series", "the frame would have %d bytes; the largest has %d", need, maxMessage)
	}
	k := c.p.check
	n := need
	if k != nil {
		if k.at < 0 {
			n = need - k.at
		} else {
			n = max(need, k.at+k.sum.bytes)
		}
	}
	if c.layout.Length != 0 {
		if c.layout.Length < n || c.layout.Length > maxMessage {
			return c.errorf("length", "%d is too short or long: fields and checksum take %d bytes", c.layout.Length, n)
		}
		n = c.layout.Length
	}
	c.p.binary.length = n
	if k == nil {
		return nil
	}
	at, from, to, ok := k.place(n)
	if !ok || to > at && from < at+k.sum.bytes {
		return c.errorf("checksum", "at = %d, from = %d, to = %d do not fit a frame of %d bytes, or cover the checksum itself", at, from, to, n)
	}
	for i, f := range c.p.fields {
		if f.use != useSkipped && f.at < at+k.sum.bytes && f.at+f.size > at {
			return c.fieldErrorf(i, "at", "it lies on the checksum at bytes %d to %d", at, at+k.sum.bytes-1)
		}
	}
	return nil
}
