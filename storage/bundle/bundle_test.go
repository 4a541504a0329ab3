package bundle

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

var epoch = time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)

// archive opens an empty one.
func archive(t *testing.T) *sqlite.Archive {
	t.Helper()
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "archive.sqlite"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return a
}

// recorded is an archive with a session of a few frames and a note.
func recorded(t *testing.T) *sqlite.Archive {
	a := archive(t)
	if err := a.StartSession(t.Context(), storage.Session{ID: "day", Station: "north-field", Epoch: epoch, Config: "[station]\n"}); err != nil {
		t.Fatal(err)
	}
	var entries []storage.Entry
	for n := range uint64(5) {
		entries = append(entries, storage.NewEntry(n+1, &ingest.Frame{Session: "day", Link: "pad-radio", N: n + 1, Heard: epoch.Add(time.Duration(n+1) * 100 * time.Millisecond), Mono: int64(n+1) * 1e8, Passed: int64(n+1) * 1e8, Bytes: []byte{0, 0xff, byte(n)}}))
	}
	if err := a.Write(t.Context(), entries); err != nil {
		t.Fatal(err)
	}
	if _, err := a.AddNote(t.Context(), storage.Note{Session: "day", Rocket: "Teal", Flight: 1, At: epoch.Add(time.Minute), Text: "650 mL"}); err != nil {
		t.Fatal(err)
	}
	return a
}

// pack is the bundle of an archive's session.
func pack(t *testing.T, a *sqlite.Archive) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := Write(t.Context(), &b, a, "day", nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func file(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "day.plarkbundle")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// What comes out of another archive is what went in, and a second import changes
// nothing: packed again it is the same, byte for byte.
func TestRoundTrip(t *testing.T) {
	packed := pack(t, recorded(t))
	b, err := Open(file(t, packed))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close() //nolint:errcheck // only read from
	other := archive(t)
	for range 2 {
		if err := b.Import(t.Context(), other, nil); err != nil {
			t.Fatal(err)
		}
		var got []byte
		err := other.Frames(t.Context(), storage.Query{Session: "day"}, func(f ingest.Frame) error {
			got = append(got, f.Bytes...)
			return nil
		})
		if want := []byte{0, 0xff, 0, 0, 0xff, 1, 0, 0xff, 2, 0, 0xff, 3, 0, 0xff, 4}; err != nil || !bytes.Equal(got, want) {
			t.Errorf("frames % x, %v", got, err)
		}
		notes, err := other.KeptNotes(t.Context(), "day")
		if err != nil || len(notes) != 1 || notes[0].Text != "650 mL" {
			t.Errorf("notes %v, %v", notes, err)
		}
	}
	if !bytes.Equal(pack(t, other), packed) {
		t.Error("packed from the other archive it is another file")
	}
	another := archive(t)
	if err := another.StartSession(t.Context(), storage.Session{ID: "day", Station: "south-field", Epoch: epoch.Add(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	if err := b.Import(t.Context(), another, nil); !errors.Is(err, errOther) {
		t.Errorf("into an archive with another session of its name: %v", err)
	}
}

// Whatever byte changed on the way, and wherever it was cut, the file is refused whole
// and with one of the three reasons.
func TestDamagedIsRefused(t *testing.T) {
	packed := pack(t, recorded(t))
	path := file(t, packed)
	refused := func(what string, at int, data []byte, want ...error) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := Open(path)
		if err == nil {
			_ = b.Close()
			t.Errorf("%s at %d of %d: it was taken", what, at, len(packed))
		} else if !slices.ContainsFunc(want, func(w error) bool { return errors.Is(err, w) }) {
			t.Errorf("%s at %d: %v", what, at, err)
		}
	}
	for at := 0; at < len(packed); at += 97 {
		refused("cut", at, packed[:at], errNotBundle, errDamaged)
	}
	for at := range headBytes {
		changed := bytes.Clone(packed)
		changed[at] ^= 0x20
		refused("a bit turned", at, changed, errNotBundle, errDamaged)
	}
	newer := bytes.Clone(packed)
	copy(newer[len(magic):], "02")
	refused("a version of the future", len(magic), newer, errNewer)
	for _, entry := range entries() { // in the stored bytes of each entry that has any
		at := bytes.Index(packed, []byte(entry)) + len(entry) + 4
		changed := bytes.Clone(packed)
		changed[at] ^= 0x55
		refused("a byte of "+entry, at, changed, errDamaged)
	}
	if !Is(bytes.NewReader(packed)) || Is(bytes.NewReader(packed[1:])) || Is(bytes.NewReader(nil)) {
		t.Error("Is does not tell a bundle from another file")
	}
}
