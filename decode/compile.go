package decode

import (
	"fmt"
	"slices"
	"strings"

	"padlark/ingest"
)

// LayoutError says what is wrong with a layout: where, and how to mend it.
type LayoutError struct {
	Layout string // its name
	Field  string // the field's name; empty if the layout itself is wrong
	Index  int    // the field's place in fields, from 0; -1 if none
	Key    string // the key in the configuration
	Err    error  // what is wrong with the value, and the mend
}

// Error says it in one line.
func (e *LayoutError) Error() string {
	s := fmt.Sprintf("layout %q", e.Layout)
	if e.Index >= 0 {
		s += fmt.Sprintf(": field %d %q", e.Index+1, e.Field)
	}
	if e.Key != "" {
		s += ": " + e.Key
	}
	return s + ": " + e.Err.Error()
}

// Unwrap gives the cause.
func (e *LayoutError) Unwrap() error { return e.Err }

// maxFields bounds a layout, maxDepth how deep layouts may be inside each
// other, maxMessage the length of a binary frame.
const (
	maxFields  = 256
	maxDepth   = 4
	maxMessage = 65535
)

// Compile checks a layout and makes it ready for use. others are the layouts
// that it may name as inner. The error is a *LayoutError, or ingest's error
// for the framing wrapped in one.
func Compile(l Layout, others []Layout) (*Program, error) {
	p, err := compileDepth(l, others, 1)
	if err == nil && p.hasSeries() {
		p.several = true
		each := map[string]bool{}
		p.seriesNames(each)
		for i, name := range p.names {
			if !each[name] {
				p.once = append(p.once, i)
			}
		}
	}
	return p, err
}

func compileDepth(l Layout, others []Layout, depth int) (*Program, error) {
	c := &compiler{p: &Program{
		name: l.Name, layout: l, rocketAt: -1, carries: -1,
		boot: counter{at: -1}, seq: counter{at: -1}, clock: counter{at: -1}, rawP: -1, rawT: -1,
	}, layout: l}
	if err := c.start(); err != nil {
		return nil, err
	}
	switch c.p.form {
	case formAX25, formPacket:
		return c.compileOuter(others, depth)
	case formKinds:
		return c.compileKinds(others, depth)
	case formBeeps:
		return c.compileBeeps()
	}
	if err := c.compileForm(); err != nil {
		return nil, err
	}
	if len(l.Fields) == 0 && c.p.form == formAPRS {
		l.Fields = aprsFields()
		c.layout.Fields = l.Fields
	}
	if len(l.Fields) == 0 {
		return nil, c.errorf("fields", "there are none; write fields = [ { name = %q, unit = \"hPa\" }, … ]", PressurePa)
	}
	if len(l.Fields) > maxFields {
		return nil, c.errorf("fields", "there are %d; at most %d are possible", len(l.Fields), maxFields)
	}
	for i := range l.Fields {
		if err := c.compileField(i); err != nil {
			return nil, err
		}
	}
	if err := c.linkSigns(); err != nil {
		return nil, err
	}
	if err := c.compileBarometer(); err != nil {
		return nil, err
	}
	if err := c.compileSeries(); err != nil {
		return nil, err
	}
	if err := c.finishBinary(); err != nil {
		return nil, err
	}
	if err := c.finishDocument(); err != nil {
		return nil, err
	}
	if err := c.compileCarried(others, depth); err != nil {
		return nil, err
	}
	return c.p, nil
}

// compiler carries one layout through its checks.
type compiler struct {
	p      *Program
	layout Layout
	next   int        // offset of the next binary field
	before int        // offset of the last one
	named  [][]string // the columns' names, where a header gave their numbers
	paths  []string   // of a document
}

func (c *compiler) errorf(key, format string, args ...any) error {
	return &LayoutError{Layout: c.layout.Name, Index: -1, Key: key, Err: fmt.Errorf(format, args...)}
}

// forms says which form names exist and whether they are text.
func (c *compiler) start() error {
	if c.layout.Name == "" {
		return c.errorf("name", "it is missing; write name = \"my-board\"")
	}
	names := formNames()
	i := slices.Index(names, c.layout.Form)
	if i < 0 {
		return c.errorf("form", "%q is not known; write one of: %s", c.layout.Form, strings.Join(names, ", "))
	}
	c.p.form = form(i)
	if c.layout.Framing.Kind != "" {
		if err := c.layout.Framing.Validate(); err != nil {
			return &LayoutError{Layout: c.layout.Name, Index: -1, Err: err}
		}
	}
	if !c.inLines() && c.layout.Framing.Kind == ingest.FramingLine {
		return c.errorf("framing", "%q cuts at line ends, but the form %s has any bytes; write cobs, slip, kiss, sync or datagram", c.layout.Framing.Kind, c.layout.Form)
	}
	if err := c.wrongForm(); err != nil {
		return err
	}
	if c.layout.Dump != nil {
		if _, err := c.layout.Dump.Plan(); err != nil {
			return c.errorf("dump", "%w", err)
		}
	}
	return c.compileChecksum()
}

