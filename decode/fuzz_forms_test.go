package decode

import (
	"math"
	"testing"
)

func FuzzColumns(f *testing.F) {
	for _, s := range []string{"Zeit (s);Druck [hPa];Notiz", "0,25;998,75;ok", "\"1\";\"2\"", ";;;", "Zeit;Druck", "Druck;Zeit [V]"} {
		f.Add([]byte(s))
	}
	fuzzLayout(f, `[[layout]]
name = "log"
framing = "line"
form = "delimited"
separator = ";"
decimal = ","
prefix = ""
fields = [ { name = "pressure_pa", column = "Druck" }, { name = "clock", column = "Zeit" }, { name = "state", column = 3, words = { PAD = 0, FLY = 1 } } ]`, "log")
}

func FuzzPairs(f *testing.F) {
	for _, s := range []string{"t=10:15:30.250 p=1013.25", "t= p", "=", "p=1e400", "t=25:00:00"} {
		f.Add([]byte(s))
	}
	fuzzLayout(f, `[[layout]]
name = "pairs"
framing = "line"
form = "delimited"
separator = "space"
pairs = "="
fields = [ { name = "clock", unit = "hh:mm:ss", column = "t" }, { name = "pressure_pa", unit = "hPa", column = ["p", "press"] } ]`, "pairs")
}

func FuzzPlaces(f *testing.F) {
	f.Add([]byte("2022-10-29 13:08:13.298 103.2"))
	f.Add([]byte("   "))
	fuzzLayout(f, `[[layout]]
name = "places"
framing = "line"
form = "delimited"
separator = "none"
checksum = { kind = "sum8", mark = "#" }
fields = [ { name = "clock", unit = "yyyy-mm-dd hh:mm:ss", size = 23 }, { name = "altitude_m", at = 24, size = 6 } ]`, "places")
}

func FuzzJSONLayout(f *testing.F) {
	f.Add([]byte(`{"model":"teal","id":7,"t":100,"sensor":[{"p":1013.25},{"t":21.5}],"fired":true,"lat":4807.038,"ns":"S"}`))
	f.Add([]byte(`{"model":"teal","id":1e99,"t":-1}`))
	fuzzLayout(f, jsonLayout, "gateway")
}

func FuzzCBORLayout(f *testing.F) {
	f.Add([]byte("\xa2\x61t\x18d\x61p\xfb\x40\xf8\xbc\xd0\x00\x00\x00\x00"))
	fuzzLayout(f, `[[layout]]
name = "map"
framing = "datagram"
form = "cbor"
inner = "lark-bin"
fields = [ { name = "clock", unit = "ms", path = "/t" }, { name = "altitude_m", path = "/p" }, { name = "frame", path = "/f", frame = "bytes" } ]`, "map")
}

func FuzzMessagePackLayout(f *testing.F) {
	f.Add([]byte("\x82\xa1t\x64\xa1p\xca\x42\xca\x00\x00"))
	fuzzLayout(f, `[[layout]]
name = "map"
framing = "datagram"
form = "messagepack"
fields = [ { name = "clock", unit = "ms", path = "/t" }, { name = "altitude_m", path = "/p" } ]`, "map")
}

func FuzzCarried(f *testing.F) {
	f.Add([]byte("+RX=22,0107039C01AA50000066480F006608AC0F4C04030000,-87"))
	f.Add([]byte("+RX=2,0 1:zz,-87"))
	fuzzLayout(f, `[[layout]]
name = "module"
framing = "line"
form = "delimited"
prefix = "+RX="
inner = "lark-bin"
fields = [ { name = "size", ignore = true }, { name = "payload", frame = "hex" }, { name = "rssi_dbm" } ]`, "module")
}

func FuzzKinds(f *testing.F) {
	f.Add([]byte{1, 250, 20, 0, 0xcd, 0x8b, 1, 0})
	f.Add([]byte{2, 251, 40, 0, 0xac, 0x0f, 0xf6})
	fuzzLayout(f, kindsLayout, "board")
}

func FuzzAPRSLayout(f *testing.F) {
	for _, s := range []string{
		"N0CALL-11>APRS,WIDE1-1*:/000001h4903.50N/07201.75W>088/036/A=001234p=1013.25 x=1",
		"N0CALL-11>APRS:T#005,199,100,255,073,123,01101001", "N0CALL-11>APRS::N0CALL-11:EQNS.0,.02,0.1", "N0CALL-11>S32UVT:`(_fn\"Oj/\"4T}",
	} {
		f.Add([]byte(s))
	}
	fuzzLayout(f, aprsLayout, "tnc")
}

func FuzzTimeCodes(f *testing.F) {
	f.Add([]byte{0x61, 0xb5, 2, 0x25, 0x51, 0, 1, 0xf4, 0, 0, 0, 10, 0x80, 0})
	fuzzLayout(f, `[[layout]]
name = "times"
framing = "cobs"
form = "binary"
fields = [ { name = "clock", type = "cds-us" }, { name = "since_s", type = "cuc4.2" } ]`, "times")
}

// FuzzTimes: any text is a time within its bounds, or none.
func FuzzTimes(f *testing.F) {
	for _, s := range []string{"2022-10-29--13-08-13-298", "10:15:30.250", "1985-04-12T23:20:50.52Z", "12:08 pm", "20221029130813", "1-1-1 1:1+0"} {
		f.Add([]byte(s), byte(1))
	}
	f.Fuzz(func(t *testing.T, b []byte, format byte) {
		k := clockTime + textFormat(format%4)
		v, ok := readTime(b, k)
		if !ok {
			return
		}
		least, most := -62135596800.0-86400, 253402300800.0+86400
		if k == clockTime {
			least, most = 0, 86401
		}
		if math.IsNaN(v) || v < least || v > most {
			t.Fatalf("%q is %v", b, v)
		}
	})
}
