package deploy

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/influx"
	"padlark/storage/influx/influxtest"
	"padlark/storage/sqlite"
)

// dashboard is the part of a dashboard's file that the test needs.
type dashboard struct {
	Title      string
	Templating struct {
		List []struct{ Name, Query string }
	}
	Panels []struct {
		Title   string
		Targets []struct{ Query string }
	}
}

func readDashboards(t *testing.T) []dashboard {
	t.Helper()
	files, err := filepath.Glob("dashboards/*.json")
	if err != nil || len(files) != 4 {
		t.Fatalf("dashboards: %v %v", files, err)
	}
	var out []dashboard
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var d dashboard
		if err := json.Unmarshal(data, &d); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		out = append(out, d)
	}
	return out
}

// row is one row of an answer, by column.
type row map[string]any

// TestDashboards: a station hears the demo and sends it; the server then holds
// what the archive holds, sending it again changes nothing, and every query of
// every dashboard gives rows with the numbers of "padlark flights --json".
func TestDashboards(t *testing.T) {
	d := newDemo(t, influxtest.Influx(t, true))
	t.Run("value by value", d.sameAsArchive)
	t.Run("backfill twice", d.backfillTwice)

	d.addSignal(t)
	client := influxdb2.NewClient(d.server.URL, d.server.Token())
	defer client.Close()
	ask := func(t *testing.T, query string) []row { return flux(t, client, fill(query, d.server.Database)) }
	answers := map[string][]row{}
	for _, dash := range readDashboards(t) {
		for _, v := range dash.Templating.List {
			t.Run(dash.Title+"/"+v.Name, func(t *testing.T) {
				if got := ask(t, v.Query); len(got) == 0 {
					t.Errorf("no values for the choice %s", v.Name)
				}
			})
		}
		for _, p := range dash.Panels {
			t.Run(dash.Title+"/"+p.Title, func(t *testing.T) {
				if len(p.Targets) == 0 {
					t.Fatal("no query")
				}
				for _, target := range p.Targets {
					got := ask(t, target.Query)
					if len(got) == 0 {
						t.Errorf("no rows from\n%s", target.Query)
					}
					answers[p.Title] = got
				}
			})
		}
	}
	if !t.Failed() {
		t.Run("numbers", func(t *testing.T) { d.checkNumbers(t, answers) })
	}
}

// TestStationOnInfluxDB2: the station and the backfill with the server that
// docker-compose.yml has, set up as its container does it. The queries of the
// dashboards run in the test above, in an older version of their language.
func TestStationOnInfluxDB2(t *testing.T) {
	d := newDemo(t, influxtest.Influx2(t))
	t.Run("value by value", d.sameAsArchive)
	t.Run("backfill twice", d.backfillTwice)
}

// addSignal sends one sample more: the demo's receivers do not measure the
// signal, a real one does.
func (d *demo) addSignal(t *testing.T) {
	t.Helper()
	client := influxdb2.NewClient(d.server.URL, d.server.Token())
	defer client.Close()
	rssi := -71.5
	line := influx.AppendSample(nil, "north-field", &decode.Sample{Session: "other", Link: "pad-radio", N: 1, Rocket: "Teal",
		At: time.Date(2026, 6, 13, 8, 0, 0, 0, time.UTC), RSSI: &rssi})
	if err := client.WriteAPIBlocking("", d.server.Database).WriteRecord(t.Context(), string(line)); err != nil {
		t.Fatal(err)
	}
}

// fill puts values for the dashboard server's variables, as it does itself: all
// sessions, rockets and links, and the day of the demo.
func fill(query, bucket string) string {
	return strings.NewReplacer(
		"v.defaultBucket", fmt.Sprintf("%q", bucket),
		"v.timeRangeStart", "2026-06-13T00:00:00Z", "v.timeRangeStop", "2026-06-14T00:00:00Z",
		"v.windowPeriod", "1s",
		"${session:regex}", ".*", "${rocket:regex}", ".*", "${link:regex}", ".*",
	).Replace(query)
}

func flux(t *testing.T, client influxdb2.Client, query string) []row {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	res, err := client.QueryAPI("").Query(ctx, query)
	if err != nil {
		t.Fatalf("%v\n%s", err, query)
	}
	defer res.Close() //nolint:errcheck // read to its end
	var out []row
	for res.Next() {
		out = append(out, res.Record().Values())
	}
	if res.Err() != nil {
		t.Fatalf("%v\n%s", res.Err(), query)
	}
	return out
}

