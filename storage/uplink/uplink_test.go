package uplink

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/bus"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
)

// outside starts a plain NATS server on a random loopback port, as a person
// would run one beside the daemon.
func outside(t testing.TB, change func(*server.Options)) *server.Server {
	t.Helper()
	o := &server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(),
	}
	if change != nil {
		change(o)
	}
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the outside server does not start")
	}
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}

// threeServers are a cluster; stop and start work on one of them.
type threeServers struct {
	opts    []*server.Options
	servers []*server.Server
}

func startThree(t *testing.T) *threeServers {
	t.Helper()
	c := &threeServers{}
	var routes []*url.URL
	var ports []int
	for range 3 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		ports = append(ports, l.Addr().(*net.TCPAddr).Port)
		routes = append(routes, &url.URL{Scheme: "nats", Host: l.Addr().String()})
		l.Close()
	}
	for i := range 3 {
		dir := t.TempDir()
		s := outside(t, func(o *server.Options) {
			o.ServerName, o.StoreDir = fmt.Sprintf("central-%d", i+1), dir
			o.Cluster = server.ClusterOpts{Name: "central", Host: "127.0.0.1", Port: ports[i]}
			o.Routes = routes
			c.opts = append(c.opts, o)
		})
		c.opts[i].Port = s.Addr().(*net.TCPAddr).Port
		c.servers = append(c.servers, s)
	}
	for end := time.Now().Add(30 * time.Second); ; {
		leaders := 0
		for _, s := range c.servers {
			if s.JetStreamIsLeader() && s.JetStreamIsCurrent() {
				leaders++
			}
		}
		if leaders == 1 {
			return c
		}
		if time.Now().After(end) {
			t.Fatal("the cluster has no leader")
		}
		<-time.After(20 * time.Millisecond)
	}
}

// restart stops the server that leads the stream, for a while, and starts it
// again on the same files and port.
func (c *threeServers) restart(t *testing.T, away time.Duration) {
	t.Helper()
	i := -1
	for end := soon(t); i < 0; {
		// Between two leaders there is none.
		i = slices.IndexFunc(c.servers, func(s *server.Server) bool {
			return s.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, Stream)
		})
		select {
		case <-time.After(10 * time.Millisecond):
		case <-end.Done():
			t.Fatal("the stream has no leader")
		}
	}
	c.servers[i].Shutdown()
	c.servers[i].WaitForShutdown()
	<-time.After(away)
	c.servers[i] = outside(t, func(o *server.Options) { *o = *c.opts[i] })
}

var uplinkInfo = ingest.CaptureInfo{
	Station: "north-field", Session: "20310517-090000-ABCD", Epoch: time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC), Config: "[station]\n",
	Links: []ingest.CaptureLink{{Name: "pad-radio", Kind: "serial", Baud: 9600}},
}

func testFrame(n uint64) *ingest.Frame {
	mono := int64(n) * 20_000_000
	return &ingest.Frame{
		Session: uplinkInfo.Session, Link: "pad-radio", N: n, Heard: uplinkInfo.Epoch.Add(time.Duration(mono)),
		Mono: mono, Passed: mono + 1000, Wire: 24, Baud: 9600, Bytes: []byte{1, 7, byte(n), byte(n >> 8)},
	}
}

