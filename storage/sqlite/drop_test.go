package sqlite

import (
	"errors"
	"testing"
	"time"

	"padlark/storage"
)

func TestDropSession(t *testing.T) {
	a := openNew(t)
	if err := a.DropSession(t.Context(), "s1"); !errors.Is(err, storage.ErrNoSession) {
		t.Errorf("error %v, want storage.ErrNoSession", err)
	}
	for range 2 { // the second time shows that nothing is remembered
		writeSome(t, a, 1, 600)
		if err := a.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
		writeSome(t, a, 601, 3)
		if n := len(readSamples(t, a, storage.Query{})); n != 603 {
			t.Fatalf("%d samples", n)
		}
		if err := a.DropSession(t.Context(), "s1"); err != nil {
			t.Fatal(err)
		}
		for _, table := range []string{"sessions", "links", "rockets", "frame_blocks", "sample_blocks", "flight_rows"} {
			var n int
			if err := a.r.QueryRow(`SELECT COUNT(*) FROM ` + table).Scan(&n); err != nil || n != 0 {
				t.Errorf("%s has %d rows, %v", table, n, err)
			}
		}
	}
}
