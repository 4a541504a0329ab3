package decode

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// isFieldName says whether a field may be called so: it becomes a column in exports.
func isFieldName(s string) bool {
	if s == "" || len(s) > 64 || s[0] < 'a' || s[0] > 'z' {
		return false
	}
	for _, c := range []byte(s) {
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_') {
			return false
		}
	}
	return true
}

func (c *compiler) fieldErrorf(i int, key, format string, args ...any) error {
	return &LayoutError{Layout: c.layout.Name, Field: c.layout.Fields[i].Name, Index: i, Key: key, Err: fmt.Errorf(format, args...)}
}

// compileField checks one field and adds it.
func (c *compiler) compileField(i int) error {
	lf := c.layout.Fields[i]
	f := field{
		name: lf.Name, scale: 1, offset: lf.Offset, poly: lf.Poly, out: -1, sign: -1,
		conv: linear(1, 0, plainNumber), min: math.Inf(-1), max: math.Inf(1), wrap: lf.WrapAt, decimals: lf.Decimals,
		comma: c.layout.Decimal == ",",
	}
	if lf.Name == "" && lf.Type == "skip" {
		f.name = "skip"
	} else if !isFieldName(lf.Name) {
		return c.fieldErrorf(i, "name", "%q is not possible; write small letters, digits and _, a letter first", lf.Name)
	}
	for _, step := range []func(int, Field, *field) error{c.typeOf, c.rules, c.calibration, c.useOf} {
		if err := step(i, lf, &f); err != nil {
			return err
		}
	}
	f.easy = f.isEasy()
	c.p.fields = append(c.p.fields, f)
	return nil
}

// typeOf checks the type and, in binary, where the field is.
func (c *compiler) typeOf(i int, lf Field, f *field) error {
	if c.isText() {
		f.hex = lf.Type == "hex"
		if lf.Type != "" && !f.hex {
			return c.fieldErrorf(i, "type", "%q means nothing in text; leave it out, or write hex for digits in base 16", lf.Type)
		}
		if lf.Overlay || lf.Bits != 0 || lf.Bit != 0 || lf.Endian != "" || c.p.form != formDelimited && (lf.At != nil || lf.Size != 0) {
			return c.fieldErrorf(i, "at", "at, overlay, bit, bits, size and endian mean nothing in text; leave them out")
		}
		return c.whereIn(i, lf, f)
	}
	if lf.Column != nil || lf.Path != nil || lf.Frame != "" {
		return c.fieldErrorf(i, "column", "column, path and frame mean nothing in binary; leave them out")
	}
	size, kind, ok := binaryType(lf.Type)
	if !ok {
		if size, kind, ok = c.spaceTime(lf.Type, f); !ok {
			return c.fieldErrorf(i, "type", "%q is not known; write u8 u16 u24 u32 u64 i8 i16 i24 i32 i64 f32 f64, skip, or a time such as cuc4.2 or cds", lf.Type)
		}
		if lf.Unit != "" && lf.Unit != "s" {
			return c.fieldErrorf(i, "unit", "%q: a time code counts seconds; write s or leave it out", lf.Unit)
		}
	}
	if kind == kindSkip {
		size = max(lf.Size, 1)
		f.use = useSkipped
	} else if lf.Size != 0 {
		return c.fieldErrorf(i, "size", "only a skip has one; leave it out")
	}
	order := lf.Endian
	if order == "" {
		order = c.layout.Endian
	}
	big, err := bigEndian(order)
	if err != nil {
		return c.fieldErrorf(i, "endian", "%w", err)
	}
	switch {
	case lf.Bits == 0 && lf.Bit != 0:
		return c.fieldErrorf(i, "bits", "it is missing; write how many bits the piece has")
	case lf.Bits != 0 && kind > kindSigned:
		return c.fieldErrorf(i, "bits", "only integers have pieces; write an integer type")
	case lf.Bit < 0 || lf.Bits < 0 || lf.Bit+lf.Bits > 8*size:
		return c.fieldErrorf(i, "bits", "bits %d to %d are not all within the %d of %s", lf.Bit, lf.Bit+lf.Bits-1, 8*size, lf.Type)
	}
	f.size, f.kind, f.big, f.bit, f.bits = size, kind, big, lf.Bit, lf.Bits
	return c.placeOf(i, lf, f)
}

