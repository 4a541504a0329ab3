package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// fixedArchive holds one sample with a position, of a session whose times were
// fixed.
func fixedArchive(t *testing.T) *sqlite.Archive {
	t.Helper()
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch}); err != nil {
		t.Fatal(err)
	}
	smp := decode.Sample{Session: "s1", Link: "pad-radio", N: 1, Rocket: "Teal", Seq: 1, Clock: 1, At: epoch, Heard: epoch,
		Values: decode.Channels{Names: []string{decode.LatitudeDeg, decode.LongitudeDeg}, Values: []float64{52, 5}}}
	if err := a.Write(t.Context(), []storage.Entry{storage.NewEntry(1, &smp)}); err != nil {
		t.Fatal(err)
	}
	if err := a.SetShift(t.Context(), "s1", 36*time.Hour+1500*time.Millisecond, "GPS time on link \"pad\", 12 satellites"); err != nil {
		t.Fatal(err)
	}
	return a
}

// Each format has the corrected times and says how they were fixed, in the form
// that a reader of that format understands; the recorded times say nothing.
func TestExportsSayHowTimesWereFixed(t *testing.T) {
	const (
		by  = "GPS time on link \"pad\", 12 satellites"
		all = by + "; 129601.5 s added to what the station's clock said"
	)
	corrected := epoch.Add(36*time.Hour + 1500*time.Millisecond).Format(time.RFC3339Nano)
	a := fixedArchive(t)
	write := func(t *testing.T, f Format, q storage.Query) []byte {
		t.Helper()
		q.Session = "s1"
		var out bytes.Buffer
		if n, err := f(t.Context(), &out, a, q); err != nil || n != 1 {
			t.Fatalf("%d samples, %v", n, err)
		}
		return out.Bytes()
	}
	t.Run("csv", func(t *testing.T) {
		rows, err := csv.NewReader(bytes.NewReader(write(t, writeCSV, storage.Query{}))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		end := len(rows[0]) - 2
		if rows[0][end] != "time_shift [s]" || rows[1][end] != "129601.5" || rows[0][end+1] != "time_fixed_by" || rows[1][end+1] != by {
			t.Errorf("%q", rows)
		}
	})
	t.Run("parquet", func(t *testing.T) {
		text := write(t, writeParquet, storage.Query{})
		f, err := parquet.OpenFile(bytes.NewReader(text), int64(len(text)))
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := f.Lookup("time_fixed_by:s1"); got != all {
			t.Errorf("metadata %q", got)
		}
	})
	t.Run("line", func(t *testing.T) {
		first, rest, _ := strings.Cut(string(write(t, lineProtocol, storage.Query{})), "\n")
		if first != "# times of session s1: "+all || !strings.HasPrefix(rest, "sample,") {
			t.Errorf("%s\n%s", first, rest)
		}
	})
	t.Run("geojson", func(t *testing.T) {
		var got struct {
			Features []struct {
				Properties struct {
					Times []string `json:"times"`
					By    string   `json:"time_fixed_by"`
				} `json:"properties"`
			} `json:"features"`
		}
		if err := json.Unmarshal(write(t, geoJSON, storage.Query{}), &got); err != nil {
			t.Fatal(err)
		}
		if p := got.Features[0].Properties; p.By != all || p.Times[0] != corrected {
			t.Errorf("%+v", p)
		}
	})
	t.Run("gpx", func(t *testing.T) {
		var got gpxFile
		if err := xml.Unmarshal(write(t, gpx, storage.Query{}), &got); err != nil {
			t.Fatal(err)
		}
		if one := got.Tracks[0]; one.Desc != "Times: "+all || one.Points[0].Time != corrected {
			t.Errorf("%+v", one)
		}
	})
	t.Run("recorded times", func(t *testing.T) {
		for name, f := range formats() {
			if text := write(t, f, storage.Query{Recorded: true}); bytes.Contains(text, []byte("time_fixed_by")) || bytes.Contains(text, []byte("satellites")) {
				t.Errorf("%s says how times were fixed that are not", name)
			}
		}
	})
}
