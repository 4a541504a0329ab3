package flight_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/track"
)

// recorded is a flight that others recorded with a board of their own. Times are
// in s since its first row, heights in m above its pad; what is true of it stands in
// SOURCES.md beside the files, found there from smoothed readings and from what the
// teams wrote. The temperature at the sites is not known: 1 to 4 % of a height.
type recorded struct {
	name    string
	comma   rune
	time, v int     // columns of the time and of the pressure or height
	timeS   float64 // unit of the time, s
	pa      float64 // unit of the pressure in Pa; 0 where it is a height
	apogeeS float64
	apogeeM float64
	withinS float64
	withinM float64
}

// recordings are those of openly licensed repositories.
// Of the water rocket the pressure errs by up to 65 m until 3.5 s, under thrust: when
// the top was is then known to a second only.
var recordings = []recorded{
	{name: "hermes-flight4", comma: ';', time: 0, v: 2, timeS: 1, pa: 100, apogeeS: 6.5, apogeeM: 134.4, withinS: 0.4, withinM: 6},
	{name: "orion-flight3", comma: ',', time: 0, v: 11, timeS: 1e-3, apogeeS: 4.2, apogeeM: 28, withinS: 1.0, withinM: 5},
	{name: "tokai-h57", comma: ',', time: 0, v: 4, timeS: 1, pa: 1, apogeeS: 9.35, apogeeM: 408, withinS: 0.5, withinM: 16},
	{name: "ncsu-jackpot3", comma: ',', time: 0, v: 2, timeS: 1, pa: 1, apogeeS: 21.1, apogeeM: 1110, withinS: 0.5, withinM: 45},
}

// TestRecordedFlightsLive: the apogee of flights that this project did not draw is
// called once, where it was, and no open parachute is called ballistic.
func TestRecordedFlightsLive(t *testing.T) {
	for _, r := range recordings {
		t.Run(r.name, func(t *testing.T) {
			samples := r.read(t)
			rocket := flight.Rocket{Name: "Teal"}
			if r.apogeeM > 300 {
				rocket.Kind = "solid"
			}
			tr := track.New(track.Config{Session: "s", Rocket: rocket})
			book, err := alarm.New(alarm.Config{Session: "s", Rockets: []flight.Rocket{rocket}})
			if err != nil {
				t.Fatal(err)
			}
			first := samples[0].At
			var tops []flight.Event
			for i := range samples {
				ev := tr.Sample(&samples[i])
				for _, e := range ev {
					t.Logf("%s at %.2f called %.2f %s %s", e.Kind, e.At.Sub(first).Seconds(), e.CalledAt.Sub(first).Seconds(), height(e), e.Note)
					if e.Kind == flight.Apogee {
						tops = append(tops, e)
					}
				}
				for _, a := range book.Sample(&samples[i], tr.State(), ev) {
					if a.Active && a.RaisedAt.Equal(a.ChangedAt) {
						t.Logf("   alarm at %.2f: %s", a.RaisedAt.Sub(first).Seconds(), a.Reason)
						if a.Kind == "ballistic" {
							t.Errorf("ballistic under a parachute: %s", a.Reason)
						}
					}
				}
			}
			if len(tops) != 1 {
				t.Fatalf("%d apogees, want 1", len(tops))
			}
			if at := tops[0].At.Sub(first).Seconds(); math.Abs(at-r.apogeeS) > r.withinS {
				t.Errorf("apogee at %.2f s, want %.2f ± %.2f", at, r.apogeeS, r.withinS)
			}
			if m := *tops[0].AltitudeM; math.Abs(m-r.apogeeM) > r.withinM {
				t.Errorf("apogee at %.1f m, want %.0f ± %.0f", m, r.apogeeM, r.withinM)
			}
		})
	}
}

func height(e flight.Event) string {
	if e.AltitudeM == nil {
		return ""
	}
	return strconv.FormatFloat(*e.AltitudeM, 'f', 1, 64) + " m"
}

// read makes samples of the file: in testdata/recorded, or, for those whose
// licence does not name the data, beside the repository.
func (r *recorded) read(t *testing.T) []decode.Sample {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "recorded", r.name+".csv"))
	if err != nil {
		text, err = os.ReadFile(filepath.Join("..", "..", "shared", "flights", r.name+".csv"))
	}
	if err != nil {
		t.Skipf("%s is not in ../shared/flights beside the repository, and its licence does not name the data: see testdata/recorded/SOURCES.md", r.name)
	}
	in := csv.NewReader(strings.NewReader(string(text)))
	in.Comma, in.FieldsPerRecord, in.LazyQuotes = r.comma, -1, true
	rows, err := in.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	epoch := time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)
	channel := decode.PressurePa
	if r.pa == 0 {
		channel = decode.AltitudeM
	}
	var out []decode.Sample
	var zero float64
	for _, row := range rows {
		if len(row) <= max(r.time, r.v) {
			continue
		}
		s, err1 := strconv.ParseFloat(strings.TrimSpace(row[r.time]), 64)
		x, err2 := strconv.ParseFloat(strings.TrimSpace(row[r.v]), 64)
		if err1 != nil || err2 != nil {
			continue
		}
		if len(out) == 0 {
			zero = s
		}
		if r.pa != 0 {
			x *= r.pa
		}
		at := epoch.Add(time.Duration((s - zero) * r.timeS * 1e9))
		out = append(out, decode.Sample{Session: "s", Link: "log", N: uint64(len(out) + 1), Rocket: "Teal", Seq: -1, Clock: -1, At: at, Heard: at,
			Passed: int64(at.Sub(epoch)), Values: decode.Channels{Names: []string{channel}, Values: []float64{x}}})
	}
	if len(out) < 100 {
		t.Fatalf("only %d rows read", len(out))
	}
	return out
}