// checkNumbers compares the answers with the program's own results.
func (d *demo) checkNumbers(t *testing.T, answers map[string][]row) {
	for _, table := range []string{"Flights", "Flights of this rocket", "All flights", "Frames lost in flight"} {
		rows := answers[table]
		if len(rows) != len(d.flights) {
			t.Errorf("%s: %d rows, %d flights", table, len(rows), len(d.flights))
		}
		for _, r := range rows {
			if diff := d.differs(r); diff != "" {
				t.Errorf("%s: %s", table, diff)
			}
		}
	}
	best := func(q func(*flight.Result) *float64, rocket string) float64 {
		most := math.Inf(-1)
		for i := range d.flights {
			if v := q(&d.flights[i]); v != nil && (rocket == "" || d.flights[i].Rocket == rocket) {
				most = max(most, *v)
			}
		}
		return most
	}
	apogee := func(r *flight.Result) *float64 { return r.ApogeeM }
	speed := func(r *flight.Result) *float64 { return r.MaxSpeedMps }
	descent := func(r *flight.Result) *float64 { return r.DescentMps }
	lag := func(r *flight.Result) *float64 { return r.ReleaseLagS }
	for panel, q := range map[string]func(*flight.Result) *float64{
		"Best heights": apogee, "Best speeds": speed, "Height of each flight": apogee, "Descent rate of each flight": descent,
		"Highest": apogee, "Fastest": speed, "Slowest release": lag,
	} {
		for _, r := range answers[panel] {
			rocket, _ := r["rocket"].(string)
			if want := best(q, rocket); r["_value"] != want {
				t.Errorf("%s: %v %v, want %v", panel, rocket, r["_value"], want)
			}
		}
	}
	if got := answers["Signal at the receiver"]; len(got) != 1 || got[0]["_value"] != -71.5 {
		t.Errorf("signal: %v", got)
	}
	if got := answers["Flights flown"]; len(got) != 1 || got[0]["_value"] != int64(len(d.flights)) {
		t.Errorf("flights flown: %v", got)
	}
	total := int64(0)
	for _, r := range answers["Number of flights"] {
		total += r["_value"].(int64)
	}
	if total != int64(len(d.flights)) {
		t.Errorf("%d flights by rocket, want %d", total, len(d.flights))
	}
}

// differs compares one row about a flight with its result: every column that
// both have, by the names of the JSON.
func (d *demo) differs(r row) string {
	for _, f := range d.flights {
		if f.Session != r["session"] || (r["rocket"] != nil && f.Rocket != r["rocket"]) || int64(f.Flight) != r["flight"] {
			continue
		}
		if r["rocket"] == nil && f.ApogeeM != nil && r["apogee_m"] != *f.ApogeeM {
			continue // a table without the rocket's name: found by its height
		}
		data, err := json.Marshal(f)
		if err != nil {
			return err.Error()
		}
		var want map[string]any
		if err := json.Unmarshal(data, &want); err != nil {
			return err.Error()
		}
		n := 0
		for k, v := range want {
			got, ok := r[k]
			if !ok {
				continue
			}
			switch x := got.(type) {
			case int64:
				got = float64(x)
			case string:
				if list, ok := v.([]any); ok {
					v = strings.Trim(fmt.Sprint(list), "[]")
					got = strings.ReplaceAll(x, ", ", " ")
				}
			}
			if list, ok := v.([]any); ok && len(list) == 0 {
				v = nil
			}
			if got != v {
				return fmt.Sprintf("%s %d: %s is %v, flights --json has %v", f.Rocket, f.Flight, k, got, v)
			}
			n++
		}
		if n < 4 {
			return fmt.Sprintf("only %d columns to compare", n)
		}
		return ""
	}
	return fmt.Sprintf("no such flight: %v", r)
}

// sameAsArchive compares every sample of the session, value by value.
func (d *demo) sameAsArchive(t *testing.T) {
	a, err := sqlite.OpenReadOnly(filepath.Join(d.data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	type key struct {
		rocket, link string
		n            json.Number
	}
	have := map[key]map[string]any{}
	rows := d.server.InfluxQL(d.server.Database, "SELECT * FROM sample")
	for _, r := range rows {
		have[key{r["rocket"].(string), r["link"].(string), r["n"].(json.Number)}] = r
	}
	samples, values := 0, 0
	err = a.Samples(t.Context(), storage.Query{Session: d.session}, func(m *decode.Sample) error {
		samples++
		r := have[key{m.Rocket, m.Link, json.Number(fmt.Sprint(m.N))}]
		if r == nil {
			return fmt.Errorf("frame %d of %s is not on the server", m.N, m.Link)
		}
		if ns, err := r["time"].(json.Number).Int64(); err != nil || ns/1000 != m.At.UnixMicro() {
			return fmt.Errorf("frame %d of %s: time %v, archive has %d", m.N, m.Link, r["time"], m.At.UnixNano())
		}
		for _, name := range m.Values.Names {
			want, ok := m.Values.Get(name)
			got, has := r[name].(json.Number)
			if ok != has {
				return fmt.Errorf("frame %d of %s: %s is %v, archive has %v", m.N, m.Link, name, r[name], want)
			}
			if f, err := got.Float64(); ok && (err != nil || f != want) {
				return fmt.Errorf("frame %d of %s: %s is %v, archive has %v", m.N, m.Link, name, got, want)
			}
			values++
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if samples != len(rows) || len(have) != len(rows) {
		t.Errorf("server has %d samples (%d different), archive %d", len(rows), len(have), samples)
	}
	t.Logf("%d samples, %d values alike", samples, values)
}

// backfillTwice sends the session twice more: nothing changes on the server.
func (d *demo) backfillTwice(t *testing.T) {
	count := func() map[string]int {
		return map[string]int{"sample": d.server.Count("sample", "n"), "event": d.server.Count("event", "flight"),
			"alarm": d.server.Count("alarm", "change"), "flight": d.server.Count("flight", "frames"), "link": d.server.Count("link", "frames")}
	}
	before := count()
	for range 2 {
		do(t, d.bin, "storage", "backfill", d.session, "--config", d.config)
		if after := count(); !reflect.DeepEqual(before, after) {
			t.Errorf("before %v, after %v", before, after)
		}
	}
	if before["flight"] != len(d.flights) || before["link"] == 0 || before["event"] == 0 {
		t.Errorf("by the stream alone: %v", before)
	}
}
