package decode

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"padlark/ingest"
)

// outcome is what became of a frame: its clock in s and its channels, or why there
// is no sample.
func outcome(d *Decoder, n int, line string) string {
	s, err := d.Decode(frame("pad", n, time.Duration(n+1)*100*time.Millisecond, []byte(line)))
	var r *Reject
	switch {
	case errors.As(err, &r):
		return fmt.Sprintf("%s: %s: %s", r.Kind, r.Reason, r.Detail)
	case err != nil:
		return err.Error()
	}
	out := ""
	if s.Clock >= 0 {
		out = fmt.Sprintf("%.6gs ", float64(s.Clock)*1e-6)
	}
	for i, name := range s.Values.Names {
		if v := s.Values.Values[i]; !math.IsNaN(v) {
			out += fmt.Sprintf("%s=%.9g ", name, v)
		}
	}
	return strings.TrimSpace(out)
}

// TestColumns reads lines whose fields stand in columns, at places or with names.
// The lines are made up here in the manner of loggers in general (common
// practice, no source).
func TestColumns(t *testing.T) {
	for _, c := range []struct {
		name, layout string
		frames       []string // a line, then what is said of it
	}{
		{"numbers, the others left alone", `
			fields = [ { name = "clock", unit = "ms", column = 2 }, { name = "pressure_pa", unit = "hPa", column = 5 } ]`, []string{
			"A7,1200,xx,,1013.25,17,END", "1.2s pressure_pa=101325",
			"A7,1300,,,1013.25", "1.3s pressure_pa=101325",
			"A7,1400,,", `corrupt: field count: 4 columns where 5 are needed: "A7,1400,,"`,
			"A7,1500,,,p", `corrupt: not a number: "p"`,
		}},
		{"names, units and order from the header", `
			separator = ";"
			decimal = ","
			fields = [ { name = "pressure_pa", column = "Druck" }, { name = "clock", column = "Zeit" }, { name = "temperature_c", column = ["Temp", "T"] }, { name = "cell_v", unit = "mV", column = "Akku" } ]`, []string{
			"1;2;3;4;5", `unknown: names of columns: no line has named the columns yet; write header = … in the layout, or the columns' numbers: "1;2;3;4;5"`,
			`"Zeit (s)";Notiz;Temp [°C];Druck / hPa;Akku (V)`, "heading: names of columns: the line that names the columns",
			"0,25;ok;21,5;998,75;4012", "0.25s pressure_pa=99875 temperature_c=21.5 cell_v=4.012",
			"0,50;;\"21,5\";;4012", "0.5s temperature_c=21.5 cell_v=4.012",
			// The board starts anew with another program: the columns have changed.
			"Akku;Druck [Pa];T (K);Zeit / ms", "heading: names of columns: the line that names the columns",
			"4000;99875,5;294,65;750", "0.75s pressure_pa=99875.5 temperature_c=21.5 cell_v=4",
		}},
		{"a header in the layout", `
			header = "ms,alt_ft,note"
			prefix = "$"
			fields = [ { name = "clock", column = "ms", unit = "ms" }, { name = "altitude_m", column = "alt" } ]`, []string{
			"$100,1000,a", "0.1s altitude_m=304.8",
			"ms,alt_ft,note", "heading: names of columns: the line that names the columns",
			"$200,2000,b", "0.2s altitude_m=609.6",
			"$300,,", "0.3s",
		}},
		{"fixed places", `
			separator = "none"
			fields = [ { name = "clock", unit = "s", at = 0, size = 7 }, { name = "altitude_m", size = 6 }, { name = "cell_v", at = 15, size = 4 } ]`, []string{
			"  12.50 103.2xx3.98", "12.5s altitude_m=103.2 cell_v=3.98",
			"  12.75 103.9", "12.75s altitude_m=103.9",
			"  13.00      xx3.97", "13s cell_v=3.97",
			"", "corrupt: field count: the line has 0 characters and ends before the first field",
		}},
		{"names beside values", `
			separator = "space"
			pairs = "="
			fields = [ { name = "clock", unit = "ms", column = "t" }, { name = "pressure_pa", unit = "hPa", column = ["p", "press"] } ]`, []string{
			"t=100 p=1013.25 x=7", "0.1s pressure_pa=101325",
			"press=1013.25 t=200", "0.2s pressure_pa=101325",
			"t=300", "0.3s",
			"boot complete", `unknown: not ours: none of the layout's names stands before a "=": "boot complete"`,
			"t=400 p=low", `corrupt: not a number: "low"`,
		}},
		{"names with colons and commas", `
			pairs = ":"
			decimal = "."
			fields = [ { name = "temperature_c", column = "T" }, { name = "pressure_pa", unit = "hPa", column = "P" } ]`, []string{
			"T: 21.5, P: 1013.25", "temperature_c=21.5 pressure_pa=101325",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := station(t, "[[layout]]\nname = \"log\"\nframing = \"line\"\nform = \"delimited\"\n"+c.layout, "log")
			for i := 0; i < len(c.frames); i += 2 {
				if got := outcome(d, i/2, c.frames[i]); got != c.frames[i+1] {
					t.Errorf("%q\n got %s\nwant %s", c.frames[i], got, c.frames[i+1])
				}
			}
		})
	}
}

