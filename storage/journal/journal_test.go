package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// epoch of the tests' sessions; any moment would do.
var epoch = time.Date(2031, 5, 17, 9, 0, 0, 123456789, time.UTC)

var info = ingest.CaptureInfo{
	Station: "north-field", Session: "s1", Epoch: epoch, Config: "[station]\nname = \"north-field\"\n", Version: "test",
	Links: []ingest.CaptureLink{{Name: "pad-radio", Kind: "serial", Baud: 9600}, {Name: "wifi", Kind: "udp"}},
}

func create(t testing.TB, dir string) *Journal {
	t.Helper()
	j, err := Create(dir, info)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = errors.Join(j.Close(0), j.Release()) })
	return j
}

func frame(n uint64) ingest.Frame {
	mono := int64(n) * 20_000_000
	f := ingest.Frame{
		Session: "s1", Link: "pad-radio", N: n, Heard: epoch.Add(time.Duration(mono)), Mono: mono, Passed: mono + 1000,
		Wire: 24, Baud: 9600, Bytes: []byte{1, 7, byte(n), byte(n >> 8)},
	}
	if n%3 == 0 {
		v := -87.5
		f.RSSI, f.Link, f.Baud = &v, "wifi", 0
	}
	return f
}

func liftoff(rocket string, at time.Duration) *flight.Event {
	return &flight.Event{Session: "s1", ID: rocket + "/1/liftoff", Kind: flight.Liftoff, Rocket: rocket, Flight: 1, At: epoch.Add(at), CalledAt: epoch.Add(at)}
}

// readAll reads a journal; the error is nil at its end.
func readAll(t testing.TB, path string, d Decoder) ([]storage.Entry, *Reader, error) {
	t.Helper()
	r, err := Open(path, d)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	var out []storage.Entry
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			return out, r, nil
		}
		if err != nil {
			return out, r, err
		}
		out = append(out, e)
	}
}

func frames(entries []storage.Entry) (out []ingest.Frame) {
	for _, e := range entries {
		if e.Frame != nil {
			out = append(out, *e.Frame)
		}
	}
	return out
}

// What was written comes back as it was and in order, from the plain file and
// from the compressed one.
func TestRoundTrip(t *testing.T) {
	j := create(t, t.TempDir())
	var want []ingest.Frame
	for n := uint64(1); n <= 100; n += 4 {
		group := []ingest.Frame{frame(n), frame(n + 1), frame(n + 2), frame(n + 3)}
		if !j.Frames(group) {
			t.Fatal(j.State().Trouble)
		}
		want = append(want, group...)
	}
	up := liftoff("Teal", 3*time.Second)
	al := &flight.Alarm{Session: "s1", ID: "Teal/ballistic/1", Change: 2, Kind: "ballistic", Active: true, RaisedAt: up.At, ChangedAt: up.At, Say: "Look up"}
	if err := errors.Join(j.Event(up), j.Alarm(al)); err != nil {
		t.Fatal(err)
	}
	end := j.State().End
	if err := errors.Join(j.Close(9*time.Second), j.Release()); err != nil {
		t.Fatal(err)
	}
	check := func(path string) {
		t.Helper()
		got, r, err := readAll(t, path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, frames(got)); diff != "" {
			t.Errorf("%s: frames (-want +got):\n%.2000s", path, diff)
		}
		n := len(got)
		if n != 102 || !cmp.Equal(got[n-2].Event, up) || !cmp.Equal(got[n-1].Alarm, al) || got[n-1].Seq != uint64(end) {
			t.Errorf("%s: %d entries, the last two %+v", path, n, got[max(0, n-2):])
		}
		if r.Ended() != 9*time.Second || !cmp.Equal(r.Info(), info) {
			t.Errorf("%s: ended %v, info %+v", path, r.Ended(), r.Info())
		}
	}
	check(j.Path())
	packed, err := Pack(t.Context(), j.Path())
	if err != nil {
		t.Fatal(err)
	}
	check(packed)
	if list, err := List(filepath.Dir(packed)); err != nil || len(list) != 1 || list[0] != packed || SessionOf(packed) != "s1" {
		t.Errorf("the folder has %v, %v", list, err)
	}
}

