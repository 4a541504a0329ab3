package main

import (
	"database/sql"
	"path/filepath"
	"testing"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// eachFrame reads all frames of an archive, session after session.
func eachFrame(t *testing.T, data string, fn func(storage.Session, ingest.Frame)) {
	t.Helper()
	a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	sessions, err := a.Sessions(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sessions {
		err := a.Frames(t.Context(), storage.Query{Session: s.ID, Recorded: true}, func(f ingest.Frame) error { fn(s, f); return nil })
		if err != nil {
			t.Fatal(err)
		}
	}
	if lost := a.Lost(); len(lost) > 0 {
		t.Errorf("the archive is damaged: %v", lost)
	}
}

// unpacked copies an archive's frames, samples and rejects into plain tables, so
// that a test can ask in SQL how they fit together. It returns a folder for
// count.
func unpacked(t *testing.T, data string) string {
	t.Helper()
	dir := t.TempDir()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "padlark.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // a failure shows in the queries
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	exec := func(query string, args ...any) {
		t.Helper()
		if _, err := tx.Exec(query, args...); err != nil {
			t.Fatal(err)
		}
	}
	exec(`CREATE TABLE frames (station, link, n, mono_ns, bytes);
		CREATE TABLE samples (rocket, link, n);
		CREATE TABLE rejects (link, n);
		CREATE INDEX f ON frames (link, n); CREATE INDEX s ON samples (link, n); CREATE INDEX r ON rejects (link, n)`)
	eachFrame(t, data, func(s storage.Session, f ingest.Frame) {
		exec(`INSERT INTO frames VALUES (?, ?, ?, ?, ?)`, s.Station, s.ID+"/"+f.Link, f.N, f.Mono, f.Bytes)
	})
	a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	sessions, err := a.Sessions(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sessions {
		err := a.Samples(t.Context(), storage.Query{Session: s.ID}, func(m *decode.Sample) error {
			exec(`INSERT INTO samples VALUES (?, ?, ?)`, m.Rocket, s.ID+"/"+m.Link, m.N)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		rejects, err := a.Rejects(t.Context(), s.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rejects {
			exec(`INSERT INTO rejects VALUES (?, ?)`, s.ID+"/"+r.Link, r.N)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	return dir
}
