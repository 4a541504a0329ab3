package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
)

// TestEachRowOnce delivers frames and samples again, in part, out of order and
// with other contents under the same number: what was first stays, once.
func TestEachRowOnce(t *testing.T) {
	dir := t.TempDir()
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		a, err := Open(t.Context(), filepath.Join(dir, fmt.Sprint(run), FileName), Options{NoSync: true})
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		frames, samples := map[uint64]ingest.Frame{}, map[uint64]decode.Sample{}
		for range rapid.IntRange(1, 6).Draw(t, "deliveries") {
			low := rapid.Uint64Range(1, 120).Draw(t, "from")
			numbers := rapid.SliceOfN(rapid.Uint64Range(low, low+60), 1, 40).Draw(t, "numbers")
			if rapid.Bool().Draw(t, "in order") {
				slices.Sort(numbers)
			}
			var r Rows
			for _, n := range numbers {
				f, s := testFrame("pad-radio", n), testSample("Teal", "pad-radio", n)
				f.Bytes = []byte{byte(len(frames))}
				s.Values.Values[0] = float64(len(samples))
				r.Frames, r.Samples = append(r.Frames, f), append(r.Samples, s)
				if _, there := frames[n]; !there {
					frames[n], samples[n] = f, s
				}
			}
			if err := a.WriteRows(context.Background(), r); err != nil {
				t.Fatal(err)
			}
			if rapid.Bool().Draw(t, "end") { // merges
				if err := a.EndSession(context.Background(), "s1", epoch.Add(time.Hour)); err != nil {
					t.Fatal(err)
				}
			}
			if rapid.Bool().Draw(t, "reopened") { // nothing is remembered
				a.ins.forget()
			}
		}
		sameRows(t, a, frames, samples)
	})
}

func sameRows(t *rapid.T, a *Archive, frames map[uint64]ingest.Frame, samples map[uint64]decode.Sample) {
	last := uint64(0)
	n := 0
	err := a.Frames(context.Background(), storage.Query{Session: "s1", Recorded: true}, func(f ingest.Frame) error {
		if f.N <= last {
			t.Fatalf("frame %d after %d", f.N, last)
		}
		last, n = f.N, n+1
		if diff := cmp.Diff(frames[f.N], f); diff != "" {
			t.Fatalf("frame %d (-want +got):\n%s", f.N, diff)
		}
		return nil
	})
	if err != nil || n != len(frames) {
		t.Fatalf("%d frames of %d, %v", n, len(frames), err)
	}
	n = 0
	err = a.Samples(context.Background(), storage.Query{}, func(s *decode.Sample) error {
		n++
		if diff := cmp.Diff(samples[s.N], *s); diff != "" {
			t.Fatalf("sample %d (-want +got):\n%s", s.N, diff)
		}
		return nil
	})
	if err != nil || n != len(samples) {
		t.Fatalf("%d samples of %d, %v", n, len(samples), err)
	}
}