// TestColumnRefusals: a layout that cannot be meant is refused with the mend.
func TestColumnRefusals(t *testing.T) {
	for _, c := range []struct{ layout, want string }{
		{`fields = [ { name = "clock", unit = "ms", column = 1 }, { name = "cell_v" } ]`, "give each one"},
		{`fields = [ { name = "clock", unit = "ms", column = 0 } ]`, "outside 1 to 1024"},
		{`fields = [ { name = "clock", unit = "ms", column = 1.5 } ]`, "write one, or a list"},
		{"separator = \"none\"\nfields = [ { name = \"cell_v\", at = 3 } ]", "how many characters"},
		{"separator = \"none\"\nfields = [ { name = \"cell_v\", column = 3, size = 2 } ]", "leave pairs and column out"},
		{"pairs = \"=\"\nfields = [ { name = \"cell_v\" } ]", "the name that stands before"},
		{"decimal = \",\"\nfields = [ { name = \"cell_v\" } ]", "between them; write separator"},
		{"decimal = \"x\"\nfields = [ { name = \"cell_v\" } ]", "is not possible"},
		{"header = \"a,b\"\nfields = [ { name = \"cell_v\" } ]", "no field has a column by its name"},
		{"header = \"a,b\"\nfields = [ { name = \"cell_v\", column = \"c\" } ]", `no "c" in the header; it has: a, b`},
		{"header = \"a (counts),b\"\nfields = [ { name = \"cell_v\", column = \"a\" } ]", "no unit of voltage known here"},
		{`fields = [ { name = "cell_v", path = "/a" } ]`, "write column"},
		{`fields = [ { name = "cell_v", column = 1, frame = "hex" } ]`, "write inner"},
		{"inner = \"lark-bin\"\nfields = [ { name = \"cell_v\", column = 1 } ]", "no field holds its frame"},
	} {
		ls := layouts(t, "[[layout]]\nname = \"log\"\nframing = \"line\"\nform = \"delimited\"\n"+c.layout)
		built, err := Builtin()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Compile(ls[0], Join(built, ls)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s\n got %v\nwant %q in it", c.layout, err, c.want)
		}
	}
}

// TestColumnsOfAnyOrder: what is written into drawn columns is read from there.
func TestColumnsOfAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		order := rapid.Permutation([]int64{1, 2, 3, 4, 5, 6, 7}).Draw(t, "columns")
		l := Layout{Name: "drawn", Form: Delimited, Framing: ingest.Framing{Kind: ingest.FramingLine},
			Separator: rapid.SampledFrom([]string{";", "\t", "|"}).Draw(t, "separator"), Decimal: rapid.SampledFrom([]string{"", ","}).Draw(t, "decimal")}
		l.Fields = []Field{
			{Name: FieldClock, Unit: "ms", Column: order[0]},
			{Name: PressurePa, Unit: "hPa", Column: order[1], Decimals: 3},
			{Name: CellV, Column: order[2], Decimals: 2},
		}
		p, err := Compile(l, nil)
		if err != nil {
			t.Fatal(err)
		}
		m := Message{Clock: 1000 * rapid.Int64Range(0, 1e6).Draw(t, "ms"), Values: map[string]float64{
			PressurePa: rapid.Float64Range(3e4, 1.1e5).Draw(t, "pa"), CellV: rapid.Float64Range(0, 9).Draw(t, "v")}}
		line, err := p.Encode(nil, m)
		if err != nil {
			t.Fatal(err)
		}
		sc := newScratch(p)
		got := ident{}
		if r := p.parse(line, 0, sc, &got); r != nil {
			t.Fatalf("%q: %v", line, r)
		}
		if r := p.fill(0, sc); r != nil {
			t.Fatal(r)
		}
		if got.clock*1000 != float64(m.Clock) || math.Abs(sc.values[0]-m.Values[PressurePa]) > 0.051 || math.Abs(sc.values[1]-m.Values[CellV]) > 0.0051 {
			t.Fatalf("%q gives %v %v", line, got.clock, sc.values)
		}
	})
}

