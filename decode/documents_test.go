package decode

import (
	"encoding/base64"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const jsonLayout = `[[layout]]
name = "gateway"
framing = "line"
form = "json"
fields = [
  { name = "model", path = "/model", only = "teal", ignore = true },
  { name = "rocket", path = "/id" },
  { name = "clock", unit = "ms", path = "/t" },
  { name = "pressure_pa", unit = "hPa", path = "/sensor/0/p" },
  { name = "temperature_c", path = ["/temperature_C", "/sensor/1/t"], missing = -127 },
  { name = "release_on", path = "/fired" },
  { name = "latitude_deg", unit = "ddmm.mmmm", path = "/lat" },
  { name = "south", path = "/ns", sign_of = "latitude_deg" },
]`

func TestJSONLayout(t *testing.T) {
	d := station(t, jsonLayout, "gateway")
	for i, c := range [][2]string{
		{`{"model":"teal","id":7,"t":100,"sensor":[{"p":1013.25},{"t":21.5}],"fired":true,"lat":4807.038,"ns":"S"}`,
			"0.1s pressure_pa=101325 temperature_c=21.5 release_on=1 latitude_deg=-48.1173"},
		{`{"model":"teal","id":"7","t":"200","temperature_C":-127,"fired":false}`, "0.2s release_on=0"},
		{`{"model":"plum","id":7,"t":300}`, `unknown: not ours: "plum" is not what the layout is for`},
		{`{"id":7}`, `unknown: not ours: nothing is not what the layout is for`},
		{`{"sensor":[]}`, `unknown: not ours: none of the layout's values is in it`},
		{`{"model":"teal","id":7,"t":400,"fired":[1]}`, `corrupt: not a number: a list of 1`},
		{`{"model":"teal","id":7,"t":"soon"}`, `corrupt: not a number: "soon"`},
		{`{"model":"teal","t":500}`, `corrupt: not a number: the rocket's id is missing`},
		{`{"model":"teal",`, `corrupt: not readable: unexpected end of JSON input`},
	} {
		if got := outcome(d, i, c[0]); got != c[1] {
			t.Errorf("%s\n got %s\nwant %s", c[0], got, c[1])
		}
	}
}

// TestGPSD reads reports of the service, made up here with the names and units of
// its public description of the protocol (from memory).
func TestGPSD(t *testing.T) {
	d := station(t, "", "gpsd")
	for i, c := range [][2]string{
		{`{"class":"VERSION","release":"3.25","proto_major":3}`, `unknown: not ours: "VERSION" is not what the layout is for`},
		{`{"class":"TPV","device":"/dev/ttyACM0","mode":3,"time":"2026-05-09T10:00:00.500Z","lat":48.1173,"lon":11.516666667,"altHAE":590.1,"altMSL":545.4,"track":77.5,"speed":0.9,"climb":-0.1}`,
			"1.77832e+09s gps_mode=3 latitude_deg=48.1173 longitude_deg=11.5166667 gps_altitude_m=545.4 course_deg=77.5 ground_speed_mps=0.9 climb_mps=-0.1"},
		{`{"class":"TPV","mode":1}`, "gps_mode=1"},
		{`{"class":"TPV","mode":2,"lat":48.1173,"lon":11.5,"alt":540}`, "gps_mode=2 latitude_deg=48.1173 longitude_deg=11.5 gps_altitude_m=540"},
	} {
		if got := outcome(d, i, c[0]); got != c[1] {
			t.Errorf("%s\n got %s\nwant %s", c[0], got, c[1])
		}
	}
}

// TestDocumentsComeBack: what a board writes in each of the forms is read again.
func TestDocumentsComeBack(t *testing.T) {
	for _, form := range []string{JSON, CBOR, MessagePack} {
		p := compile(t, `[[layout]]
name = "doc"
framing = "datagram"
form = "`+form+`"
fields = [ { name = "rocket", path = "/id" }, { name = "seq", path = "/a/n", wrap_at = 65536 }, { name = "clock", unit = "ms", path = "/a/t" },
  { name = "pressure_pa", unit = "hPa", path = "/a/b/p", decimals = 3 }, { name = "longitude_deg", path = "/lon", decimals = 7 }, { name = "west", path = "/ew", sign_of = "longitude_deg" } ]`)
		rapid.Check(t, func(t *rapid.T) {
			m := Message{Rocket: rapid.Uint32Range(0, 9).Draw(t, "id"), Seq: rapid.Int64Range(0, 65535).Draw(t, "seq"), Clock: 1000 * rapid.Int64Range(0, 1e9).Draw(t, "ms"),
				Values: map[string]float64{PressurePa: rapid.Float64Range(3e4, 1.1e5).Draw(t, "pa"), LongitudeDeg: rapid.Float64Range(-180, 180).Draw(t, "lon")}}
			b, err := p.Encode(nil, m)
			if err != nil {
				t.Fatal(err)
			}
			sc, got := newScratch(p), ident{}
			if r := p.parse(b, 0, sc, &got); r != nil {
				t.Fatalf("%q: %v", b, r)
			}
			if r := p.fill(0, sc); r != nil {
				t.Fatal(r)
			}
			if got.rocket != m.Rocket || got.seq != float64(m.Seq) || got.clock*1000 != float64(m.Clock) ||
				math.Abs(sc.values[0]-m.Values[PressurePa]) > 0.051 || math.Abs(sc.values[1]-m.Values[LongitudeDeg]) > 1e-7 {
				t.Fatalf("%+v is written %q and read as %+v %v", m, b, got, sc.values)
			}
		})
	}
}

// TestCarriedFrames: a frame in a field of a line or of a document is decoded by a
// layout of its own, beside what the other fields say.
func TestCarriedFrames(t *testing.T) {
	lark := unhex(t, "0107039C01AA50000066480F006608AC0F4C04030000")
	p := builtin(t, "lark-bin")
	m := Message{Rocket: 7, Boot: 3, Seq: 412, Clock: 100e3, Values: map[string]float64{PressurePa: 100129.4, CellV: 4.012}}
	lark, err := p.Encode(lark[:0], m)
	if err != nil {
		t.Fatal(err)
	}
	want := "0.1s rssi_dbm=-87 snr_db=9.5 pressure_pa=100129.4 cell_v=4.012 release_on=0 armed=0"
	for _, c := range []struct{ name, layout, frame, want string }{
		{"hex in a line of a radio module", `
form = "delimited"
prefix = "+RX="
fields = [ { name = "size", ignore = true }, { name = "payload", frame = "hex" }, { name = "rssi_dbm" }, { name = "snr_db" } ]`,
			fmt.Sprintf("+RX=%d,%X,-87,9.5", len(lark), lark), want},
		{"hex with spaces in a column", `
form = "delimited"
separator = ";"
fields = [ { name = "rssi_dbm", column = 3 }, { name = "snr_db", column = 4 }, { name = "payload", column = 2, frame = "hex" } ]`,
			fmt.Sprintf("x;% x;-87;9.5", lark), want},
		{"base64 in JSON", `
form = "json"
fields = [ { name = "rssi_dbm", path = "/rx/rssi" }, { name = "snr_db", path = "/rx/snr" }, { name = "payload", path = "/data", frame = "base64" } ]`,
			fmt.Sprintf(`{"rx":{"rssi":-87,"snr":9.5},"data":%q}`, base64.StdEncoding.EncodeToString(lark)), want},
		{"not hex", `
form = "delimited"
fields = [ { name = "payload", frame = "hex" } ]`, "0107zz", `corrupt: frame in a field: "0107zz" is not written in hex`},
		{"damaged", `
form = "delimited"
fields = [ { name = "payload", frame = "hex" } ]`, fmt.Sprintf("%X00", lark), "corrupt: checksum: byte 21 of the frame in payload: "},
		{"empty", `
form = "json"
fields = [ { name = "rssi_dbm", path = "/r" }, { name = "payload", path = "/data", frame = "base64" } ]`, `{"r":-80}`, "unknown: frame in a field: there is no frame in it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := station(t, "[[layout]]\nname = \"outer\"\nframing = \"line\"\ninner = \"lark-bin\"\n"+c.layout, "outer")
			got := outcome(d, 0, c.frame)
			if len(got) > len(c.want) && c.name == "damaged" {
				got = got[:len(c.want)]
			}
			if got != c.want {
				t.Errorf("%s\n got %s\nwant %s", c.frame, got, c.want)
			}
			b, err := d.links["pad"].programs[0].Encode(nil, m)
			if err != nil {
				t.Fatal(err)
			}
			if s := decodeOne(t, d, b); s.Seq != 412 || s.Rocket != "id-7" {
				t.Errorf("%q comes back as %+v", b, s)
			}
		})
	}
}

