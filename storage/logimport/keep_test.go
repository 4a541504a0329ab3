package logimport

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// rowsOf counts the rows of each table of an archive.
func rowsOf(t *testing.T, dir string) map[string]int {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, sqlite.FileName)+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // only read from
	var names string
	if err := db.QueryRow(`SELECT group_concat(name) FROM sqlite_master WHERE type = 'table'`).Scan(&names); err != nil {
		t.Fatal(err)
	}
	out := map[string]int{}
	for _, name := range strings.Split(names, ",") {
		var n int
		if err := db.QueryRow(`SELECT COUNT(*) FROM ` + name).Scan(&n); err != nil {
			t.Fatal(err)
		}
		out[name] = n
	}
	return out
}

// plum is a configuration for plain.
func plum() *Configured {
	c := plain()
	dc := decode.Config{Layouts: c.Layouts, Links: []decode.LinkLayouts{{Link: c.Link, Layouts: []string{c.Layout}, Rocket: c.Rocket}}}
	rockets := []flight.Rocket{{Name: c.Rocket}}
	return &Configured{
		Station: "import", Rockets: rockets, Links: []ingest.LinkConfig{{Name: c.Link, File: "plum.csv", Layout: c.Layout, Rocket: c.Rocket}},
		Line: func(session string, epoch time.Time) (watch.Line, error) {
			return watch.NewLine(dc, watch.Config{Session: session, Epoch: epoch, Rockets: rockets})
		},
	}
}

// TestImportThatFails: whatever stops an import while it stores leaves nothing
// of a new session, and all of one that was there.
func TestImportThatFails(t *testing.T) {
	dir := t.TempDir()
	archive, err := sqlite.Open(t.Context(), filepath.Join(dir, sqlite.FileName), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := archive.Close(); err != nil {
			t.Error(err)
		}
	})
	log, err := Read(t.Context(), source(t, []byte(lines(1500, 0))), plain())
	if err != nil {
		t.Fatal(err)
	}
	m := &Job{Archive: archive, Dir: dir, Link: "log-x", Rocket: "Plum", Log: log, Config: plum()}
	if _, err := m.keep(t.Context(), m.session("old", time.Unix(0, 0).UTC(), m.Config, m.Link), m.Config, m.alone("old", time.Unix(0, 0).UTC())); err != nil {
		t.Fatal(err)
	}
	before := rowsOf(t, dir)
	broken := errors.New("the stick was pulled out")
	at := time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)
	// breaking plays the log over and over until some of it is stored.
	breaking := func(with error) frameSource {
		return func(ctx context.Context, fn func(f *ingest.Frame, said *decode.Parsed) error) error {
			for n := uint64(0); ; {
				err := m.Log.Each(ctx, "new", at, func(f *ingest.Frame, said *decode.Parsed) error {
					n++
					f.N = n
					return fn(f, said)
				})
				_, stored, err2 := archive.LastPassed(ctx, "new")
				if err := errors.Join(err, err2); err != nil {
					return err
				}
				if stored {
					return with
				}
			}
		}
	}
	for text, with := range map[string]error{"pulled out": broken, "interrupted": context.Canceled} {
		_, err = m.keep(t.Context(), m.session("new", at, m.Config, m.Link), m.Config, breaking(with))
		if err == nil || !strings.Contains(err.Error(), text) || !strings.Contains(err.Error(), "session new was taken out again") {
			t.Errorf("error %v", err)
		}
		if diff := cmp.Diff(before, rowsOf(t, dir)); diff != "" {
			t.Fatalf("rows after an import that failed (-before +after):\n%s", diff)
		}
	}

	// The same with a session that is there already.
	if _, err := m.keep(t.Context(), m.session("new", at, m.Config, m.Link), m.Config, m.alone("new", at)); err != nil {
		t.Fatal(err)
	}
	before = rowsOf(t, dir)
	was, err := archive.Session(t.Context(), "new")
	if err != nil {
		t.Fatal(err)
	}
	_, err = m.keep(t.Context(), m.session("new", at, m.Config, m.Link), m.Config,
		func(context.Context, func(f *ingest.Frame, said *decode.Parsed) error) error { return broken })
	if err == nil || !strings.Contains(err.Error(), "is whole, from an earlier import") {
		t.Errorf("error %v", err)
	}
	now, err := archive.Session(t.Context(), "new")
	if diff := cmp.Diff(before, rowsOf(t, dir)); diff != "" || err != nil || !now.Ended.Equal(was.Ended) {
		t.Errorf("a session that was there ended at %v, now at %v; %v; rows:\n%s", fmt.Sprint(was.Ended), now.Ended, err, diff)
	}
}
