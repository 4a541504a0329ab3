package bus

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"time"
)

// serverSync is how often the server looks after its files by itself: it frees
// what was deleted, and syncs what has not been.
const serverSync = 2 * time.Minute

// syncer puts what the embedded server has written on the disk, every
// SyncInterval while there is something new. The server's own sync holds the
// lock of the file that is being written: meanwhile nothing passes, not even
// what is only for those who listen, and on a memory card that lasts for tens of
// milliseconds. An fsync through a descriptor of our own holds up nobody.
type syncer struct {
	bus  *Bus
	dir  string // of the server's files
	done map[string]stamp
	quit chan struct{}
	gone chan struct{}
	bad  bool               // the newest attempt failed
	put  func(string) error // syncPath
}

// stamp tells whether a file has changed.
type stamp struct {
	size int64
	at   time.Time
}

// ownSync says whether the bus syncs by itself. Windows flushes only files that
// are open for writing, and while we have one open the server cannot replace it.
func (o Options) ownSync() bool {
	return o.embedded() && !o.Memory && !o.SyncAlways && runtime.GOOS != "windows"
}

// startSyncer starts a syncer; nil if the server does it.
func startSyncer(b *Bus) *syncer {
	if !b.opts.ownSync() {
		return nil
	}
	s := &syncer{bus: b, dir: b.server.opts.StoreDir, done: map[string]stamp{}, put: syncPath, quit: make(chan struct{}), gone: make(chan struct{})}
	go s.run()
	return s
}

// stop ends it after a last sync.
func (s *syncer) stop() {
	if s == nil {
		return
	}
	close(s.quit)
	<-s.gone
}

func (s *syncer) run() {
	defer close(s.gone)
	t := time.NewTicker(s.bus.opts.SyncInterval)
	defer t.Stop()
	var synced uint64
	for last := false; !last; {
		select {
		case <-t.C:
		case <-s.quit:
			last = true
		}
		// What is acknowledged is written.
		acked := s.bus.count.acked.Load()
		if acked == synced && !s.bad {
			continue
		}
		if s.report(s.sync()); !s.bad {
			synced = acked
		}
	}
}

// report tells of each change between a disk that takes it and one that does not.
func (s *syncer) report(err error) {
	switch log := &s.bus.opts.Log; {
	case err != nil && !s.bad:
		log.Error().Err(err).Msg("the bus's files cannot be synced: a loss of power would now cost more than a second")
	case err == nil && s.bad:
		log.Info().Msg("the bus's files are synced again")
	}
	s.bad = err != nil
}

// sync syncs each file of messages that has changed since it last was, and the
// folder if there is a new one.
func (s *syncer) sync() error {
	paths, err := below(s.dir, "jetstream/*/streams/*/msgs/*")
	if err != nil {
		return fmt.Errorf("look for the bus's files: %w", err)
	}
	var errs []error
	fresh := map[string]bool{} // folders
	now := make(map[string]stamp, len(paths))
	for _, p := range paths {
		st, err := os.Stat(p)
		if err != nil || st.IsDir() {
			continue // gone meanwhile
		}
		is := stamp{st.Size(), st.ModTime()}
		old, known := s.done[p]
		if known && old == is {
			now[p] = is
			continue
		}
		if err := s.put(p); err != nil {
			errs = append(errs, err)
			continue
		}
		now[p] = is
		if !known {
			fresh[filepath.Dir(p)] = true
		}
	}
	for dir := range fresh {
		err := s.put(dir)
		if err == nil {
			continue
		}
		errs = append(errs, err)
		// A file without its entry in the folder is as good as not there: it stays
		// a new one until the folder is synced.
		maps.DeleteFunc(now, func(p string, _ stamp) bool { return filepath.Dir(p) == dir && !had(s.done, p) })
	}
	s.done = now
	return errors.Join(errs...)
}

func had(done map[string]stamp, path string) bool { _, ok := done[path]; return ok }

// below lists what matches a pattern below a folder. The folder's own name, which
// the person chose, is no part of the pattern and may have brackets in it.
func below(dir, pattern string) ([]string, error) {
	paths, err := fs.Glob(os.DirFS(dir), pattern)
	for i, p := range paths {
		paths[i] = filepath.Join(dir, filepath.FromSlash(p))
	}
	return paths, err
}

// syncPath syncs a file or a folder; what is gone needs none.
func syncPath(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