// blocks counts the blocks of samples.
func blocks(t testing.TB, a *Archive) (n int) {
	t.Helper()
	if err := a.r.QueryRow(`SELECT COUNT(*) FROM sample_blocks`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func writeSome(t testing.TB, a *Archive, from, count uint64) {
	t.Helper()
	var r Rows
	for n := from; n < from+count; n++ {
		r.Frames = append(r.Frames, testFrame("pad-radio", n))
		r.Samples = append(r.Samples, testSample("Teal", "pad-radio", n))
	}
	if err := a.WriteRows(t.Context(), r); err != nil {
		t.Fatal(err)
	}
}

func TestSmallBlocksAreMerged(t *testing.T) {
	a := openNew(t)
	for i := range uint64(500) { // a minute and more of commits in flight
		writeSome(t, a, 3*i+1, 3)
	}
	if n := blocks(t, a); n > 2*mergeBlocks {
		t.Errorf("%d blocks of 1500 samples", n)
	}
	if err := a.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if n := blocks(t, a); n > 2 {
		t.Errorf("%d blocks of 1500 samples after the end", n)
	}
	if got := readSamples(t, a, storage.Query{}); len(got) != 1500 || got[1499].N != 1500 {
		t.Errorf("%d samples", len(got))
	}
	writeSome(t, a, 1501, 10_000)
	if n := blocks(t, a); n > 5 {
		t.Errorf("%d blocks after 10000 at once", n)
	}
	if got := readFrames(t, a, storage.Query{}); len(got) != 11_500 || got[11_499].N != 11_500 {
		t.Errorf("%d frames", len(got))
	}
}

// TestNothingNewWritesNothing looks at the write-ahead log: what is delivered
// again costs a card nothing but the empty transaction.
func TestNothingNewWritesNothing(t *testing.T) {
	a := openNew(t)
	writeSome(t, a, 1, 100)
	before, err := a.FileBytes()
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		a.ins.forget()
		writeSome(t, a, 1, 100)
		writeSome(t, a, 20, 30)
	}
	if after, err := a.FileBytes(); err != nil || after != before {
		t.Errorf("%d bytes on the disk before, %d after (%v)", before, after, err)
	}
}

// TestRedeliveryIntoDamage: rows that would go into a block that cannot be read
// are refused as damage, so that the writer stops and says so instead of trying
// for ever.
func TestRedeliveryIntoDamage(t *testing.T) {
	a := openNew(t)
	writeSome(t, a, 1, 100)
	if _, err := a.ins.conn.ExecContext(t.Context(), `UPDATE frame_blocks SET data = substr(data, 1, length(data) - 1)`); err != nil {
		t.Fatal(err)
	}
	a.ins.forget()
	if err := a.Write(t.Context(), entries(t, testFrame("pad-radio", 50))); !errors.Is(err, ErrDamaged) {
		t.Errorf("frame 50 again: %v, want ErrDamaged", err)
	}
}

// TestReadWhileMerging reads while small blocks come and are merged: every
// reader sees each frame once, in order, without holes.
func TestReadWhileMerging(t *testing.T) {
	a := openNew(t)
	writeSome(t, a, 1, 500)
	stop, wrote := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		defer close(wrote)
		for n := uint64(501); ; n += 3 {
			select {
			case <-stop:
				return
			default:
				writeSome(t, a, n, 3)
			}
			select {
			case wrote <- struct{}{}:
			default:
			}
		}
	})
	for range 20 {
		last := uint64(0)
		err := a.Samples(t.Context(), storage.Query{}, func(s *decode.Sample) error {
			if s.N != last+1 {
				return fmt.Errorf("sample %d after %d", s.N, last)
			}
			last = s.N
			if last%97 == 0 {
				<-wrote // a slow reader, while blocks vanish
			}
			return nil
		})
		if err != nil || last < 500 {
			t.Errorf("read up to %d: %v", last, err)
		}
	}
	close(stop)
	wg.Wait()
}

// withColumns is an archive with 6,302 samples, two of which have other channels
// or another rocket; its times are shifted by an hour.
func withColumns(t *testing.T) *Archive {
	t.Helper()
	a := openNew(t)
	for i := range uint64(9) {
		writeSome(t, a, 700*i+1, 700)
	}
	other := testSample("Teal", "udp", 5)
	other.Values = decode.Channels{Names: []string{"cell_v", "humidity"}, Values: []float64{3.7, 44}}
	if err := a.WriteRows(t.Context(), Rows{Samples: []decode.Sample{other, testSample("Rust", "udp", 6)}}); err != nil {
		t.Fatal(err)
	}
	if err := a.SetShift(t.Context(), "s1", time.Hour, "by hand"); err != nil {
		t.Fatal(err)
	}
	return a
}

// shiftedAt is when sample n of withColumns was measured.
func shiftedAt(n uint64) time.Time { return testSample("", "", n).At.Add(time.Hour) }

