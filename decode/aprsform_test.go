package decode

import (
	"strings"
	"testing"
)

const aprsLayout = `[[layout]]
name = "tnc"
framing = "line"
form = "ax25"
sources = { "N0CALL-11" = 7, "N0CALL-12" = 8 }
inner = "report"
[[layout]]
name = "report"
form = "aprs"
inner = "rest"
fields = [
  { name = "clock", unit = "s", column = "time" },
  { name = "seq", column = "sequence", wrap_at = 1000 },
  { name = "latitude_deg", column = "latitude" },
  { name = "longitude_deg", column = "longitude" },
  { name = "gps_altitude_m", column = "altitude" },
  { name = "cell_v", column = "Vcell" },
  { name = "temperature_c", unit = "degF", column = "a2", scale = 0.5, offset = -32 },
  { name = "release_on", column = "b1" },
  { name = "comment", column = "comment", frame = "text" },
]
[[layout]]
name = "rest"
form = "delimited"
separator = "space"
pairs = "="
fields = [ { name = "pressure_pa", unit = "hPa", column = "p" } ]`

// TestAPRS reads what stations send in lines as programs print them. The position
// and the shape of the telemetry are those of the reference's examples, see package
// aprs.
func TestAPRS(t *testing.T) {
	d := station(t, aprsLayout, "tnc")
	for i, c := range [][2]string{
		{"N0CALL-11>APRS,WIDE1-1*:/000001h4903.50N/07201.75W>088/036/A=001234p=1013.25 x=1",
			"1s latitude_deg=49.0583333 longitude_deg=-72.0291667 gps_altitude_m=376.1232 pressure_pa=101325"},
		{"N0CALL-9>APRS:!4903.50N/07201.75W>", "unknown: not ours: sent by N0CALL-9"},
		{"N0CALL-11>APRS:>status", `unknown: not ours: ">status" is no report of a position or of telemetry`},
		{"* listening", `unknown: not ours: it does not begin as SOURCE>DESTINATION: does: "* listening"`},
	} {
		if got := outcome(d, i, c[0]); got != c[1] {
			t.Errorf("%s\n got %s\nwant %s", c[0], got, c[1])
		}
	}
}

// TestAPRSTelemetry: what a station says of its telemetry counts for its own alone,
// and not where the layout says it.
func TestAPRSTelemetry(t *testing.T) {
	text := strings.Replace(strings.Replace(aprsLayout, "inner = \"rest\"\n", "", 1), `  { name = "comment", column = "comment", frame = "text" },
`, "", 1)
	d := station(t, text, "tnc")
	for i, c := range [][2]string{
		{"N0CALL-11>APRS:T#005,199,100,255,073,123,01101001", "temperature_c=-7.77777778 release_on=0"},
		{"N0CALL-11>APRS::N0CALL-1:PARM.Vcell,Temp", "unknown: not ours"}, // an addressee has nine places
		{"N0CALL-11>APRS::N0CALL-11:PARM.Vcell,Temp", "heading: names of columns: what the telemetry of N0CALL-11 means (PARM)"},
		{"N0CALL-11>APRS::N0CALL-11:EQNS.0,.02,0.1,0,7,7", "heading: names of columns: what the telemetry of N0CALL-11 means (EQNS)"},
		{"N0CALL-11>APRS::N0CALL-11:BITS.01111111,Teal", "heading: names of columns: what the telemetry of N0CALL-11 means (BITS)"},
		{"N0CALL-12>APRS::N0CALL-11:EQNS.0,9,9", "unknown: not ours: what it says of the telemetry of N0CALL-11 comes from N0CALL-12"},
		{"N0CALL-11>APRS::N0CALL-11:EQNS.0,x", `corrupt: header: "x" is no number`},
		{"N0CALL-11>APRS:T#006,199,100,255,073,123,01101001", "cell_v=4.08 temperature_c=-7.77777778 release_on=1"},
		{"N0CALL-12>APRS:T#006,199,100,255,073,123,01101001", "temperature_c=-7.77777778 release_on=0"},
	} {
		if got := outcome(d, i, c[0]); !strings.HasPrefix(got, c[1]) {
			t.Errorf("%s\n got %s\nwant %s", c[0], got, c[1])
		}
	}
}

// TestBuiltinAPRS is the layout that nobody needs to write, over AX.25 as a TNC
// gives it.
func TestBuiltinAPRS(t *testing.T) {
	d := station(t, "", "aprs")
	header := unhex(t, "82A0A4A6404060 9C60868298986103F0")
	got := outcome(d, 0, string(header)+"!4903.50N/07201.75W>088/036/A=001234")
	if want := "latitude_deg=49.0583333 longitude_deg=-72.0291667 gps_altitude_m=376.1232 course_deg=88 ground_speed_mps=18.52"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestAPRSRefusals(t *testing.T) {
	for _, c := range []struct{ fields, want string }{
		{`{ name = "cell_v" }`, "write one of: latitude"},
		{`{ name = "cell_v", column = 3 }`, "write one of: latitude"},
		{`{ name = "note", column = "comment" }`, "the comment is text"},
		{`{ name = "seq", column = "a1" }`, "frames are counted by sequence only"},
	} {
		ls := layouts(t, "[[layout]]\nname = \"r\"\nform = \"aprs\"\nfields = [ "+c.fields+" ]")
		if _, err := Compile(ls[0], ls); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.fields, err, c.want)
		}
	}
}
