package export

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/storage"
)

// The file is read back with Apache Arrow's own implementation, which shares
// no code with the one that wrote it.
func TestParquetIsReadByArrow(t *testing.T) {
	var buf bytes.Buffer
	n, err := writeParquet(t.Context(), &buf, samples(), storage.Query{})
	if err != nil || n != 2 {
		t.Fatalf("%d samples, %v", n, err)
	}
	r, err := file.NewParquetReader(bytes.NewReader(buf.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close() //nolint:errcheck // only read from
	if u := r.MetaData().KeyValueMetadata().FindValue("unit:pressure_pa"); u == nil || *u != "Pa" {
		t.Errorf("unit of pressure_pa in the metadata: %v", u)
	}
	fr, err := pqarrow.NewFileReader(r, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := fr.ReadTable(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer table.Release()
	tr := array.NewTableReader(table, 0)
	defer tr.Release()
	var rows []map[string]any
	for tr.Next() {
		text, err := tr.RecordBatch().MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(text, &rows); err != nil {
			t.Fatal(err)
		}
	}
	if len(rows) != 2 {
		t.Fatalf("%d rows", len(rows))
	}
	want := map[string]any{
		"session": "s1", "rocket": "Teal", "link": "pad-radio", "n": 1.0, "boot": 1.0, "seq": 0.0, "clock_us": 20000.0,
		"link_rssi_dbm": -87.5, "pressure_pa": 101325.0, "cell_v": 3.91, "igniter_ohm": 1.25, "accel_mps2": nil,
	}
	got := rows[0]
	at, heard := got["at"], got["heard"]
	delete(got, "at")
	delete(got, "heard")
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("first row (-want +got):\n%s", diff)
	}
	if at != "2031-05-17T09:00:00Z" && at != "2031-05-17 09:00:00Z" && at != "2031-05-17 09:00:00.000000000Z" && at != "2031-05-17 09:00:00" {
		t.Errorf("at = %v", at)
	}
	if heard == nil || rows[1]["seq"] != nil || rows[1]["pressure_pa"] != nil || rows[1]["rocket"] != "Big\nRed" {
		t.Errorf("heard %v; second row %v", heard, rows[1])
	}
}

// More rows than are handed over at once keep their own values.
func TestParquetOfManyRows(t *testing.T) {
	in := recorded(3*parquetRows + 7)
	in[parquetRows].Rocket, in[parquetRows+1].Link = "Rust", "second"
	var buf bytes.Buffer
	if _, err := writeParquet(t.Context(), &buf, in, storage.Query{}); err != nil {
		t.Fatal(err)
	}
	table, err := pqarrow.ReadTable(t.Context(), bytes.NewReader(buf.Bytes()), nil, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	defer table.Release()
	tr := array.NewTableReader(table, int64(len(in)))
	defer tr.Release()
	if !tr.Next() || int(tr.RecordBatch().NumRows()) != len(in) {
		t.Fatal("the rows are not there in one batch")
	}
	text, err := tr.RecordBatch().MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]any
	if err := json.Unmarshal(text, &rows); err != nil {
		t.Fatal(err)
	}
	for i, row := range rows {
		s := &in[i]
		if row["rocket"] != s.Rocket || row["link"] != s.Link || row["n"] != float64(s.N) || row["seq"] != float64(s.Seq) ||
			row["pressure_pa"] != s.Values.Values[0] || row["armed"] != s.Values.Values[5] {
			t.Fatalf("row %d is %v, want %+v", i, row, s)
		}
	}
}

func positions() list {
	names := []string{decode.GPSAltitudeM, decode.GPSFix, decode.LatitudeDeg, decode.LongitudeDeg}
	at := func(rocket string, s int, values ...float64) decode.Sample {
		return decode.Sample{Session: "s1", Rocket: rocket, Link: "l", N: uint64(s), At: epoch.Add(time.Duration(s) * time.Second),
			Values: decode.Channels{Names: names, Values: values}}
	}
	return list{
		at("Rust", 1, 212.5, 1, 52.0001, 5.0002),
		at("Rust", 2, math.NaN(), 0, 0, 0), // no fix: left out
		at("Rust", 3, 250, 1, 52.0003, 5.0004),
		at("Teal", 4, math.NaN(), 1, 52, 5),
	}
}

func TestGeoJSON(t *testing.T) {
	var buf bytes.Buffer
	if n, err := geoJSON(t.Context(), &buf, positions(), storage.Query{}); err != nil || n != 3 {
		t.Fatalf("%d positions, %v", n, err)
	}
	// RFC 7946: longitude first, then latitude, then height; a line has at
	// least two positions.
	want := `{"features":[{"type":"Feature","properties":{"rocket":"Rust","times":["2031-05-17T09:00:01Z","2031-05-17T09:00:03Z"]},` +
		`"geometry":{"type":"LineString","coordinates":[[5.0002,52.0001,212.5],[5.0004,52.0003,250]]}},` +
		`{"type":"Feature","properties":{"rocket":"Teal","times":["2031-05-17T09:00:04Z"]},` +
		`"geometry":{"type":"LineString","coordinates":[[5,52],[5,52]]}}],"type":"FeatureCollection"}` + "\n"
	if diff := cmp.Diff(want, buf.String()); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

func TestGPX(t *testing.T) {
	var buf bytes.Buffer
	if n, err := gpx(t.Context(), &buf, positions(), storage.Query{}); err != nil || n != 3 {
		t.Fatalf("%d positions, %v", n, err)
	}
	var back gpxFile
	if err := xml.Unmarshal(buf.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	if len(back.Tracks) != 2 || back.Tracks[0].Name != "Rust" || len(back.Tracks[0].Points) != 2 ||
		back.Tracks[0].Points[1].Lat != 52.0003 || *back.Tracks[0].Points[1].Ele != 250 || back.Tracks[1].Points[0].Ele != nil {
		t.Errorf("read back %+v", back.Tracks)
	}
}

// OGC 07-147r2: longitude, latitude and height with commas, blanks between points,
// and within a Placemark the time before the geometry.
func TestKML(t *testing.T) {
	var buf bytes.Buffer
	if n, err := kml(t.Context(), &buf, positions(), storage.Query{}); err != nil || n != 3 {
		t.Fatalf("%d positions, %v", n, err)
	}
	got := regexp.MustCompile(`>\s+<`).ReplaceAllString(buf.String(), "><")
	for _, want := range []string{
		`<kml xmlns="http://www.opengis.net/kml/2.2">`,
		`<name>Rust</name><TimeSpan><begin>2031-05-17T09:00:01Z</begin><end>2031-05-17T09:00:03Z</end></TimeSpan><LineString><altitudeMode>absolute</altitudeMode>`,
		`<coordinates>5.0002000,52.0001000,212.5 5.0004000,52.0003000,250.0</coordinates>`,
		`<name>Rust: last position</name>`, `<Point><altitudeMode>clampToGround</altitudeMode><coordinates>5.0004000,52.0003000,250.0</coordinates>`,
		`<altitudeMode>clampToGround</altitudeMode><coordinates>5.0000000,52.0000000 5.0000000,52.0000000</coordinates>`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%s\nis not in\n%s", want, got)
		}
	}
}

func TestLineProtocol(t *testing.T) {
	var buf bytes.Buffer
	n, err := lineProtocol(t.Context(), &buf, samples(), storage.Query{})
	if err != nil || n != 2 {
		t.Fatalf("%d samples, %v", n, err)
	}
	lines := bytes.Split(bytes.TrimSpace(buf.Bytes()), []byte("\n"))
	if len(lines) != 2 || !bytes.HasPrefix(lines[0], []byte("sample,link=pad-radio,rocket=Teal,session=s1 n=1i,")) {
		t.Errorf("lines:\n%s", buf.Bytes())
	}
}