// whereIn finds out where a field of a text or document is.
func (c *compiler) whereIn(i int, lf Field, f *field) error {
	var err error
	if f.frame, err = frameTextOf(lf.Frame); err != nil {
		return c.fieldErrorf(i, "frame", "%w", err)
	}
	if c.isDocument() {
		return c.pathField(i, lf, f)
	}
	switch {
	case lf.Path != nil:
		return c.fieldErrorf(i, "path", "it means nothing in the form %s; leave it out, or write column", c.layout.Form)
	case c.p.form == formDelimited:
		return c.columnField(i, lf, f)
	case c.p.form == formAPRS:
		return c.aprsField(i, lf, f)
	case lf.Column != nil:
		return c.fieldErrorf(i, "column", "it means nothing in the form %s; fields stand in the layout's order", c.layout.Form)
	}
	return nil
}

// placeOf gives a binary field its offset.
func (c *compiler) placeOf(i int, lf Field, f *field) error {
	f.at = c.next
	switch {
	case lf.Overlay && lf.At != nil:
		return c.fieldErrorf(i, "overlay", "it contradicts at; keep one")
	case lf.Overlay && i == 0:
		return c.fieldErrorf(i, "overlay", "there is no field before the first")
	case lf.Overlay:
		f.at = c.before
	case lf.At != nil:
		f.at = *lf.At
	}
	if f.at < 0 || f.at+f.size > maxMessage {
		return c.fieldErrorf(i, "at", "%d is outside the frame; the largest has %d bytes", f.at, maxMessage)
	}
	c.before, c.next = f.at, f.at+f.size
	if lf.Series {
		c.next += c.seriesSize(i)
	}
	return nil
}

func binaryType(name string) (size int, kind numberKind, ok bool) {
	switch name {
	case "f32":
		return 4, kindFloat, true
	case "f64":
		return 8, kindFloat, true
	case "skip":
		return 1, kindSkip, true
	}
	i := slices.Index([]string{"8", "16", "24", "32", "", "", "", "64"}, strings.TrimLeft(name, "ui"))
	if len(name) < 2 || i < 0 || name[1] < '1' || name[1] > '9' {
		return 0, 0, false
	}
	if name[0] == 'i' {
		return i + 1, kindSigned, true
	}
	return i + 1, kindUnsigned, true
}

// rules checks missing, only and the range.
func (c *compiler) rules(i int, lf Field, f *field) error {
	var err error
	if f.missing, f.missingText, err = rawValues(lf.Missing); err != nil {
		return c.fieldErrorf(i, "missing", "%w", err)
	}
	if f.only, f.onlyText, err = rawValues(lf.Only); err != nil {
		return c.fieldErrorf(i, "only", "%w", err)
	}
	if !c.isText() && len(f.missingText)+len(f.onlyText)+len(lf.Words) > 0 {
		return c.fieldErrorf(i, "missing", "words mean nothing in binary; write numbers")
	}
	f.words = lf.Words
	for w, v := range f.words {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return c.fieldErrorf(i, "words", "%s = %v is no number; write it as missing = %[1]q, or leave it out", w, v)
		}
	}
	if lf.Min != nil {
		f.min = *lf.Min
	}
	if lf.Max != nil {
		f.max = *lf.Max
	}
	if f.min > f.max || math.IsNaN(f.min) || math.IsNaN(f.max) {
		return c.fieldErrorf(i, "min", "%v is above max = %v; exchange them", f.min, f.max)
	}
	switch lf.Outside {
	case "":
		f.reject = c.p.check == nil
	case "reject", "missing":
		f.reject = lf.Outside == "reject"
	default:
		return c.fieldErrorf(i, "outside", "%q is not known; write reject or missing", lf.Outside)
	}
	return nil
}

// rawValues sorts a marker, or a list of them, into numbers and words.
func rawValues(v any) (nums []float64, words []string, err error) {
	switch x := v.(type) {
	case nil:
	case []any:
		for _, e := range x {
			n, w, err := rawValues(e)
			if err != nil {
				return nil, nil, err
			}
			nums, words = append(nums, n...), append(words, w...)
		}
	case int64:
		nums = append(nums, float64(x))
	case int:
		nums = append(nums, float64(x))
	case float64:
		if !math.IsNaN(x) {
			nums = append(nums, x)
		}
	case string:
		words = append(words, x)
	default:
		return nil, nil, fmt.Errorf("%v is not a number or a word; write one, or a list of them", v)
	}
	return nums, words, nil
}