const kindsLayout = `[[layout]]
name = "board"
framing = "datagram"
form = "kinds"
kinds = ["fast", "slow"]
[[layout]]
name = "fast"
form = "binary"
fields = [ { name = "tag", type = "u8", only = 1, ignore = true }, { name = "seq", type = "u8" }, { name = "clock", type = "u16", unit = "ms" }, { name = "pressure_pa", type = "u32" } ]
[[layout]]
name = "slow"
form = "binary"
fields = [ { name = "tag", type = "u8", only = 2, ignore = true }, { name = "seq", type = "u8" }, { name = "clock", type = "u16", unit = "ms" }, { name = "cell_v", type = "u16", unit = "mV" }, { name = "temperature_c", type = "i8" } ]`

// TestJSONAllocations: a JSON frame of plain values allocates its sample's
// values and at most one thing more.
func TestJSONAllocations(t *testing.T) {
	d := station(t, jsonLayout, "gateway")
	f := []byte(`{"model":"teal","id":7,"t":100,"sensor":[{"p":1013.25},{"t":21.5}],"fired":true,"other":{"x":[1,2,3]}}`)
	i := 0
	got := testing.AllocsPerRun(100, func() {
		if _, err := d.Decode(frame("pad", i, time.Second, f)); err != nil {
			t.Fatal(err)
		}
		i++
	})
	if got > 2 {
		t.Errorf("%v allocations a frame", got)
	}
}

