package sqlite

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/storage"
)

func TestCheckups(t *testing.T) {
	a := openNew(t)
	first := Checkup{Rocket: "Teal", At: epoch, Verdict: "look: noise", Version: "1.2", Report: []byte(`{"a":1}`)}
	later := Checkup{Rocket: "Teal", At: epoch.Add(time.Hour), Verdict: "good: 20 checks passed", Version: "1.2", Report: []byte(`{}`)}
	other := Checkup{Rocket: "Rust", At: epoch.Add(time.Minute), Verdict: "bad: frames", Version: "1.2", Report: []byte(`{}`)}
	again := first
	again.Verdict = "good: mended"
	for _, c := range []Checkup{later, first, other, again} {
		if err := a.AddCheckup(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	for rocket, want := range map[string][]Checkup{"Teal": {again, later}, "": {again, other, later}, "Plum": nil} {
		got, err := a.Checkups(t.Context(), rocket)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got {
			got[i].ID = 0
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("checkups of %q (-want +got):\n%s", rocket, d)
		}
	}
}

// A note can be written while another holds the archive open.
func TestOpenBeside(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	a := openAt(t, path)
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch}); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), path, Options{}); !errors.Is(err, storage.ErrLocked) {
		t.Fatalf("a second Open: %v", err)
	}
	b, err := OpenBeside(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.AddNote(t.Context(), storage.Note{Session: "s1", Rocket: "Teal", Flight: 1, At: epoch, Text: "fill 650 mL"}); err != nil {
		t.Fatal(err)
	}
	// The first one writes on and sees the other's row.
	if err := a.Write(t.Context(), entries(t, testFrame("pad-radio", 1))); err != nil {
		t.Fatal(err)
	}
	notes, err := a.Notes(t.Context(), "s1")
	if err != nil || len(notes) != 1 || notes[0].Text != "fill 650 mL" {
		t.Errorf("notes: %v %v", notes, err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}

func TestOpenBesideRefuses(t *testing.T) {
	if _, err := OpenBeside(filepath.Join(t.TempDir(), "none.db")); err == nil {
		t.Error("a file that is not there was opened")
	}
}
