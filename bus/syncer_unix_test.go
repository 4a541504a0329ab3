//go:build !windows

// On Windows the server syncs its files itself.

package bus

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"padlark/ingest"
)

// What is acknowledged is synced within the interval, by the bus and not by the
// server, which would hold up everything meanwhile; without news nothing is.
func TestSyncerFollowsTheStream(t *testing.T) {
	dir := t.TempDir()
	b, err := Open(t.Context(), Options{Station: "test", Dir: dir, SyncInterval: 20 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	if every := b.server.opts.SyncInterval; every != serverSync {
		t.Errorf("the server syncs every %v", every)
	}
	for n := range uint64(100) {
		if err := b.PublishFrame(t.Context(), ingest.Frame{Session: "s", Link: "l", N: n + 1}); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	// The last sync is after the last write, so it knows every file as it is.
	files, err := filepath.Glob(filepath.Join(dir, "jetstream", "*", "streams", "*", "msgs", "*.blk"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no files of messages: %v", err)
	}
	for _, f := range files {
		st, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := b.sync.done[f]; !ok || got != (stamp{st.Size(), st.ModTime()}) {
			t.Errorf("%s is as of %v, synced as of %v", filepath.Base(f), stamp{st.Size(), st.ModTime()}, got)
		}
	}
}

// Where every write waits for the disk, and where there are no files, the bus
// syncs nothing itself.
func TestNoSyncer(t *testing.T) {
	for _, o := range []Options{{Station: "test", Memory: true}, {Station: "test", Dir: t.TempDir(), SyncAlways: true}} {
		b, err := Open(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		if b.sync != nil {
			t.Errorf("%+v: the bus syncs", o)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// The server's storage that is started anew after a full disk leaves the syncing
// to the bus as before.
func TestRevivedServerLeavesSyncing(t *testing.T) {
	b, err := Open(t.Context(), Options{Station: "test", Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	b.server.log.setFull()
	if err := b.server.revive(); err != nil {
		t.Fatal(err)
	}
	var cfg *server.JetStreamConfig
	if cfg = b.server.srv.JetStreamConfig(); cfg == nil || b.opts.ownSync() && cfg.SyncInterval != serverSync {
		t.Errorf("storage is %+v", cfg)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
}
