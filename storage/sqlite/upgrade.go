package sqlite

import (
	"context"
	"fmt"
	"path/filepath"
	"sync/atomic"
	"time"

	"padlark/storage"
)

// Bringing a large archive of an older version to the present form takes
// minutes on a memory card. Everything here may be interrupted at any moment,
// also by a loss of power: what is done stays done, and the next Open goes on.

// toldFirst and toldEvery are when somebody is told that opening takes its time.
const (
	toldFirst = 2 * time.Second
	toldEvery = 5 * time.Second
)

// toPresent brings an older file to the present version.
func (a *Archive) toPresent(ctx context.Context, o Options) error {
	first := o.tellFirst
	if first == 0 {
		first = toldFirst
	}
	t := startTeller(a.path, first, o.Tell)
	defer t.stop()
	if err := migrate(ctx, a.w, a.path); err != nil {
		return err
	}
	if err := a.pack(ctx, t); err != nil {
		return err
	}
	t.at("the rows of flights are written", 0)
	if err := a.fillFlights(ctx); err != nil {
		return err
	}
	return a.shrink(ctx, o.shrinkFrom, t)
}

// teller says how far a long Open is.
type teller struct {
	path  string
	first time.Duration
	tell  func(string) // nil: nobody listens
	now   atomic.Pointer[stage]
	quit  chan struct{}
	gone  chan struct{}
}

type stage struct {
	what      string
	done, all atomic.Int64
}

// startTeller starts one; its stop must be called.
func startTeller(path string, first time.Duration, tell func(string)) *teller {
	t := &teller{path: path, first: first, tell: tell, quit: make(chan struct{}), gone: make(chan struct{})}
	t.at("tables are changed", 0)
	go t.run()
	return t
}

func (t *teller) stop() {
	close(t.quit)
	<-t.gone
}

func (t *teller) run() {
	defer close(t.gone)
	if t.tell == nil {
		return
	}
	next := time.NewTimer(t.first)
	defer next.Stop()
	for {
		select {
		case <-t.quit:
			return
		case <-next.C:
			t.tell(t.line())
			next.Reset(toldEvery)
		}
	}
}

// at begins a stage of about so many rows, 0 if that cannot be told.
func (t *teller) at(what string, all int64) {
	s := &stage{what: what}
	s.all.Store(all)
	t.now.Store(s)
}

// did counts rows of the stage under way.
func (t *teller) did(rows int) { t.now.Load().done.Add(int64(rows)) }

func (t *teller) line() string {
	s := t.now.Load()
	far := ""
	switch done, all := s.done.Load(), s.all.Load(); {
	case all > 0:
		far = fmt.Sprintf(": %d of about %d (%d %%)", done, all, min(100, 100*done/all))
	case done > 0:
		far = fmt.Sprintf(": %d rows so far", done)
	}
	return fmt.Sprintf("the archive %s is brought to the form of this version; %s%s", t.path, s.what, far)
}

// say tells something at once.
func (t *teller) say(format string, args ...any) {
	if t.tell != nil {
		t.tell(fmt.Sprintf(format, args...))
	}
}

// shrinkFrom is how much of a file must be unused for it to be shrunk: less will
// be used again soon.
const shrinkFrom = 4 << 20

// shrink gives back to the disk what is unused in the file when that is most of
// it, as after packing. SQLite writes the content anew, first to a temporary file
// and then through the write-ahead log, so that at every moment the old or the
// new file is whole. A file that cannot be shrunk is as good as before, so that
// is told and no error, and the next Open tries again.
func (a *Archive) shrink(ctx context.Context, from int64, t *teller) error {
	if from == 0 {
		from = shrinkFrom
	}
	page, pages, unused, err := a.pages(ctx)
	if err != nil {
		return explain(a.path, "look at the size of the archive", err)
	}
	if unused*page < from || 2*unused < pages {
		return nil
	}
	const mb = 1e6
	size, content := float64(pages*page), (pages-unused)*page
	need := 2*content + a.reserve
	if free, known := storage.Free(filepath.Dir(a.path)); known && free < need {
		t.say("the archive %s stays at %.0f MB although it holds only %.0f MB: to shrink it %.0f MB must be free on the disk, and %.0f MB are; make room, and it shrinks at the next start",
			a.path, size/mb, float64(content)/mb, float64(need)/mb, float64(free)/mb)
		return nil
	}
	t.at(fmt.Sprintf("its file is shrunk from %.0f to about %.0f MB", size/mb, float64(content)/mb), 0)
	for _, q := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if err := a.execPlain(ctx, q); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil {
			t.say("the archive stays at %.0f MB; nothing is lost, and the next start tries again: %v", size/mb, explain(a.path, "shrink archive", err))
			return nil
		}
	}
	return nil
}

// pages are the size of a page, and how many there are and are unused.
func (a *Archive) pages(ctx context.Context) (size, all, unused int64, err error) {
	in, err := a.inserter(ctx)
	if err != nil {
		return 0, 0, 0, err
	}
	for _, x := range []struct {
		pragma string
		to     *int64
	}{{"page_size", &size}, {"page_count", &all}, {"freelist_count", &unused}} {
		if err := in.conn.QueryRowContext(ctx, "PRAGMA "+x.pragma).Scan(x.to); err != nil {
			return 0, 0, 0, err
		}
	}
	return size, all, unused, nil
}

// execPlain runs a statement outside of a transaction, on the one connection.
func (a *Archive) execPlain(ctx context.Context, query string) error {
	in, err := a.inserter(ctx)
	if err != nil {
		return err
	}
	_, err = in.conn.ExecContext(ctx, query)
	return err
}
