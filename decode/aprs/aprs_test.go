package aprs

import (
	"math"
	"testing"
)

func near(a, b, by float64) bool { return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= by }

// TestPositions has the examples of the APRS Protocol Reference 1.0.1, chapters 6
// to 10 (from memory).
func TestPositions(t *testing.T) {
	nan := math.NaN()
	const lat, lon = 49 + 3.5/60, -(72 + 1.75/60)
	for _, c := range []struct {
		info                                         string
		lat, lon, altFt, course, speedKn, time, past float64
		comment                                      string
	}{
		{"!4903.50N/07201.75W-Test 001234", lat, lon, nan, nan, nan, nan, 1e-9, "Test 001234"},
		{"!4903.50N/07201.75W-Test /A=001234", lat, lon, 1234, nan, nan, nan, 1e-9, "Test /A=001234"},
		{"!49  .  N/072  .  W-", 49.5, -72.5, nan, nan, nan, nan, 1e-3, ""},
		{"=4903.50N/07201.75W-Test", lat, lon, nan, nan, nan, nan, 1e-9, "Test"},
		{"/092345z4903.50N/07201.75W>Test1234", lat, lon, nan, nan, nan, nan, 1e-9, "Test1234"},
		{"@092345/4903.50N/07201.75W>Test1234", lat, lon, nan, nan, nan, nan, 1e-9, "Test1234"},
		{"/234517h4903.50N/07201.75W>PHG5132", lat, lon, nan, nan, nan, 23*3600 + 45*60 + 17, 1e-9, "PHG5132"},
		{"@092345/4903.50N/07201.75W>088/036", lat, lon, nan, 88, 36, nan, 1e-9, ""},
		{"/092345z4903.50N/07201.75W>088/036/A=001234", lat, lon, 1234, 88, 36, nan, 1e-9, ""},
		// Compressed: 49.5 N 72.75 W; course 88, speed 36.2 kn; 10004 ft; range.
		{"=/5L!!<*e7> sTComment", 49.5, -72.75, nan, nan, nan, nan, 1e-5, "Comment"},
		{"=/5L!!<*e7>7P[", 49.5, -72.75, nan, 88, 36.2, nan, 1e-5, ""},
		{"=/5L!!<*e7OS]S", 49.5, -72.75, 10004, nan, nan, nan, 1e-5, ""},
		{"=/5L!!<*e7>{?!", 49.5, -72.75, nan, nan, nan, nan, 1e-5, ""},
		{"@092345z/5L!!<*e7>{?!", 49.5, -72.75, nan, nan, nan, nan, 1e-5, ""},
	} {
		var r Report
		if err := Read("APRS", []byte(c.info), &r); err != nil {
			t.Errorf("%s: byte %d: %v", c.info, err.Offset, err)
			continue
		}
		if !near(r.LatitudeDeg, c.lat, c.past) || !near(r.LongitudeDeg, c.lon, c.past) || !near(r.AltitudeM/0.3048, c.altFt, 1) ||
			!near(r.CourseDeg, c.course, 1e-9) || !near(r.SpeedMps*3600/1852, c.speedKn, 0.05) || !near(r.TimeS, c.time, 1e-9) || string(r.Comment) != c.comment {
			t.Errorf("%s gives %+v comment %q, want %+v", c.info, r, r.Comment, c)
		}
	}
}

// TestMicE has the examples of chapter 10 (from memory): 33 deg 25.64' N in the
// destination, 12 deg 7.74' W (112 with the offset), 20 kn towards 251 deg, 61 m.
func TestMicE(t *testing.T) {
	for _, c := range []struct {
		to, info     string
		lat, lon, al float64
	}{
		{"S32U6T", "`(_fn\"Oj/", 33 + 25.64/60, -(12 + 7.74/60), math.NaN()},
		{"S32UVT", "`(_fn\"Oj/", 33 + 25.64/60, -(112 + 7.74/60), math.NaN()},
		{"332UV4", "`(_fn\"Oj/\"4T}", 33 + 25.64/60, 112 + 7.74/60, 61},
		{"3325V4", "'(_fn\"Oj/]\"4T}on the way", -(33 + 25.64/60), 112 + 7.74/60, 61},
	} {
		var r Report
		if err := Read(c.to, []byte(c.info), &r); err != nil {
			t.Errorf("%s %s: %v", c.to, c.info, err)
			continue
		}
		if !near(r.LatitudeDeg, c.lat, 1e-9) || !near(r.LongitudeDeg, c.lon, 1e-9) || !near(r.AltitudeM, c.al, 1e-9) ||
			!near(r.CourseDeg, 251, 1e-9) || !near(r.SpeedMps*3600/1852, 20, 1e-9) {
			t.Errorf("%s %s gives %+v", c.to, c.info, r)
		}
	}
}