// formNames lists the forms, in the order of their numbers.
func formNames() []string {
	return []string{Delimited, NMEA, Binary, AX25, SpacePacket, JSON, CBOR, MessagePack, APRS, Kinds, Beeps}
}

// isText says whether values are written as text, or name themselves: not as bits
// at a place.
func (c *compiler) isText() bool { return c.isLine() || c.isDocument() || c.p.form == formAPRS }

func (c *compiler) isLine() bool { return c.p.form == formDelimited || c.p.form == formNMEA }

func (c *compiler) isDocument() bool {
	return c.p.form == formJSON || c.p.form == formCBOR || c.p.form == formMessagePack
}

// inLines says whether a frame can be a line of text.
func (c *compiler) inLines() bool {
	return c.isText() && c.p.form != formCBOR && c.p.form != formMessagePack || c.p.form == formAX25 || c.p.form == formKinds
}

// wrongForm finds keys that mean nothing in the layout's form.
func (c *compiler) wrongForm() error {
	l := c.layout
	outer := []form{formAX25, formPacket, formDelimited, formNMEA, formJSON, formCBOR, formMessagePack, formAPRS}
	leaf := []form{formDelimited, formNMEA, formBinary, formJSON, formCBOR, formMessagePack, formAPRS}
	for _, k := range []struct {
		key   string
		given bool
		forms []form
	}{
		{"beeps", l.Beeps != nil, []form{formBeeps}},
		{"prefix", l.Prefix != "", []form{formDelimited, formAX25}},
		{"separator", l.Separator != "", []form{formDelimited}},
		{"pairs", l.Pairs != "", []form{formDelimited}},
		{"decimal", l.Decimal != "", []form{formDelimited}},
		{"header", l.Header != "", []form{formDelimited}},
		{"more", l.More, []form{formDelimited, formNMEA}},
		{"endian", l.Endian != "", []form{formBinary, formAX25, formPacket}},
		{"length", l.Length != 0, []form{formBinary}},
		{"address", l.Address != "", []form{formNMEA}},
		{"sentence", l.Sentence != "", []form{formNMEA}},
		{"talker", l.Talker != "", []form{formNMEA}},
		{"sources", len(l.Sources) > 0, []form{formAX25}},
		{"destination", l.Destination != "", []form{formAX25}},
		{"apid", len(l.APID) > 0, []form{formPacket}},
		{"rocket_from", l.RocketFrom != "", []form{formPacket}},
		{"secondary_header", l.SecondaryHeader != 0, []form{formPacket}},
		{"inner", l.Inner != "", outer},
		{"seq_of", l.SeqOf != "", []form{formKinds}},
		{"kinds", len(l.Kinds) > 0, []form{formKinds}},
		{"series", l.Series != nil, leaf},
		{"fields", len(l.Fields) > 0, leaf},
		{"barometer", l.Barometer != nil, leaf},
	} {
		if k.given && !slices.Contains(k.forms, c.p.form) {
			return c.errorf(k.key, "it means nothing in the form %s; leave it out", l.Form)
		}
	}
	return nil
}

// compileForm checks what is special to text and binary forms.
func (c *compiler) compileForm() error {
	l, t := c.layout, &c.p.text
	t.more = l.More
	switch c.p.form {
	case formDelimited:
		return c.compileDelimited()
	case formNMEA:
		t.separator = []byte(",")
		t.address, t.talker, t.sentence = []byte(l.Address), []byte(l.Talker), []byte(l.Sentence)
		switch {
		case l.Address == "" && l.Sentence == "":
			return c.errorf("address", "neither it nor sentence is given; write address = \"PLRK\" or sentence = \"GGA\"")
		case l.Address != "" && (l.Sentence != "" || l.Talker != ""):
			return c.errorf("address", "it contradicts sentence and talker; keep one way")
		case l.Talker != "" && len(l.Talker) != 2:
			return c.errorf("talker", "%q is not two characters", l.Talker)
		case strings.ContainsAny(l.Address+l.Sentence+l.Talker, "$*,\r\n"):
			return c.errorf("address", "it has one of $ * , in it; write only what stands between them")
		}
	case formBinary:
		if _, err := bigEndian(l.Endian); err != nil {
			return c.errorf("endian", "%w", err)
		}
	}
	return nil
}

