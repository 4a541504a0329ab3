package decode

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// fuzzLayout runs bytes through a decoder of one layout and checks what must
// hold for any bytes: a reject says where within the frame; a sample has as
// many values as names, finite or missing, no negative counters; the frame is
// not written to; and the same bytes give the same outcome again.
func fuzzLayout(f *testing.F, text, layout string) {
	cfg := Config{Links: []LinkLayouts{{Link: "pad", Layouts: []string{layout}, Rocket: "Teal"}}, Layouts: layouts(f, text)}
	made, err := New(cfg)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		before := bytes.Clone(b)
		var first string
		for range 2 {
			d := fresh(made)
			s, err := d.Decode(frame("pad", 1, time.Second, b))
			if !bytes.Equal(b, before) {
				t.Fatal("the frame was written to")
			}
			outcome := ""
			if err != nil {
				outcome = err.Error()
				checkReject(t, err, len(b))
			} else {
				outcome = checkSample(t, s)
			}
			if first != "" && first != outcome {
				t.Fatalf("%s, then %s", first, outcome)
			}
			first = outcome
		}
	})
}

// fresh is a decoder of the same configuration that has heard nothing.
func fresh(d *Decoder) *Decoder {
	links := map[string]*link{}
	for name, l := range d.links { // a link learns what its frames say of others
		one := *l
		one.programs, one.scratch = slices.Clone(l.programs), nil
		for _, p := range one.programs {
			one.scratch = append(one.scratch, newScratch(p))
		}
		links[name] = &one
	}
	return &Decoder{links: links, names: d.names, ids: d.ids, guests: NewGuests(MaxGuests), byID: map[uint32]*rocket{}, byName: map[string]*rocket{}}
}

func checkReject(t *testing.T, err error, n int) {
	var r *Reject
	if !errors.As(err, &r) || r.Kind != Corrupt && r.Kind != Unknown && r.Kind != Heading || r.Reason == "" || r.Detail == "" {
		t.Fatalf("%v", err)
	}
	if r.Offset < -1 || r.Offset > n {
		t.Fatalf("%v: byte %d of %d", err, r.Offset, n)
	}
}

func checkSample(t *testing.T, s Sample) string {
	if len(s.Values.Names) != len(s.Values.Values) || s.Seq < -1 || s.Clock < -1 || s.Rocket == "" {
		t.Fatalf("%+v", s)
	}
	for i, v := range s.Values.Values {
		if m := meaningOf(s.Values.Names[i]); !math.IsNaN(v) && !m.holds(v) {
			t.Fatalf("%s = %v, outside %v", s.Values.Names[i], v, m)
		}
	}
	out, err := s.Values.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	return s.Rocket + string(out)
}

func FuzzDelimited(f *testing.F) {
	for _, s := range []string{"T:PAD;1000;1;", "T:FLY;--;nan;x", "T:LOG;1;1;", "", "T:", "T:PAD;1e308;1e308;", ";;;;;;;"} {
		f.Add([]byte(s))
	}
	fuzzLayout(f, mixedLayout, "words")
}

// FuzzDelimitedChecked has a checksum in hex and fields between spaces.
func FuzzDelimitedChecked(f *testing.F) {
	f.Add([]byte("1 2 3 N*0000"))
	f.Add([]byte("7 40 100129 4807.5 S 1F#7E12"))
	fuzzLayout(f, `[[layout]]
name = "spaced"
framing = "line"
form = "delimited"
separator = "space"
checksum = { kind = "sum8", mark = "#" }
fields = [ { name = "rocket" }, { name = "seq" }, { name = "pressure_pa" }, { name = "latitude_deg", unit = "ddmm.mmmm" }, { name = "north", sign_of = "latitude_deg" }, { name = "flags", type = "hex", flags = { armed = 4 } } ]`, "spaced")
}

func FuzzNMEA(f *testing.F) {
	for _, s := range []string{
		"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
		"$GPGGA,195959.00,1813.38282955,N,12606.12767097,E,2,07,1.4,17.2,M,36.5,M,4.0,0129*78",
		"$GPGGA*56", "$GPGGA,*7A", "$", "$*00", "!", "$GPGGA", "$GPHDT,228.02,T*0F",
	} {
		f.Add([]byte(s))
	}
	fuzzLayout(f, ggaLayout, "gps")
}

