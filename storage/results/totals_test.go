package results

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// TestTotals: a session counted piece by piece while it runs comes to what a count of the
// whole finds, numbers that two links heard once; what it came to at its end is kept.
func TestTotals(t *testing.T) {
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	epoch := time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)
	s := storage.Session{ID: "s", Station: "north-field", Epoch: epoch, Links: []string{"near", "far"}}
	if err := a.StartSession(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	r := New(a).Keeping()
	entries := uint64(0)
	numbers := map[string]uint64{}
	hear := func(link string, ms int64, seq int64) (out []storage.Entry) {
		numbers[link]++
		at := epoch.Add(time.Duration(ms) * time.Millisecond)
		passed := ms*1e6 + int64(len(link))
		for _, v := range []any{
			&ingest.Frame{Session: s.ID, Link: link, N: numbers[link], Heard: at, Mono: ms * 1e6, Passed: passed, Bytes: []byte("12345")},
			&decode.Sample{Session: s.ID, Link: link, N: numbers[link], Rocket: "Teal", Boot: 1, Seq: seq, Clock: -1, At: at, Heard: at, Passed: passed},
		} {
			entries++
			out = append(out, storage.NewEntry(entries, v))
		}
		return out
	}
	// The far link hears two of three, the near one all but every tenth; nobody hears
	// 30, and nothing at all is heard for six seconds after 50.
	var last Totals
	for part := range int64(4) {
		var batch []storage.Entry
		for seq := part * 25; seq < (part+1)*25; seq++ {
			ms := 100 * seq
			if seq > 50 {
				ms += 6000
			}
			if seq%3 != 0 {
				batch = append(batch, hear("far", ms, seq)...)
			}
			if seq%10 != 0 {
				batch = append(batch, hear("near", ms, seq)...)
			}
		}
		if err := a.Write(t.Context(), batch); err != nil {
			t.Fatal(err)
		}
		if last, err = r.Count(t.Context(), s); err != nil {
			t.Fatal(err)
		}
		whole, err := New(a).Count(t.Context(), s)
		if err != nil || !reflect.DeepEqual(last, whole) {
			t.Fatalf("after part %d: %+v\nat once: %+v, %v", part, last, whole, err)
		}
	}
	// Of 0 to 99: 0, 30, 60 and 90 are heard by nobody, and 0 is before the first.
	if n := numbers["near"] + numbers["far"]; last.Frames != n || last.Bytes != 5*n || last.Lost() != 3 || last.Rockets[0].Heard != 96 {
		t.Errorf("%d frames of %d, %d bytes, %d lost, %+v", last.Frames, n, last.Bytes, last.Lost(), last.Rockets)
	}
	if len(last.Silences) != 1 || last.Silences[0][1]-last.Silences[0][0] < 6e9 {
		t.Errorf("silences %v", last.Silences)
	}
	if err := a.EndSession(t.Context(), s.ID, epoch.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if s, err = a.Session(t.Context(), s.ID); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Count(t.Context(), s); err != nil || !reflect.DeepEqual(got, last) {
		t.Errorf("at the end %+v, %v", got, err)
	}
	if got, ok := r.Counted(s.ID); !ok || !reflect.DeepEqual(got, last) {
		t.Errorf("counted: %+v, %v", got, ok)
	}
	// That it is read, and not counted again, shows where the file says something else.
	file := filepath.Join(filepath.Dir(a.Path()), folder, "s.totals.json.zst")
	kept, err := readKept[counted](file)
	if err != nil {
		t.Fatal(err)
	}
	kept.Frames = 1234
	if err := writeKept(file, kept); err != nil {
		t.Fatal(err)
	}
	if got, err := New(a).Count(t.Context(), s); err != nil || got.Frames != 1234 {
		t.Errorf("%d frames, the file says 1234; %v", got.Frames, err)
	}
	if err := os.WriteFile(file, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := New(a).Count(t.Context(), s); err != nil || !reflect.DeepEqual(got, last) {
		t.Errorf("beside a torn file %+v, %v", got, err)
	}
}
