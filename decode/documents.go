package decode

import (
	"errors"
	"fmt"
	"math"

	"padlark/decode/document"
)

// documentForm is the compiled part of a layout that json, cbor and messagepack
// need.
type documentForm struct {
	picker *document.Picker
	cbor   *document.CBOR
}

// pathField notes where a field of a document is.
func (c *compiler) pathField(i int, lf Field, f *field) error {
	if lf.Column != nil {
		return c.fieldErrorf(i, "column", "it means nothing in the form %s; write path", c.layout.Form)
	}
	paths, err := nameList(lf.Path)
	if err != nil {
		return c.fieldErrorf(i, "path", "%w", err)
	}
	if len(paths) == 0 {
		return c.fieldErrorf(i, "path", "it is missing; write where the value is, as path = \"/sensor/0/p\"")
	}
	f.slots = [2]int{len(c.paths), len(c.paths) + len(paths)}
	c.paths = append(c.paths, paths...)
	if _, err := document.NewPicker(paths); err != nil {
		return c.fieldErrorf(i, "path", "%w", err)
	}
	return nil
}

// finishDocument makes what picks the values.
func (c *compiler) finishDocument() error {
	if !c.isDocument() {
		return nil
	}
	d := &c.p.document
	var err error
	if d.picker, err = document.NewPicker(c.paths); err == nil && c.p.form == formCBOR {
		d.cbor, err = document.NewCBOR()
	}
	if err != nil {
		return c.errorf("fields", "%w", err)
	}
	return nil
}

// readDocument reads the fields of a document.
func (p *Program) readDocument(b []byte, base int, sc *scratch) *Reject {
	var err error
	switch p.form {
	case formJSON:
		err = p.document.picker.JSON(b, &sc.picked)
	case formCBOR:
		err = p.document.cbor.Pick(p.document.picker, b, &sc.picked)
	default:
		err = p.document.picker.MessagePack(b, &sc.picked)
	}
	var bad *document.Error
	if errors.As(err, &bad) {
		return p.reject(Corrupt, ReasonDocument, "", base+min(bad.Offset, len(b)), bad.What)
	} else if err != nil {
		return p.reject(Corrupt, ReasonDocument, "", base, err.Error())
	}
	if sc.picked.Found == 0 {
		return p.reject(Unknown, ReasonNotOurs, "", base, "none of the layout's values is in it")
	}
	for i := range p.fields {
		f := &p.fields[i]
		if !f.picky() {
			continue
		}
		if v := f.picked(sc); !f.allowsValue(v) {
			return p.reject(Unknown, ReasonNotOurs, f.name, base, valueText(v)+" is not what the layout is for")
		}
	}
	sc.carried = carried{at: -1}
	for i := range p.fields {
		f := &p.fields[i]
		v := f.picked(sc)
		if f.use == useFrame {
			if sc.raw[i] = math.NaN(); v.Kind == document.Text || v.Kind == document.Bytes {
				sc.carried.bytes = v.Text
			}
			continue
		}
		if p.layout.Fields[i].Series {
			continue
		}
		raw, ok := f.readValue(v)
		if !ok {
			return p.reject(Corrupt, ReasonNumber, f.name, base, valueText(v))
		}
		sc.raw[i] = raw
	}
	if p.series != nil {
		return p.listSeries(base, sc)
	}
	return nil
}

// picked is the value of the first of a field's paths that leads to one.
func (f *field) picked(sc *scratch) document.Value {
	for _, v := range sc.picked.Values[f.slots[0]:f.slots[1]] {
		if v.Kind != document.Absent {
			return v
		}
	}
	return document.Value{}
}

// allowsValue says whether a value is one that the field may have.
func (f *field) allowsValue(v document.Value) bool {
	if v.Kind == document.Text {
		return f.allowsText(v.Text)
	}
	raw, ok := f.numberOf(v)
	return ok && len(f.only) > 0 && f.allows(raw)
}

// readValue is the raw value of a field; NaN is missing.
func (f *field) readValue(v document.Value) (float64, bool) {
	switch {
	case f.use == useSkipped || v.Kind == document.Absent:
		return math.NaN(), true
	case v.Kind == document.Text:
		return f.readText(trimSpaces(v.Text))
	}
	raw, ok := f.numberOf(v)
	if ok && f.isMissing(raw) {
		return math.NaN(), true
	}
	return raw, ok
}

// numberOf is a value that is a number.
func (f *field) numberOf(v document.Value) (float64, bool) {
	raw := v.Num
	if v.Kind != document.Number {
		return 0, false
	}
	if v.Text != nil {
		var ok bool
		if raw, ok = parseDecimal(v.Text, false); !ok {
			return 0, false
		}
	}
	if math.IsInf(raw, 0) {
		raw = math.NaN()
	}
	switch f.format {
	case plainNumber:
		return raw, true
	case degreesMinutes:
		return fromDegreesMinutes(raw)
	case hoursMinutes:
		return fromHoursMinutes(raw)
	}
	return 0, false
}

func valueText(v document.Value) string {
	switch v.Kind {
	case document.Absent:
		return "nothing"
	case document.Number:
		if v.Text != nil {
			return string(v.Text)
		}
		return number(v.Num)
	case document.Text:
		return fmt.Sprintf("%.80q", v.Text)
	case document.Bytes:
		return fmt.Sprintf("%d bytes", len(v.Text))
	case document.List:
		return fmt.Sprintf("a list of %d", v.To-v.From)
	}
	return "an object or a list of lists"
}
