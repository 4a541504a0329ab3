package decode

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// A value beyond what its channel can mean is missing in the sample, its field
// is named, and what else the frame says is kept.
func TestRefusedValues(t *testing.T) {
	plain := `
[[layout]]
name = "plain"
framing = "line"
form = "delimited"
fields = [
  { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa" }, { name = "temperature_c" },
  { name = "latitude_deg" }, { name = "cell_v", poly = [0.0, 1e300, 1e300] }, { name = "count" },
]
[[layout]]
name = "wide"
framing = "datagram"
form = "binary"
fields = [ { name = "altitude_m", type = "f64" }, { name = "speed_mps", type = "f32" } ]
`
	made, err := New(Config{Layouts: layouts(t, plain), Links: []LinkLayouts{
		{Link: "pad", Layouts: []string{"plain"}, Rocket: "Teal"}, {Link: "wide", Layouts: []string{"wide"}, Rocket: "Teal"},
		{Link: "lark", Layouts: []string{"lark-text"}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	line := func(text string) string {
		var sum byte
		for i := 1; i < len(text); i++ {
			sum ^= text[i]
		}
		return fmt.Sprintf("%s*%02X", text, sum)
	}
	for _, c := range []struct {
		name, link, text string
		field            string
		kept             string // a channel that is kept
	}{
		{"a temperature of 1e308, with the right checksum", "lark", line("$PLRK,100,1,1,1000,101325,1e308,4000,1000,0"), "temperature_c", PressurePa},
		{"below absolute zero", "pad", "1,1013,-274,0,0,0", "temperature_c", PressurePa},
		{"above it", "pad", "2,1013,-273,0,0,0", "", TemperatureC},
		{"a pressure of 1e300 hPa", "pad", "3,1e300,20,0,0,0", "pressure_pa", TemperatureC},
		{"a pressure below none", "pad", "4,-1,20,0,0,0", "pressure_pa", TemperatureC},
		{"beyond the pole", "pad", "5,1013,20,90.1,0,0", "latitude_deg", TemperatureC},
		{"the pole", "pad", "6,1013,20,-90,0,0", "", LatitudeDeg},
		{"a calibration that runs over", "pad", "7,1013,20,0,1e9,0", "cell_v", TemperatureC},
		{"a plain number of 1e99", "pad", "8,1013,20,0,0,1e99", "count", TemperatureC},
		{"the first of several", "pad", "9,1e99,1e99,0,0,1e99", "pressure_pa", LatitudeDeg},
		{"an infinite height is only missing", "wide", "\x00\x00\x00\x00\x00\x00\xf0\x7f\x00\x00\x80\x3f", "", "speed_mps"},
		{"the largest height that 64 bits hold", "wide", "\xff\xff\xff\xff\xff\xff\xef\x7f\x00\x00\x80\x3f", "altitude_m", "speed_mps"},
		{"a height that is not a number is only missing", "wide", "\x00\x00\x00\x00\x00\x00\xf8\x7f\x00\x00\x80\x3f", "", "speed_mps"},
		{"the largest speed that 32 bits hold", "wide", "\x00\x00\x00\x00\x00\x00\xf0\x3f\xff\xff\x7f\x7f", "speed_mps", AltitudeM},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := fresh(made)
			s, err := d.Decode(frame(c.link, 1, time.Second, []byte(c.text)))
			if err != nil {
				t.Fatal(err)
			}
			field, v, ok := d.refused.field, d.refused.value, d.refused.field != ""
			if field != c.field || ok != (c.field != "") {
				t.Errorf("refused %q (%v), want %q", field, v, c.field)
			}
			if _, ok := s.Values.Get(c.kept); !ok {
				t.Errorf("%s is gone too: %+v", c.kept, s.Values)
			}
			if v, ok := s.Values.Get(c.field); ok || !math.IsNaN(v) {
				t.Errorf("%s = %v left the decoder", c.field, v)
			}
			// What the frame before had is not said of the next one.
			if _, err := d.Decode(frame(c.link, 2, 2*time.Second, []byte("nothing of the kind"))); err == nil {
				t.Fatal("that was decoded")
			}
			if field := d.refused.field; field != "" {
				t.Errorf("then %q is said of a frame that was rejected", field)
			}
		})
	}
}