// soon is a context that ends a failing test.
func soon(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// piece are frames of a journal in which each takes ten bytes, and its place.
func piece(from, to uint64) (entries []storage.Entry, place int64) {
	for n := from; n <= to; n++ {
		f := testFrame(n)
		entries = append(entries, storage.Entry{Seq: 10 * n, Frame: f})
		if n%50 == 0 {
			e := flight.Event{Session: f.Session, ID: fmt.Sprintf("Teal/%d/liftoff", n), At: f.Heard, CalledAt: f.Heard, Rocket: "Teal", Kind: flight.Liftoff, Flight: int(n)}
			entries = append(entries, storage.Entry{Seq: 10*n + 5, Event: &e})
		}
	}
	return entries, int64(entries[len(entries)-1].Seq)
}

func newUplink(t testing.TB, o Options) *Uplink {
	t.Helper()
	u, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(u.Close)
	return u
}

// send sends as a follower does: again until it is taken.
func send(t testing.TB, s *Session, from, to uint64) (failures int) {
	t.Helper()
	ctx := soon(t)
	entries, place := piece(from, to)
	for {
		err := s.Send(ctx, entries, place)
		if err == nil {
			return failures
		}
		if ctx.Err() != nil {
			t.Fatalf("frames %d to %d: %v", from, to, err)
		}
		failures++
		<-time.After(20 * time.Millisecond)
	}
}

// stream is the stream of a server.
func stream(t testing.TB, url string) jetstream.Stream {
	t.Helper()
	nc, err := bus.Connect(bus.Remote{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	for end := soon(t); ; {
		// A cluster that has just lost a server does not answer everything.
		ctx, cancel := context.WithTimeout(end, 2*time.Second)
		s, err := FindStream(ctx, js, bus.Remote{URL: url})
		cancel()
		if err == nil {
			return s
		}
		if end.Err() != nil {
			t.Fatal(err)
		}
	}
}

// all is what the stream of a server holds, in order.
func all(t testing.TB, url string) (out []*batch.Batch) {
	t.Helper()
	s := stream(t, url)
	last := s.CachedInfo().State.LastSeq
	for seq := uint64(1); seq <= last; seq++ {
		m, err := s.GetMsg(soon(t), seq)
		if err != nil {
			t.Fatal(err)
		}
		b, err := batch.Read(m.Data)
		if err != nil {
			t.Fatal(err)
		}
		if bus.Batches(b.Station, b.Session) != m.Subject {
			t.Fatalf("a batch of %s of %s on %s", b.Session, b.Station, m.Subject)
		}
		out = append(out, b)
	}
	return out
}

// checkGathered checks that each frame from 1 to n and each event is there once,
// in order, in batches without a gap.
func checkGathered(t testing.TB, got []*batch.Batch, n uint64) {
	t.Helper()
	place, next, events := int64(0), uint64(1), 0
	for _, b := range got {
		if b.From != place {
			t.Fatalf("a batch begins at %d, and the one before ends at %d", b.From, place)
		}
		place = b.To
		entries, err := b.Entries(&uplinkInfo)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			switch {
			case e.Event != nil:
				if events++; uint64(e.Event.Flight) != next-1 {
					t.Fatalf("event %d stands before frame %d", e.Event.Flight, next)
				}
			case e.Frame.N != next:
				t.Fatalf("frame %d where %d should be", e.Frame.N, next)
			default:
				next++
			}
		}
	}
	if next != n+1 || events != int(n/50) {
		t.Errorf("%d frames and %d events, of %d", next-1, events, n)
	}
}

// Three servers keep three copies; the one that leads is stopped and started
// again while a station sends: nothing is lost, nothing stands twice.
func TestUplinkServersGoAway(t *testing.T) {
	c := startThree(t)
	var urls []string
	for _, s := range c.servers {
		urls = append(urls, s.ClientURL())
	}
	u := newUplink(t, Options{Remote: bus.Remote{URL: strings.Join(urls, ",")}, Replicas: 3, MaxAge: time.Hour, MaxBytes: 64 << 20})
	s := u.Session(uplinkInfo, 0)
	send(t, s, 1, 50)
	const step = 100
	// It sends until the last leader is back, however quick or slow the machine is.
	sent, enough := make(chan uint64, 1), make(chan struct{})
	n, failures := uint64(50), 0
	var wg sync.WaitGroup
	wg.Go(func() {
		defer close(sent)
		for ; ; n += step {
			failures += send(t, s, n+1, n+step)
			select {
			case sent <- n:
			case <-enough:
				n += step
				return
			default:
			}
		}
	})
	for range 3 {
		if _, underWay := <-sent; !underWay {
			break // it has failed
		}
		c.restart(t, 200*time.Millisecond)
	}
	close(enough)
	wg.Wait()
	if t.Failed() {
		return
	}
	t.Logf("%d frames, %d failures", n, failures)
	checkGathered(t, all(t, urls[0]), n)
	if cfg := stream(t, urls[0]).CachedInfo().Config; cfg.Replicas != 3 || cfg.MaxAge != time.Hour || cfg.MaxBytes != 64<<20 {
		t.Errorf("the stream is %+v", cfg)
	}
}

// A station that was stopped goes on behind what the stream has, whether its own
// place is behind that or is lost.
func TestUplinkGoesOn(t *testing.T) {
	url := outside(t, nil).ClientURL()
	o := Options{Remote: bus.Remote{URL: url}}
	u := newUplink(t, o)
	first := u.Session(uplinkInfo, 0)
	send(t, first, 1, 500)
	send(t, first, 501, 800)
	again := newUplink(t, o)
	second := again.Session(uplinkInfo, 5005)
	send(t, second, 501, 900) // in other pieces
	third := again.Session(uplinkInfo, 0)
	send(t, third, 1, 1200)
	// The first one is behind now, as after an answer that was lost.
	send(t, first, 801, 1300)
	for range 2 {
		if err := first.End(soon(t), 13005, 7*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	if err := newUplink(t, o).Session(uplinkInfo, 13005).End(soon(t), 13005, 7*time.Second); err != nil {
		t.Fatal(err)
	}
	got := all(t, url)
	checkGathered(t, got, 1300)
	infos := 0
	for _, b := range got {
		if b.Info != nil {
			infos++
		}
	}
	if got[0].Info == nil || infos != 3 {
		t.Errorf("%d batches describe the session, want the first of each start", infos)
	}
	for i, b := range got {
		if last := i == len(got)-1; (b.End != nil) != last || last && (*b.End != 7e9 || b.From != 13005) {
			t.Errorf("batch %d of %d: %+v", i+1, len(got), b)
		}
	}
}

// While nothing answers, nothing waits in memory, and a start needs no server.
func TestUplinkWithoutServer(t *testing.T) {
	dir := t.TempDir()
	s := outside(t, func(o *server.Options) { o.StoreDir = dir })
	port := s.Addr().(*net.TCPAddr).Port
	stop := func() { s.Shutdown(); s.WaitForShutdown() }
	stop()
	u := newUplink(t, Options{Remote: bus.Remote{URL: fmt.Sprintf("nats://127.0.0.1:%d", port)}})
	x := u.Session(uplinkInfo, 0)
	entries, place := piece(1, 100)
	if err := x.Send(soon(t), entries, place); !errors.Is(err, bus.ErrUnreachable) {
		t.Errorf("with no server: %v", err)
	}
	s = outside(t, func(o *server.Options) { o.StoreDir, o.Port = dir, port })
	send(t, x, 1, 100)
	stop()
	entries, place = piece(101, 200)
	for range 3 {
		if err := x.Send(soon(t), entries, place); err == nil {
			t.Fatal("sent to nobody")
		}
	}
	s = outside(t, func(o *server.Options) { o.StoreDir, o.Port = dir, port })
	send(t, x, 101, 200)
	checkGathered(t, all(t, s.ClientURL()), 200)
}

// What is too long for one message goes in several.
func TestUplinkLongBatch(t *testing.T) {
	s := outside(t, func(o *server.Options) { o.MaxPayload = 32 << 10 })
	x := newUplink(t, Options{Remote: bus.Remote{URL: s.ClientURL()}}).Session(uplinkInfo, 0)
	send(t, x, 1, 5000)
	got := all(t, s.ClientURL())
	checkGathered(t, got, 5000)
	if len(got) < 4 || got[0].Info == nil {
		t.Errorf("%d messages", len(got))
	}
}

func TestUplinkRefusals(t *testing.T) {
	if _, err := New(Options{Remote: bus.Remote{URL: "my server"}}); err == nil {
		t.Error("an address that is none")
	}
	guarded := outside(t, func(o *server.Options) { o.Authorization = "field-token" })
	plain := outside(t, func(o *server.Options) { o.JetStream = false })
	taken := outside(t, nil)
	small := outside(t, func(o *server.Options) { o.JetStreamMaxStore = 1 << 20 })
	nc, err := nats.Connect(taken.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.CreateStream(soon(t), jetstream.StreamConfig{Name: Stream, Subjects: []string{"weather.>"}}); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		url  string
		is   error
		says string
	}{
		"no token":       {guarded.ClientURL(), bus.ErrCredentials, "token"},
		"no JetStream":   {plain.ClientURL(), errStream, "no JetStream"},
		"other subjects": {taken.ClientURL(), errStream, `has the subjects ["weather.>"], not "padlark.*.batch.*"`},
		"no room":        {small.ClientURL(), errStream, "insufficient storage"},
	} {
		entries, place := piece(1, 10)
		err := newUplink(t, Options{Remote: bus.Remote{URL: c.url}, MaxBytes: 16 << 20}).Session(uplinkInfo, 0).Send(soon(t), entries, place)
		if !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
