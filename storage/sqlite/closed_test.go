package sqlite

import (
	"path/filepath"
	"testing"
	"time"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// An archive that is closed under a reader, as at the end of a station with a
// page still loading, gives the reader an error or its rows, and does not crash.
func TestClosedUnderAReader(t *testing.T) {
	a, err := Open(t.Context(), filepath.Join(t.TempDir(), FileName), Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	epoch := time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)
	if err := a.StartSession(t.Context(), storage.Session{ID: "s", Epoch: epoch, Links: []string{"pad", "tent"}}); err != nil {
		t.Fatal(err)
	}
	rows := Rows{From: 1}
	for _, link := range []string{"pad", "tent"} {
		for n := range uint64(3) {
			at := time.Duration(n+1) * time.Second
			rows.Samples = append(rows.Samples, decode.Sample{
				Session: "s", Link: link, Rocket: "Teal", N: n + 1, Seq: -1, Clock: -1,
				At: epoch.Add(at), Heard: epoch.Add(at), Passed: int64(at),
				Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{float64(n)}},
			})
		}
	}
	if err := a.WriteRows(t.Context(), rows); err != nil {
		t.Fatal(err)
	}
	// The reader has a block in its hands when the file is closed.
	b := &blockReader{a: a, table: "sample_blocks", cond: sampleTrack, of: track{1, 1}}
	_, data, ok, err := b.next(t.Context())
	if err != nil || !ok {
		t.Fatalf("there is no block: %v", err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	var m block.Samples
	if err := a.codec.DecodeSamples(data, &m); err != nil || m.Rows() != 3 {
		t.Errorf("the block in hand gives %d rows: %v", m.Rows(), err)
	}
	if err := a.Samples(t.Context(), storage.Query{}, func(*decode.Sample) error { return nil }); err == nil {
		t.Error("a closed archive gives samples")
	}
}
