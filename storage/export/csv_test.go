package export

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite"
)

var epoch = time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)

// list is a Source that holds its samples.
type list []decode.Sample

func (l list) Samples(_ context.Context, _ storage.Query, fn func(*decode.Sample) error) error {
	for i := range l {
		if err := fn(&l[i]); err != nil {
			return err
		}
	}
	return nil
}

func samples() list {
	rssi := -87.5
	return list{
		{Session: "s1", Link: "pad-radio", N: 1, Rocket: "Teal", Boot: 1, Seq: 0, Clock: 20000, At: epoch, Heard: epoch.Add(25 * time.Millisecond), RSSI: &rssi,
			Values: decode.Channels{Names: []string{"cell_v", "igniter_ohm", "pressure_pa"}, Values: []float64{3.91, 1.25, 101325}}},
		{Session: "s1", Link: "udp, \"left\"", N: 2, Rocket: "Big\nRed", Seq: -1, Clock: -1, At: epoch.Add(1), Heard: epoch.Add(2),
			Values: decode.Channels{Names: []string{"accel_mps2", "pressure_pa"}, Values: []float64{-9.81, math.NaN()}}},
	}
}

func TestCSV(t *testing.T) {
	var got bytes.Buffer
	n, err := writeCSV(t.Context(), &got, samples(), storage.Query{})
	if err != nil || n != 2 {
		t.Fatalf("%d samples, %v", n, err)
	}
	want := strings.Join([]string{
		"session,rocket,link,n,at [UTC],heard [UTC],boot,seq,clock [us],link_rssi [dBm],pressure_pa [Pa],accel_mps2 [m/s2],cell_v [V],igniter_ohm",
		"s1,Teal,pad-radio,1,2031-05-17T09:00:00.000000000Z,2031-05-17T09:00:00.025000000Z,1,0,20000,-87.5,101325,,3.91,1.25",
		"s1,\"Big\nRed\",\"udp, \"\"left\"\"\",2,2031-05-17T09:00:00.000000001Z,2031-05-17T09:00:00.000000002Z,0,,,,,-9.81,,",
		"",
	}, "\r\n")
	if diff := cmp.Diff(want, got.String()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// TestCSVReadsBack reads what was written with the standard library's reader
// and compares every value.
func TestCSVReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[ -~\n]{0,12}`)
		in := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) decode.Sample {
			s := decode.Sample{Session: name.Draw(t, "session"), Rocket: name.Draw(t, "rocket"), Link: "l", N: rapid.Uint64().Draw(t, "n"), Seq: -1, Clock: -1, At: epoch, Heard: epoch}
			for _, c := range []string{"a", "b_pa", "c"} {
				if rapid.Bool().Draw(t, "has "+c) {
					s.Values.Names = append(s.Values.Names, c)
					s.Values.Values = append(s.Values.Values, rapid.Float64().Draw(t, c))
				}
			}
			return s
		}), 0, 8).Draw(t, "samples")
		var b bytes.Buffer
		if _, err := writeCSV(context.Background(), &b, list(in), storage.Query{}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != len(in)+1 {
			t.Fatalf("%d rows for %d samples", len(rows), len(in))
		}
		for i, s := range in {
			row := rows[i+1]
			if row[0] != s.Session || row[1] != s.Rocket || row[3] != strconv.FormatUint(s.N, 10) {
				t.Fatalf("row %q for %+v", row, s)
			}
			for k, head := range rows[0][len(fixedColumns):] {
				channel, _, _ := strings.Cut(head, " [")
				v, ok := s.Values.Get(channel)
				field := row[len(fixedColumns)+k]
				if math.IsInf(v, 0) {
					ok = false
				}
				if got, err := strconv.ParseFloat(field, 64); ok != (field != "") || ok && (err != nil || got != v) {
					t.Fatalf("%s: wrote %g as %q", channel, v, field)
				}
			}
		}
	})
}

// TestCSVOfArchive exports from a real archive with a shifted session.
func TestCSVOfArchive(t *testing.T) {
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch}); err != nil {
		t.Fatal(err)
	}
	one := samples()[0]
	if err := a.Write(t.Context(), []storage.Entry{storage.NewEntry(1, &one)}); err != nil {
		t.Fatal(err)
	}
	if err := a.SetShift(t.Context(), "s1", time.Hour, "gps"); err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	if n, err := writeCSV(t.Context(), &got, a, storage.Query{Session: "s1", Rocket: "Teal"}); err != nil || n != 1 {
		t.Fatalf("%d %v", n, err)
	}
	if !strings.Contains(got.String(), "s1,Teal,pad-radio,1,2031-05-17T10:00:00.000000000Z,") {
		t.Errorf("%s", got.String())
	}
}

type fullWriter struct{}

func (fullWriter) Write([]byte) (int, error) { return 0, errFull }

var errFull = errors.New("no space")

func TestCSVWriteError(t *testing.T) {
	if _, err := writeCSV(t.Context(), fullWriter{}, samples(), storage.Query{}); !errors.Is(err, errFull) {
		t.Errorf("%v", err)
	}
}

func TestLookup(t *testing.T) {
	if _, err := Lookup("csv"); err != nil {
		t.Error(err)
	}
	if _, err := Lookup("xls"); err == nil || !strings.Contains(err.Error(), "csv") {
		t.Errorf("%v", err)
	}
}
