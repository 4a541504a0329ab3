package wire

import (
	"testing"
	"time"

	"padlark/storage/sqlite"
)

// The newest checkup counts, of the rocket that was asked for.
func TestLastCheckup(t *testing.T) {
	a := stored(t)
	w := archiveOf(a)
	if _, _, ok, err := w.LastCheckup(t.Context(), "Teal"); ok || err != nil {
		t.Fatalf("a checkup before there was any (%v)", err)
	}
	for i, verdict := range []string{"bad: noise", "good: nothing found"} {
		c := sqlite.Checkup{Rocket: "Teal", At: epoch.Add(time.Duration(i) * time.Hour), Verdict: verdict, Report: []byte("{}")}
		if err := a.AddCheckup(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	at, verdict, ok, err := w.LastCheckup(t.Context(), "Teal")
	if err != nil || !ok || verdict != "good: nothing found" || !at.Equal(epoch.Add(time.Hour)) {
		t.Errorf("last checkup: %v %q %v, %v", at, verdict, ok, err)
	}
	if _, _, ok, _ := w.LastCheckup(t.Context(), "Rust"); ok {
		t.Error("Rust was never checked")
	}
}
