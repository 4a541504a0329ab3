package results

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"padlark/flight"
	"padlark/storage/sqlite"
)

// ended is an archive with one session that has ended, and the file in which its
// summaries are kept.
func ended(t *testing.T) (a *sqlite.Archive, id, file string) {
	t.Helper()
	a, id, _ = heardAt(t, time.Now().Add(-time.Hour), 20*20, flight.Site{})
	if err := a.EndSession(t.Context(), id, time.Now().Add(-50*time.Minute)); err != nil {
		t.Fatal(err)
	}
	return a, id, filepath.Join(filepath.Dir(a.Path()), folder, id+".json.zst")
}

func flights(t *testing.T, r *Results) []flight.Result {
	t.Helper()
	got, err := r.Flights(t.Context(), "")
	if err != nil || len(got) != 1 {
		t.Fatalf("flights %+v, %v", got, err)
	}
	return got
}

// TestKept: what one program has worked out of an ended session is what the next one
// reads, to the last bit; it writes nothing if it was not told to.
func TestKept(t *testing.T) {
	a, id, file := ended(t)
	first := flights(t, New(a))
	if _, err := os.Stat(file); err == nil {
		t.Fatal("it was written unasked")
	}
	flights(t, New(a).Keeping())
	if got := flights(t, New(a)); !reflect.DeepEqual(got, first) {
		t.Errorf("read %+v\nwant %+v", got, first)
	}
	// That they are read, and not worked out, shows where the file says something else.
	s, err := readKept[summaries](file)
	if err != nil || len(s.Flights) != 1 {
		t.Fatalf("%+v, %v", s, err)
	}
	other := 1234.0
	s.Flights[0].Result.ApogeeM = &other
	if err := writeKept(file, s); err != nil {
		t.Fatal(err)
	}
	if got := flights(t, New(a)); *got[0].ApogeeM != other {
		t.Errorf("%.1f m, the file says %.1f", *got[0].ApogeeM, other)
	}
	// What a person says afterwards holds at once; what has happened since makes them
	// anew, and so does a file that is not whole.
	r := New(a).Keeping()
	flights(t, r)
	if err := a.SetVoid(t.Context(), sqlite.Void{Session: id, Rocket: "Teal", Flight: 1, Void: true, At: time.Now(), Why: "carried"}); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Flights(t.Context(), id); err != nil || len(got) != 0 {
		t.Errorf("a void flight counts: %+v, %v", got, err)
	}
	if got, err := r.EveryFlight(t.Context(), id); err != nil || len(got) != 1 || got[0].Verdict != "void: carried" {
		t.Errorf("%+v, %v", got, err)
	}
	if err := a.SetVoid(t.Context(), sqlite.Void{Session: id, Rocket: "Teal", Flight: 1, At: time.Now()}); err != nil {
		t.Fatal(err)
	}
	if err := a.SetShift(t.Context(), id, time.Minute, "by hand"); err != nil {
		t.Fatal(err)
	}
	if got := flights(t, r); !got[0].LaunchedAt.Equal(first[0].LaunchedAt.Add(time.Minute)) || *got[0].ApogeeM != *first[0].ApogeeM {
		t.Errorf("after the time was fixed %v and %.1f m, want a minute after %v", got[0].LaunchedAt, *got[0].ApogeeM, first[0].LaunchedAt)
	}
	packed, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for n := 0; n < len(packed); n += 1 + len(packed)/20 {
		if err := os.WriteFile(file, packed[:n], 0o600); err != nil {
			t.Fatal(err)
		}
		if s, err := readKept[summaries](file); err == nil && len(s.Flights) > 0 {
			t.Fatalf("%d of %d bytes are taken for whole", n, len(packed))
		}
	}
	if got := flights(t, New(a)); *got[0].ApogeeM != *first[0].ApogeeM {
		t.Errorf("beside a torn file %.1f m, want %.1f", *got[0].ApogeeM, *first[0].ApogeeM)
	}
}

// A session that runs is worked out as far as it has come, and nothing of it is kept.
func TestRunningIsNotKept(t *testing.T) {
	a, id := heardUntil(t, time.Now())
	flights(t, New(a).Keeping())
	if _, err := os.Stat(filepath.Join(filepath.Dir(a.Path()), folder, id+".json.zst")); err == nil {
		t.Error("a session that runs was kept")
	}
}
