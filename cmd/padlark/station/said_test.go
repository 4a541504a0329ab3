package station

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
	"padlark/storage/uplink"
)

// What people say of flights on a station reaches the centre, also when it is said
// long after the session; what is said of sessions of other stations does not.
func TestSaidReachesTheCentre(t *testing.T) {
	url, field := outside(t), openCentre(t, t.TempDir())
	defer field.close(t)
	up, err := uplink.New(uplink.Options{Remote: bus.Remote{URL: url}})
	if err != nil {
		t.Fatal(err)
	}
	defer up.Close()
	for session, station := range map[string]string{"s1": "north-field", "s2": "south-field"} {
		send(t, up.Session(farAway(station, session), 0), 1, 10)
		if err := field.archive.StartSession(t.Context(), storage.Session{ID: session, Station: station, Epoch: gatherEpoch}); err != nil {
			t.Fatal(err)
		}
	}
	say := func(session string, n int, void bool) {
		t.Helper()
		v := sqlite.Void{Session: session, Rocket: "Teal", Flight: n, Void: void, At: gatherEpoch.Add(time.Duration(n) * time.Second), Why: "a \x1b[31mbump"}
		if err := field.archive.TakeVoid(t.Context(), v); err != nil {
			t.Fatal(err)
		}
	}
	say("s1", 1, true)
	say("s2", 1, true)
	say("s1", 2, true)

	dir := t.TempDir()
	running, err := journal.Create(dir, farAway("north-field", "s3"))
	if err != nil {
		t.Fatal(err)
	}
	defer running.Close(0) //nolint:errcheck // nothing was written
	start := func() (stop func()) {
		u := &sender{up: up, log: zerolog.New(zerolog.NewTestWriter(t)), dir: dir, look: time.Millisecond, follow: &journal.Follower{Journal: running}}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			u.said(ctx, field.archive, "north-field")
		}()
		return func() { cancel(); <-done }
	}
	centre := openCentre(t, t.TempDir())
	defer centre.close(t)
	gather := func(statements int) {
		t.Helper()
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		err := Collect(ctx, Collection{Remote: bus.Remote{URL: url}, Name: "centre"}, func(ctx context.Context, b *batch.Batch) error {
			err := errors.Join(centre.Take(ctx, b), centre.Take(ctx, b)) // the second time it changes nothing
			if err != nil {
				return err
			}
			if statements -= len(b.Voids); statements <= 0 {
				cancel()
			}
			return nil
		}, func(error) {})
		if err != nil || statements > 0 {
			t.Fatalf("%d statements did not come: %v", statements, err)
		}
	}
	same := func() {
		t.Helper()
		want, werr := field.archive.Voids(t.Context(), "s1")
		got, gerr := centre.archive.Voids(t.Context(), "s1")
		if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(sqlite.Void{}, "ID")); diff != "" || werr != nil || gerr != nil {
			t.Errorf("said of s1 (-field +centre): %v %v\n%s", werr, gerr, diff)
		}
		if other, err := centre.archive.Voids(t.Context(), "s2"); len(other) != 0 || err != nil {
			t.Errorf("said of s2: %v %v", other, err)
		}
	}
	stop := start()
	gather(2)
	same()
	say("s1", 1, false)
	gather(1)
	same()
	stop()
	stop = start() // what was sent is not sent again
	say("s1", 3, true)
	gather(1)
	same()
	stop()
}