func FuzzBinary(f *testing.F) {
	f.Add([]byte{2, 0x10, 0x27, 0x64, 0, 0})
	f.Add([]byte{2, 0x10, 0x27})
	f.Add([]byte{})
	fuzzLayout(f, `[[layout]]
name = "every"
framing = "cobs"
form = "binary"
fields = [
  { name = "seq", type = "u64" }, { name = "clock", type = "u24", unit = "us", scale = 1.024 },
  { name = "pressure_pa", type = "f32", unit = "hPa" }, { name = "accel_mps2", type = "f64", unit = "g", poly = [1, 2, 3] },
  { name = "a", type = "i24", endian = "big" }, { name = "b", type = "i64", bit = 3, bits = 60 },
  { name = "flags", type = "u64", flags = { armed = 52 } }, { name = "boot", type = "u64" },
]`, "every")
}

func FuzzAX25(f *testing.F) {
	for _, s := range []string{
		"82A0AA646A9C60AC9668A88A8660A48A9882B24060AE92888A40406103F00D",
		"82A0A4A64040E09C60868298987703F03E54455354", "9C946EA04040E09C6E988A9A406103F0",
	} {
		f.Add(unhex(f, s))
	}
	fuzzLayout(f, ax25Layout, "tnc")
}

func FuzzSpacePacket(f *testing.F) {
	for _, s := range []string{"0123C02A000301020304", "1810C001000301020304", "07FFC000000000", "0123C02AFFFF"} {
		f.Add(unhex(f, s))
	}
	fuzzLayout(f, packetLayout, "packet")
}

func FuzzLarkBin(f *testing.F) {
	f.Add(unhex(f, "0107039C01AA50000066480F006608AC0F4C04030000"))
	fuzzLayout(f, "", "lark-bin")
}

// FuzzLayout reads layouts as a user may write them: none may make the
// compiler or the decoder fail, and what compiles must survive any frame.
func FuzzLayout(f *testing.F) {
	for _, s := range []string{string(builtinText), mixedLayout, ggaLayout, ax25Layout, packetLayout, rawLayout, shortLayout, jsonLayout, kindsLayout, aprsLayout, streamLayout} {
		f.Add(s, []byte("$PLRK,7,3,412,20650,100129.4,2150,4012,1100,2*09"))
	}
	f.Fuzz(func(t *testing.T, text string, b []byte) {
		var file struct {
			Layout []Layout `toml:"layout"`
		}
		if toml.NewDecoder(strings.NewReader(text)).Decode(&file) != nil || len(file.Layout) > 8 {
			return
		}
		for _, l := range file.Layout {
			p, err := Compile(l, file.Layout)
			if err != nil {
				continue
			}
			m := ident{}
			sc := newScratch(p)
			if p.parse(b, 0, sc, &m) == nil {
				_ = p.fill(m.rocket, sc)
			}
			if e, err := p.Encode(nil, Message{Rocket: 7, Values: map[string]float64{PressurePa: 1e5, TemperatureC: 20}}); err == nil {
				_ = p.parse(e, 0, sc, &m)
			}
		}
	})
}

// FuzzFollow feeds a board's counters at random: whatever they do, boots only
// rise by steps, memory stays bounded, and at does not fall back within a boot
// while the clock rises.
func FuzzFollow(f *testing.F) {
	f.Add([]byte("\x01\x02\x00\x05\x00\x01\x03\x00\x06\x00\x01\x00\x00\x00\x00"))
	p := compileNamed(f, shortLayout, "short")
	cfg := Config{Layouts: layouts(f, shortLayout), Links: []LinkLayouts{{Link: "pad", Layouts: []string{"short"}}}}
	made, err := New(cfg)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		d := fresh(made)
		mono := time.Duration(0)
		last := map[uint32]Sample{}
		for n := 0; len(b) >= 5; n++ {
			mono += time.Duration(b[0]) * time.Duration(b[0]) * time.Millisecond
			msg, err := p.Encode(nil, Message{Rocket: 1, Seq: int64(b[1]), Clock: 1000 * int64(uint32(b[2])|uint32(b[3])<<8)})
			if err != nil {
				t.Fatal(err)
			}
			b = b[5:]
			s, err := d.Decode(frame("pad", n, mono, msg))
			if err != nil {
				t.Fatal(err)
			}
			if before, ok := last[s.Boot]; ok && s.Clock > before.Clock && s.At.Before(before.At) {
				t.Fatalf("at falls back: %+v then %+v", before, s)
			}
			if before, ok := last[s.Boot]; !ok || s.Clock > before.Clock {
				last[s.Boot] = s
			}
			if st := d.rockets[0].streams[0]; len(st.tracks) > maxTracks {
				t.Fatalf("%d tracks", len(st.tracks))
			}
		}
	})
}
