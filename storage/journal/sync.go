package journal

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"runtime"
	"time"

	"padlark/ingest"
)

// How long what is written may wait for the disk: while nothing flies, and from
// a liftoff until the landing. With the fsync itself these are a second and 0.2 s.
const (
	SyncEvery  = 900 * time.Millisecond
	syncFlying = 150 * time.Millisecond
	// flyingMost ends the haste for a rocket that is never heard to land.
	flyingMost = 15 * time.Minute
)

// inFlight says whether a rocket is in the air; the caller has the lock.
func (j *Journal) inFlight() bool {
	maps.DeleteFunc(j.flying, func(_ string, since time.Duration) bool { return j.newest-since > flyingMost })
	return len(j.flying) > 0
}

// Flies says whether a rocket is in the air that heeded holds for.
func (j *Journal) Flies(heeded func(rocket string) bool) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.inFlight() // forgets those that are never heard to land
	for r := range j.flying {
		if heeded(r) {
			return true
		}
	}
	return false
}

// Sync puts on the disk what has been written. It returns at once where nothing
// is new.
func (j *Journal) Sync() error { return j.sync(false) }

// sync is Sync, with a page ended before it where fill allows that. Only Run allows
// it: a follower that syncs what it takes would never have taken all.
func (j *Journal) sync(fill bool) error {
	j.syncMu.Lock()
	defer j.syncMu.Unlock()
	j.mu.Lock()
	if fill && j.end > j.synced {
		j.fill(j.end - j.synced)
	}
	end, f := j.end, j.f
	j.mu.Unlock()
	if end == j.synced {
		return nil
	}
	if err := fsync(f); err != nil {
		return fmt.Errorf("sync journal: %w", err)
	}
	j.synced = end
	return nil
}

// pageSize is in what portions, in bytes, kernels keep files and disks are written.
const pageSize = 4096

// fill ends the page that is begun where what comes until the next sync, taken to be
// as much as now, would lie on one page less behind it: a page that is on the disk and
// is written into once more goes to the disk as a whole once more. The caller has the
// lock.
func (j *Journal) fill(grown int64) {
	pages := func(n int64) int64 { return (n + pageSize - 1) / pageSize }
	used := j.end % pageSize
	room := pageSize - used - ingest.NoteLeast
	if room < 0 || pages(used+grown) == pages(grown) || j.closed || len(j.pending) > 0 {
		return
	}
	j.pending = ingest.AppendNote(j.pending, noteFill, j.newest, make([]byte, room))
	if !j.flush() {
		j.pending = j.pending[:0] // it was all that waited
	}
}

// Run syncs the file as often as is promised until ctx ends, writes again what
// found no room, and calls tell for each error that a person should know of.
func (j *Journal) Run(ctx context.Context, tell func(error)) error {
	t := time.NewTicker(syncFlying)
	defer t.Stop()
	last := time.Now()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		if st := j.State(); !st.Flying && time.Since(last) < SyncEvery {
			continue
		}
		last = time.Now()
		j.Retry()
		if err := errors.Join(j.sync(true), j.Check()); err != nil {
			tell(err)
		}
	}
}

// syncDir puts a folder's entries on the disk.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil // it flushes no folder
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