// TestTelemetry has the examples of chapter 13 (from memory).
func TestTelemetry(t *testing.T) {
	var r Report
	if err := Read("APRS", []byte("T#005,199,000,255,073,123,01101001"), &r); err != nil {
		t.Fatal(err)
	}
	if r.Sequence != 5 || r.Analog != [5]float64{199, 0, 255, 73, 123} || r.Bits != [8]float64{0, 1, 1, 0, 1, 0, 0, 1} {
		t.Errorf("%+v", r)
	}
	if err := Read("APRS", []byte("T#MIC,199,000,255,073,123,01101001 up"), &r); err != nil || !math.IsNaN(r.Sequence) || string(r.Comment) != " up" {
		t.Errorf("%v %+v", err, r)
	}
	if err := Read("APRS", []byte("T#7,12.5,,-3"), &r); err != nil || r.Analog[0] != 12.5 || !math.IsNaN(r.Analog[1]) || r.Analog[2] != -3 {
		t.Errorf("%v %+v", err, r)
	}
	d, ok, bad := ReadDefinition([]byte(":N0QBF-11 :EQNS.0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18,1,2,3"))
	if !ok || bad != nil || d.Of != "N0QBF-11" || d.Poly != [5][3]float64{{0, 5.2, 0}, {0, .53, -32}, {3, 4.39, 49}, {-32, 3, 18}, {1, 2, 3}} {
		t.Errorf("%v %v %+v", ok, bad, d)
	}
	d, ok, bad = ReadDefinition([]byte(":N0QBF-11 :PARM.Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV"))
	if !ok || bad != nil || len(d.Names) != 10 || d.Names[3] != "Pres" {
		t.Errorf("%v %v %+v", ok, bad, d)
	}
	d, ok, bad = ReadDefinition([]byte(":N0QBF-11 :BITS.10110000,N0QBF's Big Balloon"))
	if !ok || bad != nil || d.Sense != [8]bool{true, false, true, true} {
		t.Errorf("%v %v %+v", ok, bad, d)
	}
	if _, ok, _ := ReadDefinition([]byte(":N0QBF-11 :Hello.there, friend")); ok {
		t.Error("a message to a person is taken for a definition")
	}
}

// TestRefused: each refusal names the byte and what is wrong there.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		info string
		at   int
		what string
	}{
		{">on the pad", 0, `">on the pad" is no report of a position or of telemetry`},
		{"!4903.50N/07201.75", 18, "it ends within its position"},
		{"!4963.50N/07201.75W-", 1, "its latitude is not written ddmm.hhN"},
		{"!4903.50N/07201.75X-", 18, "its longitude is not written dddmm.hhW"},
		{"/096145h4903.50N/07201.75W>", 1, "there is no such time of the day"},
		{"=/5L!~<*e7> sT", 5, "its position has a character there that no number in base 91 has"},
		{"T#005,199,x", 10, `"x" is no number`},
		{"T#005,1,2,3,4,5,0110", 16, `"0110" is not eight bits`},
		{"T#005", 5, "it ends before its first value"},
	} {
		var r Report
		if err := Read("APRS", []byte(c.info), &r); err == nil || err.Offset != c.at || err.What != c.what {
			t.Errorf("%s: %+v, want byte %d: %s", c.info, err, c.at, c.what)
		}
	}
}

// FuzzRead: any bytes end in a report with what can be, or in a refusal within them.
func FuzzRead(f *testing.F) {
	for _, s := range []string{"!4903.50N/07201.75W-Test /A=001234", "=/5L!!<*e7OS]S", "`(_fn\"Oj/\"4T}", "T#005,199,000,255,073,123,01101001",
		"/234517h49  .  N/072  .  W>088/036", ":N0QBF-11 :EQNS.0,5.2,0,0,.53,-32", ":N0QBF-11 :BITS.10110000,x"} {
		f.Add("S32UVT", []byte(s))
	}
	f.Fuzz(func(t *testing.T, to string, b []byte) {
		var r Report
		if err := Read(to, b, &r); err != nil {
			if err.Offset < 0 || err.Offset > len(b) || err.What == "" {
				t.Fatalf("%+v of %d bytes", err, len(b))
			}
		} else if math.Abs(r.LatitudeDeg) > 90 || math.Abs(r.LongitudeDeg) > 180 || r.CourseDeg < 0 || r.CourseDeg > 360 || r.SpeedMps < 0 || r.TimeS >= 86400 {
			t.Fatalf("%q gives %+v", b, r)
		}
		if d, ok, _ := ReadDefinition(b); ok && (len(d.Names) > 13 || len(d.Of) > 9) {
			t.Fatalf("%q gives %+v", b, d)
		}
	})
}
