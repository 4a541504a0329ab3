package influx

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	protocol "github.com/influxdata/line-protocol"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
)

// The expected lines follow the InfluxDB documentation, "Line protocol", and the
// schema in the package's comment.
func TestLines(t *testing.T) {
	at := time.Unix(0, 1_900_000_000_123_456_789)
	for name, c := range map[string]struct {
		got  []byte
		want string
	}{
		"sample": {
			appendSample(nil, "north-field", &decode.Sample{
				Session: "s1", Link: "pad radio", N: 12_345, Rocket: "Teal", Boot: 2, Seq: 7, Clock: 1_500_000, At: at, RSSI: ptr(-61.5),
				Values: decode.Channels{Names: []string{"pressure_pa", "cell_v", "n", "_x"}, Values: []float64{101325.25, math.NaN(), 1, math.Inf(1)}},
			}, time.Second),
			`sample,link=pad\ radio,rocket=Teal,session=s1,station=north-field n=12345i,boot=2i,seq=7i,clock_us=1500000i,link_rssi_dbm=-61.5,pressure_pa=101325.25,channel_n=1 1900000001123456345`,
		},
		"sample of a board without clock and name": {
			appendSample(nil, "", &decode.Sample{Session: "s1", Link: "l", N: 1, Seq: -1, Clock: -1, At: at}, 0),
			`sample,link=l,session=s1 n=1i,boot=0i 1900000000123456001`,
		},
		"event": {
			appendEvent(nil, "f", &flight.Event{Session: "s1", ID: "Teal/1/apogee", Rocket: "Teal", Kind: flight.Apogee, Flight: 1,
				At: at, CalledAt: at.Add(250 * time.Millisecond), AltitudeM: ptr(74.5), Note: "a \"b\"\\\nc"}, 0),
			`event,kind=apogee,rocket=Teal,session=s1,station=f id="Teal/1/apogee",flight=1i,called_late_s=0.25,altitude_m=74.5,note="a \"b\"\\ c" 1900000000123456`,
		},
		"alarm of the station": {
			appendAlarm(nil, "f", &flight.Alarm{Session: "s1", ID: "x", Change: 1, Kind: alarm.ServerAway, Priority: flight.Know, Active: true, ChangedAt: at}, 0),
			`alarm,kind=server-away,session=s1,station=f id="x",change=1i,flight=0i,priority=3i,active=true,acked=false 1900000000123456`,
		},
		"flight": {
			appendFlight(nil, "f", &flight.Result{Session: "s1", Rocket: "Plum", Flight: 2, ApogeeAt: &at, ApogeeM: ptr(43.25), Frames: 9, Verdict: "good: landed", Alarms: []string{"silent", "losses"}}, at),
			`flight,rocket=Plum,session=s1,station=f flight=2i,apogee_at_ns=1900000000123456789i,apogee_m=43.25,frames=9i,lost_frames=0i,verdict="good: landed",alarms="silent, losses" 1900000000123456002`,
		},
		"link": {
			appendLink(nil, "f", "s1", linkCount{link: "l", frames: 10, rejects: map[string]uint64{"field count": 2, "checksum": 1}}, at),
			`link,link=l,session=s1,station=f frames=10i,rejects=3i,reject_checksum=1i,reject_field_count=2i 1900000000123456000`,
		},
	} {
		t.Run(name, func(t *testing.T) {
			got := strings.TrimSuffix(string(c.got), "\n")
			if strings.HasSuffix(c.want, "123456") { // a hash follows
				got = got[:len(c.want)]
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// TestReadBack: whatever the names and values, the line that is written is read
// by the server's own parser (the module line-protocol of the client library's
// makers) as one point with the same content.
func TestReadBack(t *testing.T) {
	clean := func(s string) string {
		return strings.Map(func(r rune) rune {
			if r < ' ' || r == '\\' || r == 0x7f {
				return '_'
			}
			return r
		}, s)
	}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringN(1, 20, 60)
		s := decode.Sample{
			Session: name.Draw(t, "session"), Link: name.Draw(t, "link"), Rocket: name.Draw(t, "rocket"),
			N: rapid.Uint64Range(0, 1<<40).Draw(t, "n"), Seq: -1, Clock: rapid.Int64Range(-1, 1<<50).Draw(t, "clock"),
			At: time.Unix(0, rapid.Int64Range(0, 1<<61).Draw(t, "at")),
		}
		names := rapid.SliceOfNDistinct(name, 0, 5, clean).Draw(t, "names")
		for _, n := range names {
			s.Values.Names = append(s.Values.Names, n)
			s.Values.Values = append(s.Values.Values, rapid.Float64().Draw(t, "value"))
		}
		got, err := protocol.NewParser(protocol.NewMetricHandler()).Parse(appendSample(nil, "f", &s, 0))
		if err != nil || len(got) != 1 {
			t.Fatalf("%d points, %v", len(got), err)
		}
		if ns := got[0].Time().UnixNano(); ns/1000 != s.At.UnixMicro() || ns%1000 != int64(s.N%1000) {
			t.Fatalf("time %d", ns)
		}
		tags, fields := map[string]string{}, map[string]any{}
		for _, x := range got[0].TagList() {
			tags[x.Key] = x.Value
		}
		for _, x := range got[0].FieldList() {
			fields[x.Key] = x.Value
		}
		wantTags := map[string]string{"session": clean(s.Session), "link": clean(s.Link), "rocket": clean(s.Rocket), "station": "f"}
		if diff := cmp.Diff(wantTags, tags); diff != "" {
			t.Fatal(diff)
		}
		want := map[string]any{"n": int64(s.N), "boot": int64(0)}
		if s.Clock >= 0 {
			want["clock_us"] = s.Clock
		}
		for i, n := range names {
			if v := s.Values.Values[i]; !math.IsInf(v, 0) && !math.IsNaN(v) {
				want[clean(fieldName(n))] = v
			}
		}
		if diff := cmp.Diff(want, fields); diff != "" {
			t.Fatal(diff)
		}
	})
}

// TestTwins: samples of one rocket with the same time stay apart, however the
// rest is alike.
func TestTwins(t *testing.T) {
	seen := map[string]bool{}
	for n := uint64(1); n <= 1000; n++ {
		s := testSample(testFrame("s1", "pad-radio", 1))
		s.N = n
		line := string(appendSample(nil, "f", &s, 0))
		seen[line[strings.LastIndexByte(line, ' '):]] = true
	}
	if len(seen) != 1000 {
		t.Errorf("1000 samples have %d times", len(seen))
	}
}