// A journal that is cut at any byte of its last write goes on behind its last
// whole record.
func TestTornTail(t *testing.T) {
	dir := t.TempDir()
	j := create(t, dir)
	j.Frames([]ingest.Frame{frame(1), frame(2)})
	whole := j.State().End
	j.Frames([]ingest.Frame{frame(3)})
	if err := errors.Join(j.Close(0), j.Release()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(j.Path())
	if err != nil {
		t.Fatal(err)
	}
	for cut := whole; cut <= int64(len(data)); cut++ {
		path := filepath.Join(t.TempDir(), "s1"+Suffix)
		if err := os.WriteFile(path, data[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		_, r, err := readAll(t, path, nil)
		if err != nil {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		again, err := GoOn(path, r.Info(), r.Pos())
		if err != nil {
			t.Fatal(err)
		}
		again.Frames([]ingest.Frame{frame(4)})
		if err := errors.Join(again.Close(0), again.Release()); err != nil {
			t.Fatal(err)
		}
		want := []ingest.Frame{frame(1), frame(2), frame(4)}
		if cut == int64(len(data)) {
			want = []ingest.Frame{frame(1), frame(2), frame(3), frame(4)}
		}
		got, _, err := readAll(t, path, nil)
		if diff := cmp.Diff(want, frames(got)); err != nil || diff != "" {
			t.Fatalf("cut at %d: %v (-want +got):\n%s", cut, err, diff)
		}
	}
}

// likeFrames decodes each frame to a sample of the same number; every seventh is
// no sample.
type likeFrames struct{ seen uint64 }

func (d *likeFrames) Decode(f ingest.Frame) (decode.Sample, error) {
	d.seen++
	if f.N%7 == 0 {
		return decode.Sample{}, &decode.Reject{Kind: decode.Corrupt, Reason: decode.ReasonChecksum, Offset: -1}
	}
	return decode.Sample{Session: f.Session, Link: f.Link, N: f.N, Rocket: "Teal", Heard: f.Heard, Passed: f.Passed}, nil
}

// A follower gets every frame once and in order with what it decodes to, however
// often it is stopped, started again and failed on, while the journal grows.
func TestFollower(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "j")
		if err != nil {
			rt.Fatal(err)
		}
		j, err := Create(dir, info)
		if err != nil {
			rt.Fatal(err)
		}
		defer j.Release() //nolint:errcheck // the file is thrown away
		var got []storage.Entry
		place, n := int64(0), uint64(0)
		for range rapid.IntRange(1, 6).Draw(rt, "lives") {
			d := &likeFrames{}
			f := &Follower{Name: "test", Journal: j, Decoder: d, From: place, BatchMost: rapid.IntRange(1, 20).Draw(rt, "batch"), RetryMax: time.Millisecond}
			fails := rapid.IntRange(0, 3).Draw(rt, "fails")
			ctx, cancel := context.WithCancel(t.Context())
			var wg sync.WaitGroup
			wg.Go(func() {
				if err := f.Run(ctx, func(_ context.Context, batch []storage.Entry, at int64) error {
					if fails > 0 {
						fails--
						return errors.New("not now")
					}
					got, place = append(got, batch...), at
					return nil
				}); err != nil {
					rt.Error(err)
				}
			})
			for range rapid.IntRange(0, 30).Draw(rt, "frames") {
				n++
				j.Frames([]ingest.Frame{frame(n)})
			}
			var waited error
			if all := rapid.Bool().Draw(rt, "all"); all {
				waited = f.WaitFor(ctx, j.State().End)
				if len(frames(got)) != int(n) && waited == nil {
					rt.Errorf("%d frames, want %d", len(frames(got)), n)
				}
			}
			cancel()
			wg.Wait()
			if waited != nil {
				rt.Fatal(waited)
			}
		}
		rest := &Follower{Name: "test", Journal: j, Decoder: &likeFrames{}, From: place}
		if err := j.Close(0); err != nil {
			rt.Fatal(err)
		}
		err = rest.Run(t.Context(), func(_ context.Context, batch []storage.Entry, _ int64) error {
			got = append(got, batch...)
			return nil
		})
		if err != nil {
			rt.Fatal(err)
		}
		if len(got) != int(n) {
			rt.Fatalf("%d entries, want %d", len(got), n)
		}
		for i, e := range got {
			want := frame(uint64(i + 1))
			if !cmp.Equal(*e.Frame, want) || (e.Sample == nil) != (want.N%7 == 0) || (e.Reject == nil) == (want.N%7 == 0) {
				rt.Fatalf("entry %d: %+v", i, e)
			}
		}
	})
}

// A follower that has gone may not be waited for in vain.
func TestWaitForEnded(t *testing.T) {
	j := create(t, t.TempDir())
	j.Frames([]ingest.Frame{frame(1)})
	f := &Follower{Name: "archive", Journal: j}
	bad := errors.New("damaged")
	err := f.Run(t.Context(), func(context.Context, []storage.Entry, int64) error { return fmt.Errorf("%w: %w", ErrStop, bad) })
	if !errors.Is(err, bad) {
		t.Errorf("ended with %v", err)
	}
	if err := f.WaitFor(t.Context(), j.State().End); !errors.Is(err, errEnded) {
		t.Errorf("waited: %v", err)
	}
}

// While the disk takes nothing frames wait in memory, the oldest give way, and
// when there is room again the rest is written, with a note of what is missing.
func TestNoRoom(t *testing.T) {
	j := create(t, t.TempDir())
	j.Frames([]ingest.Frame{frame(1)})
	// A file that is open for reading only takes nothing, like a disk without room.
	file := j.f
	shut, err := os.Open(j.Path())
	if err != nil {
		t.Fatal(err)
	}
	j.f = shut
	big := frame(0)
	big.Bytes = make([]byte, 60_000)
	const n = 300
	for i := uint64(2); i <= n; i++ {
		big.N = i
		if j.Frames([]ingest.Frame{big}) {
			t.Fatal("written to a file that takes nothing")
		}
	}
	st := j.State()
	if st.Trouble == nil || st.Waiting > backlogMost || st.Waiting < backlogMost-70_000 || st.Lost == 0 {
		t.Errorf("%d bytes wait, %d frames gave way, %v", st.Waiting, st.Lost, st.Trouble)
	}
	lost := st.Lost
	j.f = file
	j.Retry()
	if st := j.State(); st.Trouble != nil || st.Waiting != 0 {
		t.Errorf("with room again: %+v", st)
	}
	_ = shut.Close() // only read from
	got, r, err := readAll(t, j.Path(), nil)
	if err != nil {
		t.Fatal(err)
	}
	fs := frames(got)
	if len(fs) != n-int(lost) || fs[0].N != 1 || fs[1].N != 2+lost || fs[len(fs)-1].N != n || r.Lost() != 0 {
		t.Errorf("%d frames, the second %d, %d gave way, noted %d", len(fs), fs[1].N, lost, r.Lost())
	}
	j.Frames([]ingest.Frame{frame(n + 1)})
	if _, r, _ := readAll(t, j.Path(), nil); r.Lost() != lost {
		t.Errorf("noted %d, want %d", r.Lost(), lost)
	}
}

// A file that somebody removes while it is written is there again, whole.
func TestRemoved(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data", "journal")
	j := create(t, dir)
	j.Frames([]ingest.Frame{frame(1), frame(2)})
	if err := j.Check(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Dir(dir)); err != nil {
		t.Fatal(err)
	}
	j.Frames([]ingest.Frame{frame(3)})
	if err := j.Check(); !errors.Is(err, ErrMoved) || !strings.Contains(err.Error(), "written anew") {
		t.Errorf("the removal is told as %v", err)
	}
	j.Frames([]ingest.Frame{frame(4)})
	got, _, err := readAll(t, j.Path(), nil)
	if diff := cmp.Diff([]ingest.Frame{frame(1), frame(2), frame(3), frame(4)}, frames(got)); err != nil || diff != "" {
		t.Errorf("%v (-want +got):\n%s", err, diff)
	}
}

// In silence nothing is synced, in flight more often than while everything waits.
func TestSyncs(t *testing.T) {
	j := create(t, t.TempDir())
	j.Frames([]ingest.Frame{frame(1)})
	if err := j.Sync(); err != nil {
		t.Fatal(err)
	}
	if j.synced != j.State().End {
		t.Errorf("synced to %d of %d", j.synced, j.State().End)
	}
	if j.State().Flying {
		t.Error("it flies on the pad")
	}
	if err := j.Event(liftoff("Teal", time.Second)); err != nil {
		t.Fatal(err)
	}
	if !j.State().Flying {
		t.Error("it does not fly after the liftoff")
	}
	for name, want := range map[string]bool{"Teal": true, "Rust": false} {
		if got := j.Flies(func(rocket string) bool { return rocket == name }); got != want {
			t.Errorf("%s flies: %t, want %t", name, got, want)
		}
	}
	late := frame(1)
	late.Passed = int64(time.Second + flyingMost + 1)
	j.Frames([]ingest.Frame{late})
	if j.State().Flying {
		t.Error("a rocket that was lost flies for ever")
	}
}

// FuzzOpen reads any bytes behind a whole header: it ends, with no more entries
// than there is room for.
func FuzzOpen(f *testing.F) {
	head, err := ingest.AppendCaptureHeader(nil, info)
	if err != nil {
		f.Fatal(err)
	}
	one := frame(3)
	seed := ingest.AppendNote(ingest.AppendFrame(nil, 1, 0, &one), noteEvent, 5, []byte(`{"id":"x"}`))
	f.Add(seed)
	f.Add(ingest.AppendNote(seed, noteLost, 5, []byte{200, 1}))
	f.Add(ingest.AppendNote(nil, noteAlarm, 5, []byte(`{"id":`)))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(dir, fmt.Sprintf("%d%s", os.Getpid(), Suffix))
		if err := os.WriteFile(path, append(bytes.Clone(head), data...), 0o644); err != nil {
			t.Fatal(err)
		}
		got, r, err := readAll(t, path, &likeFrames{})
		if len(got) > len(data)/20 {
			t.Fatalf("%d entries in %d bytes", len(got), len(data))
		}
		if err == nil && r.Pos() > int64(len(head)+len(data)) {
			t.Fatalf("read to %d of %d", r.Pos(), len(head)+len(data))
		}
	})
}

// Where as much comes between two syncs each time, none of them touches a page more
// than it takes by itself, and what ends the pages is no entry.
func TestPagesOnce(t *testing.T) {
	pages := func(n int64) int64 { return (n + pageSize - 1) / pageSize }
	for _, each := range []int{1, 18, 24, 144, 300} { // frames between two syncs
		j := create(t, t.TempDir())
		n, touched, least := 0, int64(0), int64(0)
		for range 40 {
			before := j.State().End
			for range each {
				n++
				f := frame(uint64(n))
				f.Bytes = make([]byte, 22)
				j.Frames([]ingest.Frame{f})
			}
			least += pages(j.State().End - before)
			if err := j.sync(true); err != nil {
				t.Fatal(err)
			}
			touched += pages(j.State().End) - before/pageSize
		}
		// The first one follows the header, and some ends leave no room for a note.
		if touched > least+3 {
			t.Errorf("with %d frames a sync %d pages were touched where %d would do", each, touched, least)
		}
		if all, _, err := readAll(t, j.Path(), nil); err != nil || len(all) != n {
			t.Errorf("%d entries of %d frames, %v", len(all), n, err)
		}
	}
}