// TestTimes: the ways of writing a time. RFC 3339's own examples are from section
// 5.8; the rest is common practice, no source.
func TestTimes(t *testing.T) {
	unix := func(text string) float64 {
		at, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			t.Fatal(err)
		}
		return float64(at.UnixNano()) / 1e9
	}
	for _, c := range []struct {
		format textFormat
		text   string
		want   float64
	}{
		{yearMonthDay, "1985-04-12T23:20:50.52Z", unix("1985-04-12T23:20:50.52Z")},
		{yearMonthDay, "1996-12-19T16:39:57-08:00", unix("1996-12-20T00:39:57Z")},
		{yearMonthDay, "1937-01-01T12:00:27.87+00:20", unix("1937-01-01T11:40:27.87Z")},
		{yearMonthDay, "2022-10-29--13-08-13-298", unix("2022-10-29T13:08:13.298Z")},
		{yearMonthDay, "20221029T130813,298Z", unix("2022-10-29T13:08:13.298Z")},
		{yearMonthDay, "20221029130813", unix("2022-10-29T13:08:13Z")},
		{yearMonthDay, "2022/10/29 13:08", unix("2022-10-29T13:08:00Z")},
		{yearMonthDay, "2022-10-29", unix("2022-10-29T00:00:00Z")},
		{dayMonthYear, "29.10.22 13:08:13,5", unix("2022-10-29T13:08:13.5Z")},
		{monthDayYear, "10/29/2022 1:08:13 PM", unix("2022-10-29T13:08:13Z")},
		{monthDayYear, "10/29/2022 12:08 am", unix("2022-10-29T00:08:00Z")},
		{clockTime, "10:15:30.250", 36930.25},
		{clockTime, "10-15-30-250", 36930.25},
		{clockTime, "101530.5", 36930.5},
		{clockTime, "23:59:60", 86400},
		{yearMonthDay, "2022-02-30 00:00:00", -1},
		{yearMonthDay, "29.10.2022 13:08", -1},
		{yearMonthDay, "2022-10-29 24:00:00", -1},
		{yearMonthDay, "2022-10-29 13:08:13 local", -1},
		{yearMonthDay, "2022-10", -1},
		{clockTime, "10", -1},
		{clockTime, "10:60:00", -1},
		{clockTime, "13:00 pm", -1},
		{clockTime, "", -1},
	} {
		got, ok := readTime([]byte(c.text), c.format)
		if !ok {
			got = -1
		}
		if math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%q is %f, want %f", c.text, got, c.want)
		}
	}
}

// TestWrittenTimesComeBack: what appendTime writes readTime reads.
func TestWrittenTimesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom([]textFormat{clockTime, yearMonthDay, dayMonthYear, monthDayYear}).Draw(t, "format")
		most := int64(4e12)
		if f == clockTime {
			most = 86400000 - 1
		}
		ms := rapid.Int64Range(0, most).Draw(t, "ms")
		text := appendTime(nil, float64(ms)/1e3, f)
		if got, ok := readTime(text, f); !ok || math.Abs(got-float64(ms)/1e3) > 1e-4 {
			t.Fatalf("%d ms is written %q and read as %v", ms, text, got)
		}
	})
}

// TestClockUnits: clocks in any unit give the same time, and one outside its range
// is told.
func TestClockUnits(t *testing.T) {
	for _, c := range []struct{ unit, text, want string }{
		{"s", "1667048893.298", "1.66705e+09s"},
		{"ns", "1667048893298000000", "1.66705e+09s"},
		{"min", "2.5", "150s"},
		{"yyyy-mm-dd hh:mm:ss", "2022-10-29T13:08:13.298Z", "1.66705e+09s"},
		{"hh:mm:ss", "00:02:30", "150s"},
		{"s", "4e9", "corrupt: out of range: 4e+09 s is outside 0 to 2e+09 s"},
	} {
		d := station(t, `[[layout]]
name = "log"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "`+c.unit+`", min = 0, max = 2e9 }, { name = "cell_v" } ]`, "log")
		if got := strings.Replace(outcome(d, 1, c.text+",3"), "1.66705e+09s", "1.66705e+09s", 1); !strings.HasPrefix(got, c.want) {
			t.Errorf("%s %q: %s, want %s", c.unit, c.text, got, c.want)
		}
	}
}
