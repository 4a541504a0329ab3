package station

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/journal"
	"padlark/storage/uplink"
)

// left is the journal of an earlier session with n frames of which the uplink had
// begun to send some.
func left(t *testing.T, dir, session string, n uint64, ended time.Duration) (path string, places []int64) {
	t.Helper()
	j, err := journal.Create(dir, farAway("north-field", session))
	if err != nil {
		t.Fatal(err)
	}
	for i := uint64(1); i <= n; i++ {
		j.Frames([]ingest.Frame{{Link: "net", N: i, Mono: int64(i), Passed: int64(i), Bytes: numberedText(int(i))}})
		places = append(places, j.State().End)
	}
	if err := errors.Join(j.Close(ended), j.Release(), savePlace(j.Path(), uplinkName, 0)); err != nil {
		t.Fatal(err)
	}
	return j.Path(), places
}

// A start sends what earlier sessions have left, whether their journals are
// compressed meanwhile or not, each frame once, and says that they are over; a
// session that the uplink never knew stays here.
func TestEarlierSessionsAreSent(t *testing.T) {
	url, dir := outside(t), t.TempDir()
	plain, places := left(t, dir, "s-plain", 9000, 0)
	packed, _ := left(t, dir, "s-packed", 500, 77*time.Second)
	left(t, dir, "s-running", 10, 0)
	left(t, dir, "s-other", 10, 0)
	gone := filepath.Join(dir, "s-gone")
	if err := errors.Join(os.Remove(filepath.Join(dir, "s-other."+uplinkName)), savePlace(gone, uplinkName, 100)); err != nil {
		t.Fatal(err)
	}
	if _, err := journal.Pack(t.Context(), packed); err != nil {
		t.Fatal(err)
	}
	up, err := uplink.New(uplink.Options{Remote: bus.Remote{URL: url}})
	if err != nil {
		t.Fatal(err)
	}
	defer up.Close()
	// The stream has 4000 frames of the first, and the place kept here is an older one.
	before := up.Session(farAway("north-field", "s-plain"), 0)
	for _, part := range [][2]uint64{{1, 2500}, {2501, 4000}} {
		sendFrom(t, before, plain, places[part[1]-1])
	}
	if err := savePlace(plain, uplinkName, places[999]); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time nothing is left
		u := &sender{up: up, log: zerolog.New(zerolog.NewTestWriter(t)), dir: dir}
		u.earlier(soon(t), "s-running")
	}
	if rest, err := filepath.Glob(filepath.Join(dir, "*."+uplinkName)); err != nil || len(rest) != 1 || journal.SessionOf(rest[0]) != "s-running."+uplinkName {
		t.Errorf("left to send: %q, %v", rest, err)
	}

	c := openCentre(t, t.TempDir())
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	ends := 0
	err = Collect(ctx, Collection{Remote: bus.Remote{URL: url}, Name: "centre"}, func(ctx context.Context, b *batch.Batch) error {
		if b.End != nil {
			if ends++; ends == 2 {
				cancel()
			}
		}
		return c.Take(ctx, b)
	}, func(err error) {
		if err != nil {
			t.Log(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	c.close(t)
	for session, n := range map[string]uint64{"s-plain": 9000, "s-packed": 500} {
		inJournal, inArchive, _ := has(t, c.data, session)
		if len(inJournal) != int(n) || inJournal[n-1] != n || len(inArchive) != int(n) {
			t.Errorf("%s: %d frames in the journal and %d in the archive, of %d", session, len(inJournal), len(inArchive), n)
		}
	}
	// Where the stream lost nothing, the journal says what the station's own does.
	ours, theirs := entriesOf(t, plain), entriesOf(t, filepath.Join(c.data, "journal", "s-plain"+journal.Packed))
	if d := cmp.Diff(ours, theirs); d != "" {
		t.Errorf("the journal in the centre is another than the station's:\n%s", d)
	}
	for _, name := range []string{"s-other", "s-running", "s-gone"} {
		if _, err := os.Stat(filepath.Join(c.data, "journal", name+journal.Suffix)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s was sent: %v", name, err)
		}
	}
}

// entriesOf are the entries of a journal without their places.
func entriesOf(t *testing.T, path string) (all []storage.Entry) {
	t.Helper()
	r, err := journal.Open(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close() //nolint:errcheck // it was only read from
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		e.Seq = 0
		all = append(all, e)
	}
}

// sendFrom sends a journal from its start to a place, as far as the stream has it
// not.
func sendFrom(t *testing.T, s *uplink.Session, path string, place int64) {
	t.Helper()
	r, err := journal.Open(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var in []storage.Entry
	for r.Pos() < place {
		e, err := r.Next()
		if err != nil {
			t.Fatal(err)
		}
		in = append(in, e)
	}
	if err := s.Send(soon(t), in, place); err != nil {
		t.Fatal(err)
	}
}

// What happens in a flight and what is raised goes to the outside server at once,
// however long frames are gathered.
func TestNewsGoesUpAtOnce(t *testing.T) {
	info := farAway("north-field", "s-news")
	j, err := journal.Create(t.TempDir(), info)
	if err != nil {
		t.Fatal(err)
	}
	f := uplinkFollower(j, 0)
	f.Wait = func() time.Duration { return time.Hour }
	heard := make(chan string)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		ended <- f.Run(ctx, func(ctx context.Context, batch []storage.Entry, _ int64) error {
			for _, e := range batch {
				what := ""
				switch {
				case e.Event != nil:
					what = string(e.Event.Kind)
				case e.Alarm != nil:
					what = string(e.Alarm.Kind)
				default:
					continue
				}
				select {
				case heard <- what:
				case <-ctx.Done():
				}
			}
			return nil
		})
	}()
	for i, kind := range []flight.Kind{flight.Liftoff, flight.Apogee, flight.Touchdown} {
		at := info.Epoch.Add(time.Duration(i+1) * time.Second)
		j.Frames([]ingest.Frame{{Link: "net", N: uint64(i + 1), Mono: int64(i + 1), Passed: int64(i + 1), Bytes: numberedText(i + 1)}})
		if err := j.Event(&flight.Event{Kind: kind, Rocket: "Teal", Flight: 1, At: at, CalledAt: at}); err != nil {
			t.Fatal(err)
		}
		select {
		case got := <-heard:
			if got != string(kind) {
				t.Errorf("%s came, not %s", got, kind)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("%s is gathered with the frames", kind)
		}
	}
	cancel()
	if err := errors.Join(<-ended, j.Close(0), j.Release()); err != nil {
		t.Fatal(err)
	}
}