// TestColumnsAreSamples compares the fast reader with the other.
func TestColumnsAreSamples(t *testing.T) {
	a, at := withColumns(t), shiftedAt
	type row struct {
		Rocket, Link string
		At           int64
		P, Cell      float64
	}
	for name, q := range map[string]storage.Query{
		"all":       {},
		"rocket":    {Session: "s1", Rocket: "Teal"},
		"recorded":  {Rocket: "Teal", Recorded: true},
		"window":    {From: at(1000), To: at(3333)},
		"nothing":   {From: at(100_000)},
		"passed":    {Rocket: "Teal", FromPassed: testFrame("", 4000).Passed},
		"stretch":   {FromPassed: testFrame("", 1000).Passed, ToPassed: testFrame("", 2222).Passed},
		"link":      {Link: "udp"},
		"both ends": {From: at(650), To: at(5000), FromPassed: testFrame("", 700).Passed},
	} {
		t.Run(name, func(t *testing.T) {
			var want, got []row
			for _, s := range readSamples(t, a, q) {
				p, ok := s.Values.Get("pressure_pa")
				if !ok {
					p = -1
				}
				c, _ := s.Values.Get("cell_v")
				want = append(want, row{s.Rocket, s.Link, s.At.UnixNano(), p, c})
			}
			err := a.Columns(t.Context(), q, []string{"pressure_pa", "cell_v"}, func(c *storage.Columns) error {
				for i, at := range c.At {
					p := c.Values[0][i]
					if p != p {
						p = -1
					}
					got = append(got, row{c.Rocket, c.Link, at, p, c.Values[1][i]})
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			order := func(x, y row) int {
				return 4*cmpOf(x.Rocket, y.Rocket) + 2*cmpOf(x.At, y.At) + cmpOf(x.Link, y.Link)
			}
			slices.SortFunc(want, order)
			slices.SortFunc(got, order)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-want +got):\n%.2000s", diff)
			}
		})
	}
}

func TestChannelsOfColumns(t *testing.T) {
	a, at := withColumns(t), shiftedAt
	names, err := a.ChannelNames(t.Context(), storage.Query{Rocket: "Teal"})
	if diff := cmp.Diff([]string{"cell_v", "humidity", "igniter_ohm", "pressure_pa", "release_us", "temperature_c"}, names); err != nil || diff != "" {
		t.Errorf("names: %v (-want +got):\n%s", err, diff)
	}
	names, err = a.ChannelNames(t.Context(), storage.Query{Rocket: "Teal", From: at(6), To: at(6000)})
	if slices.Contains(names, "humidity") || len(names) != 5 || err != nil {
		t.Errorf("names in a window: %v %v", names, err)
	}
	cells := 0
	err = a.Columns(t.Context(), storage.Query{Rocket: "Teal"}, nil, func(c *storage.Columns) error {
		if len(c.Channels) != len(c.Values) {
			t.Fatalf("%d channels, %d columns", len(c.Channels), len(c.Values))
		}
		for i, v := range c.Values {
			if len(v) != len(c.At) {
				t.Fatalf("%s: %d values of %d samples", c.Channels[i], len(v), len(c.At))
			}
			cells += len(v)
		}
		return nil
	})
	if want := 5*6300 + 2; err != nil || cells != want {
		t.Errorf("%d values, want %d (%v)", cells, want, err)
	}
	stop := errors.New("stop")
	if err := a.Columns(t.Context(), storage.Query{}, nil, func(*storage.Columns) error { return stop }); err != stop {
		t.Errorf("the caller's error: %v", err)
	}
}

func cmpOf[T int64 | string](x, y T) int {
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}

func TestDamagedBlockIsNamed(t *testing.T) {
	path := filledBy(t, 3000, 1500)
	db := rawDB(t, path)
	var data []byte
	if err := db.QueryRow(`SELECT data FROM sample_blocks WHERE n_first = 1501`).Scan(&data); err != nil {
		t.Fatal(err)
	}
	data[rand.IntN(len(data))] ^= 4
	if _, err := db.Exec(`UPDATE sample_blocks SET data = ? WHERE n_first = 1501`, data); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	a, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if got := readSamples(t, a, storage.Query{}); len(got) != 1500 {
		t.Errorf("%d samples", len(got))
	}
	want := []Loss{{Table: "samples", Session: "s1", Link: "pad-radio", Rocket: "Teal", From: 1500, To: 3001}}
	if diff := cmp.Diff(want, a.Lost()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	n := 0
	err = a.Columns(t.Context(), storage.Query{}, []string{"cell_v"}, func(c *storage.Columns) error { n += len(c.At); return nil })
	if err != nil || n != 1500 {
		t.Errorf("columns: %d, %v", n, err)
	}
	refuseDamaged(t, path)
}
