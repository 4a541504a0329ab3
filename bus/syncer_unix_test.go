//go:build !windows

// On Windows the server syncs its files itself.

package bus

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
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

// A file whose folder could not be synced is a new one again the next time, one
// that could not be synced itself too; nothing is synced twice without need.
func TestSyncerTriesAgain(t *testing.T) {
	dir := t.TempDir()
	msgs := filepath.Join(dir, "jetstream", "a", "streams", "s", "msgs")
	if err := os.MkdirAll(msgs, 0o755); err != nil {
		t.Fatal(err)
	}
	write := func(name string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(msgs, name), []byte(name), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var put []string
	refused := ""
	s := &syncer{dir: dir, done: map[string]stamp{}, put: func(path string) error {
		put = append(put, filepath.Base(path))
		if filepath.Base(path) == refused {
			return errors.New("not now")
		}
		return nil
	}}
	write("1.blk")
	for _, step := range []struct {
		write, refuse, want string
	}{
		{"", "", "1.blk msgs"},
		{"", "", ""},
		{"2.blk", "msgs", "2.blk msgs"},
		{"", "msgs", "2.blk msgs"},
		{"", "", "2.blk msgs"},
		{"3.blk", "3.blk", "3.blk"},
		{"", "", "3.blk msgs"},
		{"", "", ""},
	} {
		if step.write != "" {
			write(step.write)
		}
		put, refused = nil, step.refuse
		if err := s.sync(); (err != nil) != (step.refuse != "") {
			t.Errorf("%+v: %v", step, err)
		}
		if got := strings.Join(put, " "); got != step.want {
			t.Errorf("%+v: synced %q", step, got)
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