// compileDelimited checks prefix, separator and how the fields are found.
func (c *compiler) compileDelimited() error {
	l, t := c.layout, &c.p.text
	t.prefix = []byte(l.Prefix)
	switch l.Separator {
	case "":
		t.separator = []byte(",")
	case "space":
	default:
		t.separator = []byte(l.Separator)
	}
	if strings.ContainsAny(l.Separator+l.Prefix+l.Pairs, "\r\n") {
		return c.errorf("separator", "it or the prefix has a line end in it; a line ends there")
	}
	if strings.ContainsAny(l.Separator+l.Pairs, "0123456789.+-") {
		return c.errorf("separator", "%q may be part of a number; write another", l.Separator+l.Pairs)
	}
	switch {
	case l.Decimal != "" && l.Decimal != "." && l.Decimal != ",":
		return c.errorf("decimal", "%q is not possible; write \",\" or leave it out", l.Decimal)
	case l.Decimal == "," && string(t.separator) == ",":
		return c.errorf("decimal", "a comma cannot be in numbers and between them; write separator = …")
	}
	return c.compilePlaces()
}

func bigEndian(s string) (bool, error) {
	switch s {
	case "", "little":
		return false, nil
	case "big":
		return true, nil
	}
	return false, fmt.Errorf("%q is not known; write little or big", s)
}

// compileChecksum checks the checksum's kind and place.
func (c *compiler) compileChecksum() error {
	k := c.layout.Checksum
	if k.Kind == "" && c.p.form == formNMEA {
		k.Kind = "xor8"
	}
	if k.Kind == "" || k.Kind == "none" {
		if k.Mark != "" || k.At != nil || k.From != 0 || k.To != 0 || k.Endian != "" {
			return c.errorf("checksum", "kind is missing; write one of: %s", strings.Join(ChecksumNames(), ", "))
		}
		return nil
	}
	if c.isDocument() || c.p.form == formKinds || c.p.form == formAPRS {
		return c.errorf("checksum", "it means nothing in the form %s; leave it out", c.layout.Form)
	}
	s, ok := findSum(k.Kind)
	keyed := strings.EqualFold(k.Kind, SealKind)
	switch {
	case keyed && len(k.Key) != 0 && len(k.Key) != SealKeySize:
		return c.errorf("checksum", "the key has %d bytes; write %d, as %d hex digits", len(k.Key), SealKeySize, 2*SealKeySize)
	case keyed && k.KeyFile == "" && len(k.Key) == 0:
		return c.errorf("checksum", "%s needs key_file, a file with the key in %d hex digits", SealKind, 2*SealKeySize)
	case !keyed && k.KeyFile != "":
		return c.errorf("checksum", "key_file is for %s; leave it out", SealKind)
	case keyed:
		key := k.Key
		if len(key) == 0 {
			key = make([]byte, SealKeySize) // nothing that is checked with it is taken
		}
		s, ok = sealSum(key), true
	}
	if !ok {
		return c.errorf("checksum", "%q is not known; write one of: %s, %s", k.Kind, strings.Join(ChecksumNames(), ", "), SealKind)
	}
	ck := &check{sum: s, from: k.From, to: k.To, at: -s.bytes, keyed: keyed, noKey: keyed && len(k.Key) == 0}
	if k.From < 0 {
		return c.errorf("checksum", "from = %d is negative; count from the start of the frame, 0 is the first byte", k.From)
	}
	if c.isText() {
		if k.At != nil || k.To != 0 || k.Endian != "" {
			return c.errorf("checksum", "at, to and endian mean nothing in text; the checksum is hex after mark at the end")
		}
		ck.mark = []byte(k.Mark)
		if k.Mark == "" {
			ck.mark = []byte("*")
		}
		if c.p.form == formNMEA && k.From == 0 {
			ck.from = 1 // without the "$"
		}
		c.p.check = ck
		return nil
	}
	if k.Mark != "" {
		return c.errorf("checksum", "mark means nothing in the form %s; the checksum is bytes there", c.layout.Form)
	}
	order := k.Endian
	if order == "" {
		order = c.layout.Endian
	}
	if order == "" && c.p.form == formPacket {
		order = "big" // CCSDS is big-endian throughout
	}
	big, err := bigEndian(order)
	if err != nil {
		return c.errorf("checksum", "endian: %w", err)
	}
	ck.big = big
	if k.At != nil {
		if c.p.form != formBinary {
			return c.errorf("checksum", "at is for the form binary; in %s the checksum is at the end", c.layout.Form)
		}
		ck.at = *k.At
	}
	c.p.check = ck
	return nil
}
