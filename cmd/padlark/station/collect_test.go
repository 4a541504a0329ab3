package station

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/bus"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/uplink"
)

// outside is a NATS server of somebody else; the address is that of its clients.
func outside(t *testing.T) string {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true, JetStream: true, StoreDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the outside server does not start")
	}
	return "nats://" + s.Addr().(*net.TCPAddr).String()
}

func soon(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// send sends frames of a session in one batch.
func send(t *testing.T, s *uplink.Session, from, to uint64) {
	t.Helper()
	var in []storage.Entry
	for n := from; n <= to; n++ {
		in = append(in, storage.Entry{Seq: 10 * n, Frame: &ingest.Frame{Link: "net", N: n, Passed: int64(n), Bytes: numberedText(int(n))}})
	}
	if err := s.Send(soon(t), in, int64(10*to)); err != nil {
		t.Fatal(err)
	}
}

// gatherAll is what a collector is handed until it has n frames.
func gatherAll(t *testing.T, url, name string, n int, stations ...string) []*batch.Batch {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var out []*batch.Batch
	frames := 0
	err := Collect(ctx, Collection{Remote: bus.Remote{URL: url}, Name: name, Stations: stations}, func(_ context.Context, b *batch.Batch) error {
		out = append(out, b)
		if frames += len(b.Frames); frames >= n {
			cancel()
		}
		return nil
	}, func(err error) {
		if err != nil {
			t.Log(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if frames != n {
		t.Errorf("%d frames gathered, want %d", frames, n)
	}
	return out
}

// What is not taken comes again, in order; a collector that is started again
// goes on, and one with another station reads from the start.
func TestCollect(t *testing.T) {
	url := outside(t)
	u, err := uplink.New(uplink.Options{Remote: bus.Remote{URL: url}})
	if err != nil {
		t.Fatal(err)
	}
	defer u.Close()
	x := u.Session(farAway("north-field", "s1"), 0)
	for i := range uint64(20) {
		send(t, x, 10*i+1, 10*i+10)
	}
	send(t, u.Session(farAway("south-field", "s2"), 0), 1, 70)
	nc, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.Publish(soon(t), "padlark.north-field.batch.strange", []byte("hello")); err != nil {
		t.Fatal(err)
	}
	send(t, x, 201, 210)

	ctx, cancel := context.WithCancel(soon(t))
	var got []*batch.Batch
	var told []string
	calls := 0
	err = Collect(ctx, Collection{Remote: bus.Remote{URL: url}, Name: "centre", Stations: []string{"north-field"}}, func(_ context.Context, b *batch.Batch) error {
		if calls++; calls == 7 {
			return errors.New("the disk is full")
		}
		if got = append(got, b); len(got) == 21 {
			cancel()
		}
		return nil
	}, func(err error) {
		// Where there is no processor for two seconds, neither are there signs of life.
		if err != nil && !errors.Is(err, jetstream.ErrNoHeartbeat) {
			told = append(told, err.Error())
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	place, next := int64(0), uint64(1)
	for _, b := range got {
		if b.From != place {
			t.Fatalf("a batch begins at %d, and the one before ends at %d", b.From, place)
		}
		place = b.To
		for _, f := range b.Frames {
			if f.N != next {
				t.Fatalf("frame %d where %d should be", f.N, next)
			}
			next++
		}
	}
	if next != 211 {
		t.Errorf("%d frames, want 210", next-1)
	}
	if all := strings.Join(told, "\n"); len(told) != 2 || !strings.Contains(all, "disk is full") || !strings.Contains(all, "passed over") {
		t.Errorf("told of %q", told)
	}
	send(t, x, 211, 220)
	if more := gatherAll(t, url, "centre", 10, "north-field"); more[0].From != 2100 {
		t.Errorf("it goes on at %d", more[0].From)
	}
	both := gatherAll(t, url, "centre", 290, "north-field", "south-field")
	if both[0].From != 0 {
		t.Errorf("with another station it begins at %d", both[0].From)
	}
	gatherAll(t, url, "another", 290)
}