// TestKinds: frames of several kinds share one rocket, boot, sequence and clock.
func TestKinds(t *testing.T) {
	d := station(t, kindsLayout, "board")
	at, m := 0, NewMerger()
	send := func(b ...byte) Sample {
		at++
		s, err := d.Decode(frame("pad", at, time.Duration(at)*20*time.Millisecond, b))
		if err != nil {
			t.Fatal(err)
		}
		m.Add(s)
		return s
	}
	first := send(1, 250, 20, 0, 0xcd, 0x8b, 1, 0)
	diff(t, "channels", []string{PressurePa, CellV, TemperatureC}, first.Values.Names)
	var last Sample
	for i := 1; i <= 20; i++ {
		ms := 20 + 20*i
		if i%5 == 0 {
			last = send(2, byte(250+i), byte(ms), byte(ms>>8), 0xac, 0x0f, 0xf6)
			diff(t, "slow", map[string]float64{PressurePa: math.NaN(), CellV: 4.012, TemperatureC: -10}, values(last))
			continue
		}
		last = send(1, byte(250+i), byte(ms), byte(ms>>8), 0xcd, 0x8b, 1, 0)
		diff(t, "fast", map[string]float64{PressurePa: 101325, CellV: math.NaN(), TemperatureC: math.NaN()}, values(last))
	}
	if last.Boot != first.Boot || last.Seq != 270 || last.Clock != 420e3 {
		t.Errorf("boot %d seq %d clock %d, want %d 270 420000", last.Boot, last.Seq, last.Clock, first.Boot)
	}
	if l := m.Counts(); len(l) != 1 || l[0].Lost != 0 || l[0].Heard != 21 {
		t.Errorf("losses %+v", l)
	}
	if got := outcome(d, 99, "\x03x"); got != "unknown: not ours: it is none of the 2 kinds; of the last: not ours: 3 is not what the layout is for" {
		t.Errorf("a third kind: %s", got)
	}
}

// TestKindsThatCountAlone: each kind has numbers of its own; those of one count.
func TestKindsThatCountAlone(t *testing.T) {
	d := station(t, `[[layout]]
name = "board"
framing = "line"
form = "kinds"
kinds = ["air", "gps"]
seq_of = "air"
[[layout]]
name = "air"
form = "delimited"
prefix = "A,"
fields = [ { name = "seq" }, { name = "clock", unit = "ms" }, { name = "pressure_pa" } ]
[[layout]]
name = "gps"
form = "delimited"
prefix = "G,"
fields = [ { name = "seq" }, { name = "clock", unit = "ms" }, { name = "gps_altitude_m" } ]`, "board")
	m := NewMerger()
	for i, line := range []string{"A,1,100,101325", "G,900,150,212", "A,2,200,101300", "G,901,250,213", "A,4,400,101200"} {
		s, err := d.Decode(frame("pad", i, time.Duration(100+50*i)*time.Millisecond, []byte(line)))
		if err != nil {
			t.Fatal(err)
		}
		m.Add(s)
	}
	if l := m.Counts(); len(l) != 1 || l[0].Lost != 1 || l[0].Heard != 5 {
		t.Errorf("losses %+v", l)
	}
}

func TestKindsRefused(t *testing.T) {
	for _, c := range []struct{ kinds, want string }{
		{`kinds = []`, "name 1 to 32 layouts"},
		{`kinds = ["a", "x"]`, `there is no layout "x"`},
		{"kinds = [\"a\"]\nseq_of = \"b\"", "is not one of the kinds"},
		{`kinds = ["a", "b"]`, `clock in "b" has another unit`},
		{`kinds = ["board"]`, "does one carry itself?"},
	} {
		ls := layouts(t, "[[layout]]\nname = \"board\"\nframing = \"line\"\nform = \"kinds\"\n"+c.kinds+`
[[layout]]
name = "a"
form = "delimited"
fields = [ { name = "clock", unit = "ms" } ]
[[layout]]
name = "b"
form = "delimited"
fields = [ { name = "clock", unit = "us" } ]`)
		if _, err := Compile(ls[0], ls); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.kinds, err, c.want)
		}
	}
}
