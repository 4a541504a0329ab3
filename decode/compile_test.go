package decode

import (
	"errors"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"padlark/ingest"
)

// TestLayoutRefusals: each mistake is one error that names layout, field,
// value and mend.
func TestLayoutRefusals(t *testing.T) {
	const head = "[[layout]]\nname = \"b\"\nframing = \"cobs\"\nform = \"binary\"\n"
	const text = "[[layout]]\nname = \"b\"\nframing = \"line\"\nform = \"delimited\"\n"
	field := func(s string) string { return head + "fields = [ " + s + " ]" }
	line := func(s string) string { return text + "fields = [ " + s + " ]" }
	for _, c := range []struct{ name, text, want string }{
		{"form", "[[layout]]\nname = \"b\"\nform = \"csv\"", `layout "b": form: "csv" is not known; write one of: delimited, nmea, binary, ax25, spacepacket, json, cbor, messagepack, aprs, kinds`},
		{"no name", "[[layout]]\nform = \"binary\"", `name: it is missing`},
		{"no fields", head, `fields: there are none`},
		{"framing", strings.Replace(head, "cobs", "lines", 1) + `fields = [ { name = "a", type = "u8" } ]`, `"lines"`},
		{"line and binary", strings.Replace(field(`{ name = "a", type = "u8" }`), "cobs", "line", 1), `write cobs, slip, kiss, sync or datagram`},
		{"type", field(`{ name = "pressure_pa", type = "u31" }`), `field 1 "pressure_pa": type: "u31" is not known; write u8`},
		{"type missing", field(`{ name = "pressure_pa" }`), `type: "" is not known`},
		{"unit", field(`{ name = "a", type = "u8" }, { name = "pressure_pa", type = "u16", unit = "mV" }`), `field 2 "pressure_pa": unit: unit "mV" measures voltage, but pressure_pa is a pressure in Pa; write one of: Pa`},
		{"name", field(`{ name = "Pressure", type = "u8" }`), `name: "Pressure" is not possible`},
		{"twice", field(`{ name = "a", type = "u8" }, { name = "a", type = "u8" }`), `field 2 "a": name: the channel a exists already`},
		{"rocket twice", head + "rocket = 3\nfields = [ { name = \"rocket\", type = \"u8\" } ]", `the rocket's id is given twice`},
		{"clock unit", field(`{ name = "clock", type = "u32" }`), `for clock write one of: s, ms, us`},
		{"clock signed", field(`{ name = "clock", type = "i32", unit = "ms" }`), `clock counts from 0; write an unsigned type`},
		{"wrap", field(`{ name = "seq", type = "u8", wrap_at = 300 }`), `wrap_at: 300 does not fit into 8 bits`},
		{"wrap elsewhere", field(`{ name = "pressure_pa", type = "u8", wrap_at = 3 }`), `only seq, clock and boot start again`},
		{"bits", field(`{ name = "a", type = "u8", bit = 4, bits = 5 }`), `bits 4 to 8 are not all within the 8 of u8`},
		{"bits of float", field(`{ name = "a", type = "f32", bits = 5 }`), `only integers have pieces`},
		{"overlay first", field(`{ name = "a", type = "u8", overlay = true }`), `there is no field before the first`},
		{"flags", field(`{ name = "a", type = "u8", flags = { armed = 8 } }`), `armed = 8 is outside bits 0 to 7`},
		{"poly and scale", field(`{ name = "a", type = "u8", poly = [1, 2], scale = 3 }`), `poly: it contradicts scale and offset`},
		{"range", field(`{ name = "a", type = "u8", min = 3, max = 1 }`), `min: 3 is above max = 1`},
		{"outside", field(`{ name = "a", type = "u8", outside = "drop" }`), `write reject or missing`},
		{"missing word", field(`{ name = "a", type = "u8", missing = "x" }`), `words mean nothing in binary`},
		{"missing table", field(`{ name = "a", type = "u8", missing = { x = 1 } }`), `is not a number or a word`},
		{"length", head + "length = 1\nfields = [ { name = \"a\", type = \"u16\" } ]", `length: 1 is too short or long: fields and checksum take 2 bytes`},
		{"checksum", head + "checksum = \"CRC-16\"\nfields = [ { name = \"a\", type = \"u16\" } ]", `checksum: "CRC-16" is not known; write one of: sum8, xor8, Fletcher-16`},
		{"checksum place", head + "checksum = { kind = \"sum8\", at = 1 }\nfields = [ { name = \"a\", type = \"u16\" } ]", `it lies on the checksum`},
		{"checksum covers itself", head + "checksum = { kind = \"sum8\", at = 0, from = 0, to = 3 }\nfields = [ { name = \"a\", type = \"u16\", at = 1 } ]", `or cover the checksum itself`},
		{"checksum without kind", head + "checksum = { from = 1 }\nfields = [ { name = \"a\", type = \"u16\" } ]", `kind is missing`},
		{"mark", head + "checksum = { kind = \"sum8\", mark = \"*\" }\nfields = [ { name = \"a\", type = \"u16\" } ]", `mark means nothing in the form binary`},
		{"prefix in binary", head + "prefix = \"T\"\nfields = [ { name = \"a\", type = \"u16\" } ]", `prefix: it means nothing in the form binary`},
		{"type in text", line(`{ name = "a", type = "u8" }`), `"u8" means nothing in text`},
		{"at in text", line(`{ name = "a", at = 3 }`), `mean nothing in text`},
		{"sign_of", line(`{ name = "ns", sign_of = "latitude_deg" }`), `there is no channel "latitude_deg"`},
		{"separator", text + "separator = \"1\"\nfields = [ { name = \"a\" } ]", `may be part of a number`},
		{"nmea without address", "[[layout]]\nname = \"b\"\nframing = \"line\"\nform = \"nmea\"\nfields = [ { name = \"a\" } ]", `write address = "PLRK" or sentence = "GGA"`},
		{"inner missing", "[[layout]]\nname = \"b\"\nform = \"ax25\"", `inner: it is missing`},
		{"inner unknown", "[[layout]]\nname = \"b\"\nform = \"ax25\"\ninner = \"c\"", `there is no layout "c"; the layouts are: b`},
		{"inner itself", "[[layout]]\nname = \"b\"\nform = \"ax25\"\ninner = \"b\"", `does one carry itself?`},
		{"callsign", "[[layout]]\nname = \"b\"\nform = \"ax25\"\ninner = \"c\"\nsources = { \"TOOLONGCALL\" = 1 }\n" + strings.Replace(text, `"b"`, `"c"`, 1) + `fields = [ { name = "a" } ]`, `it has 1 to 6 characters`},
		{"apid", "[[layout]]\nname = \"b\"\nform = \"spacepacket\"\ninner = \"c\"\napid = [2047]\n" + strings.Replace(text, `"b"`, `"c"`, 1) + `fields = [ { name = "a" } ]`, `2047 is outside 0 to 2046`},
		{"barometer field", line(`{ name = "raw_p" }`) + "\nbarometer = { sensor = \"ms5611\", pressure = \"raw_p\", temperature = \"raw_t\", words = { C1 = 1, C2 = 1, C3 = 1, C4 = 1, C5 = 1, C6 = 1 } }", `temperature = "raw_t" is not a field with raw counts`},
		{"barometer twice", line(`{ name = "raw_p" }, { name = "pressure_pa" }`) + "\nbarometer = { sensor = \"ms5611\", pressure = \"raw_p\", temperature = \"raw_p\", words = { C1 = 1, C2 = 1, C3 = 1, C4 = 1, C5 = 1, C6 = 1 } }", `it makes the channel pressure_pa, but a field has that name too`},
	} {
		ls := layouts(t, c.text)
		_, err := Compile(ls[0], ls)
		var le *LayoutError
		if !errors.As(err, &le) {
			t.Errorf("%s: %v, want a LayoutError", c.name, err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %q, want %q in it", c.name, err, c.want)
		}
	}
}

// TestStrict shows that a key that does not exist is found.
func TestStrict(t *testing.T) {
	var l Layout
	d := toml.NewDecoder(strings.NewReader("name = \"b\"\nchecksum = { kind = \"sum8\", were = \"end\" }"))
	d.DisallowUnknownFields()
	var strict *toml.StrictMissingError
	if err := d.Decode(&l); !errors.As(err, &strict) || !strings.Contains(strict.String(), "were") {
		t.Errorf("%v, want the unknown key named", err)
	}
}

func TestStationRefusals(t *testing.T) {
	own := layouts(t, "[[layout]]\nname = \"free\"\nframing = \"line\"\nform = \"delimited\"\nfields = [ { name = \"a\" } ]\n"+
		"[[layout]]\nname = \"part\"\nform = \"delimited\"\nfields = [ { name = \"rocket\" } ]")
	for _, c := range []struct {
		name string
		cfg  Config
		want string
	}{
		{"layout", Config{Links: []LinkLayouts{{Link: "pad", Layouts: []string{"lark"}}}}, `link "pad": layout = "lark" does not exist; write one of: lark-text, lark-bin`},
		{"no layout", Config{Links: []LinkLayouts{{Link: "pad"}}}, `layout is missing`},
		{"whose", Config{Layouts: own, Links: []LinkLayouts{{Link: "pad", Layouts: []string{"free"}}}}, `does not say which rocket sends it; write rocket = "…"`},
		{"no framing", Config{Layouts: own, Links: []LinkLayouts{{Link: "pad", Layouts: []string{"part"}}}}, `write one of line, cobs`},
		{"two framings", Config{Links: []LinkLayouts{{Link: "pad", Layouts: []string{"lark-text", "lark-bin"}}}}, `have different framing`},
		{"link twice", Config{Links: []LinkLayouts{{Link: "pad", Layouts: []string{"lark-bin"}}, {Link: "pad", Layouts: []string{"lark-bin"}}}}, `is there twice`},
		{"built-in name", Config{Layouts: []Layout{{Name: "lark-bin"}}}, `there are two of that name`},
	} {
		if _, err := New(c.cfg); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.name, err, c.want)
		}
	}
}

// TestDesignExample compiles the layout that the manual shows.
func TestDesignExample(t *testing.T) {
	d := station(t, `[[layout]]
name = "my-board"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa" }, { name = "cell_v", unit = "mV" } ]`, "my-board")
	s := decodeOne(t, d, []byte("1234, 1001.25 ,3987"))
	diff(t, "sample", []any{"Teal", int64(1234000), map[string]float64{"pressure_pa": 100125, "cell_v": 3.987}}, []any{s.Rocket, s.Clock, values(s)})
}

// TestFramingTable shows both ways of writing the framing.
func TestFramingTable(t *testing.T) {
	ls := layouts(t, rawLayout)
	diff(t, "framing", ingest.Framing{Kind: "sync", Sync: "A5 5A", Size: 9}, ls[0].Framing)
	if err := ls[0].Framing.Validate(); err != nil {
		t.Error(err)
	}
}