// calibration checks scale, offset, poly and decimals.
func (c *compiler) calibration(i int, lf Field, f *field) error {
	if len(lf.Poly) > 0 && (lf.Scale != 0 || lf.Offset != 0) {
		return c.fieldErrorf(i, "poly", "it contradicts scale and offset; the first number of poly is the offset, the second the scale")
	}
	if len(lf.Poly) == 1 || len(lf.Poly) > 8 {
		return c.fieldErrorf(i, "poly", "it has %d numbers; write 2 to 8, the constant first", len(lf.Poly))
	}
	for _, v := range append([]float64{lf.Scale, lf.Offset}, lf.Poly...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return c.fieldErrorf(i, "scale", "%v is not a number to calibrate with", v)
		}
	}
	if lf.Scale != 0 {
		f.scale = lf.Scale
	}
	if lf.Decimals < 0 || lf.Decimals > 12 {
		return c.fieldErrorf(i, "decimals", "%d is outside 0 to 12", lf.Decimals)
	}
	return nil
}

// useOf says what the field is for, and makes its channels.
func (c *compiler) useOf(i int, lf Field, f *field) error {
	if len(lf.Flags) > 0 {
		return c.flagsOf(i, lf, f)
	}
	switch {
	case f.use == useSkipped:
		return nil
	case f.frame != noFrame:
		return c.frameOf(i, lf, f)
	case lf.SignOf != "":
		if !c.isText() {
			return c.fieldErrorf(i, "sign_of", "only text has such letters; use a signed type")
		}
		f.use = useSign
		return nil
	case lf.Name == FieldRocket || lf.Name == FieldBoot || lf.Name == FieldSeq || lf.Name == FieldClock:
		return c.counterOf(i, lf, f)
	case lf.WrapAt != 0:
		return c.fieldErrorf(i, "wrap_at", "only seq, clock and boot start again; leave it out")
	case lf.Ignore:
		f.use = useSkipped
		if len(f.only)+len(f.onlyText) > 0 || !c.isText() || c.isRawCount(lf.Name) {
			f.use = useIgnored
		}
		return nil
	}
	conv, err := conversionFor(lf.Name, lf.Unit)
	if err != nil {
		return c.fieldErrorf(i, "unit", "%w", err)
	}
	f.conv, f.format = conv, conv.format
	if f.format != plainNumber && !c.isText() {
		return c.fieldErrorf(i, "unit", "%q is a way to write text; binary needs another", lf.Unit)
	}
	f.meaning = meaningOf(lf.Name)
	f.out, err = c.addChannel(i, lf.Name)
	return err
}

func (c *compiler) addChannel(i int, name string) (int, error) {
	if slices.Contains(c.p.names, name) {
		return 0, c.fieldErrorf(i, "name", "the channel %s exists already; give one of them another name, or ignore = true", name)
	}
	c.p.names = append(c.p.names, name)
	return len(c.p.names) - 1, nil
}

func (c *compiler) flagsOf(i int, lf Field, f *field) error {
	f.use = useFlags
	if lf.Unit != "" || lf.Scale != 0 || len(lf.Poly) > 0 || f.kind > kindSigned {
		return c.fieldErrorf(i, "flags", "flags are bits of an integer; leave unit, scale and poly out")
	}
	width := 8 * f.size
	switch {
	case c.isText():
		width = 53 // what a number in text can carry exactly
	case f.bits > 0:
		width = f.bits
	}
	for name, bit := range lf.Flags {
		if bit < 0 || bit >= width || bit >= 53 {
			return c.fieldErrorf(i, "flags", "%s = %d is outside bits 0 to %d", name, bit, min(width, 53)-1)
		}
		if !isFieldName(name) {
			return c.fieldErrorf(i, "flags", "%q is not possible as a name; write small letters, digits and _", name)
		}
		f.flags = append(f.flags, flagBit{bit: bit})
		f.flags[len(f.flags)-1].out = -1
	}
	// A map has no order; the channels come in that of their bits.
	names := make([]string, 0, len(lf.Flags))
	for name := range lf.Flags {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(lf.Flags[a], lf.Flags[b]), cmp.Compare(a, b))
	})
	for n, name := range names {
		out, err := c.addChannel(i, name)
		if err != nil {
			return err
		}
		f.flags[n] = flagBit{bit: lf.Flags[name], out: out}
	}
	return nil
}
