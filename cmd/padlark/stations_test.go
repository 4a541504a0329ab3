package main

import (
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/storage/uplink"
)

// cluster is three real servers that keep three copies of everything.
type cluster struct {
	opts    []*server.Options
	servers []*server.Server
}

func startCluster(t *testing.T) *cluster {
	t.Helper()
	c := &cluster{servers: make([]*server.Server, 3)}
	var routes []*url.URL
	var ports []int
	for range 3 {
		_, p, err := net.SplitHostPort(freeTCPPort(t))
		if err != nil {
			t.Fatal(err)
		}
		n, err := strconv.Atoi(p)
		if err != nil {
			t.Fatal(err)
		}
		ports = append(ports, n)
		routes = append(routes, &url.URL{Scheme: "nats", Host: "127.0.0.1:" + p})
	}
	for i := range 3 {
		c.opts = append(c.opts, &server.Options{
			ServerName: fmt.Sprintf("central-%d", i+1), Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
			JetStream: true, StoreDir: t.TempDir(),
			// The others' addresses are not told to clients, or a station would find a
			// way around the cut cable.
			Cluster: server.ClusterOpts{Name: "central", Host: "127.0.0.1", Port: ports[i], NoAdvertise: true},
			Routes:  routes,
		})
		c.start(t, i)
	}
	t.Cleanup(func() {
		for i := range c.servers {
			c.stop(i)
		}
	})
	c.settled(t)
	return c
}

// start starts a server, on the same ports and files as before.
func (c *cluster) start(t *testing.T, i int) {
	t.Helper()
	s, err := server.NewServer(c.opts[i])
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatalf("server %d does not start", i+1)
	}
	c.servers[i] = s
	c.opts[i].Port = s.Addr().(*net.TCPAddr).Port
}

func (c *cluster) stop(i int) {
	c.servers[i].Shutdown()
	c.servers[i].WaitForShutdown()
}

// settled waits until the three have a leader and all are up to date.
func (c *cluster) settled(t *testing.T) {
	t.Helper()
	until(t, "the cluster has settled", 30*time.Second, func() bool {
		leaders := 0
		for _, s := range c.servers {
			if !s.JetStreamIsCurrent() {
				return false
			}
			if s.JetStreamIsLeader() {
				leaders++
			}
		}
		return leaders == 1
	})
}

// cable is the way from a station to the cluster; it can be cut.
type cable struct {
	l     net.Listener
	to    func() []string
	mu    sync.Mutex
	cut   bool
	conns []net.Conn
	wg    sync.WaitGroup
}

func layCable(t *testing.T, to func() []string) *cable {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cable{l: l, to: to}
	c.wg.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			c.join(near)
		}
	})
	t.Cleanup(func() { c.set(true); _ = l.Close(); c.wg.Wait() })
	return c
}

func (c *cable) join(near net.Conn) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var far net.Conn
	for _, addr := range c.to() {
		if c.cut {
			break
		}
		if f, err := net.DialTimeout("tcp", addr, time.Second); err == nil {
			far = f
			break
		}
	}
	if far == nil {
		_ = near.Close()
		return
	}
	c.conns = append(c.conns, near, far)
	for _, way := range [][2]net.Conn{{near, far}, {far, near}} {
		c.wg.Go(func() {
			_, _ = io.Copy(way[0], way[1]) // ends when one end is closed
			_ = way[0].Close()
			_ = way[1].Close()
		})
	}
}

func (c *cable) set(cut bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.cut = cut
	if cut {
		for _, k := range c.conns {
			_ = k.Close()
		}
		c.conns = nil
	}
}

// Two stations, one over a cable and one directly, send to a cluster of three
// servers. One server is killed and started again under load, the first station
// is cut off for a while and back, and is stopped and started once more: every
// frame of both is once in the central archive. PADLARK_CUT_S=60 is the long form.
func TestStations(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	cut := time.Duration(numberFrom(t, "PADLARK_CUT_S", 5)) * time.Second
	c := startCluster(t)
	wire := layCable(t, func() []string {
		var out []string
		for _, o := range c.opts {
			out = append(out, fmt.Sprintf("127.0.0.1:%d", o.Port))
		}
		return out
	})
	central, northUDP, southUDP := t.TempDir(), freePort(t), freePort(t)
	northData, northBus := t.TempDir(), fmt.Sprintf("[bus]\nurl = \"nats://%s\"\nreplicas = 3\n", wire.l.Addr())
	northArgs := fieldConfig(t, "north-field", northData, northUDP, northBus)
	north := startRun(t, "state=up", northArgs)
	south := startRun(t, "state=up", fieldConfig(t, "south-field", t.TempDir(), southUDP, fmt.Sprintf("[bus]\nurl = %q\nreplicas = 3\n", c.urls())))
	collector := startProcess(t, exec.Command(os.Args[0], "collect", "--url", c.urls(),
		"--station", "north-field", "--station", "south-field", "--data", central), "collecting from north-field, south-field", 1)
	t.Cleanup(func() {
		if t.Failed() {
			_ = collector.cmd.Process.Kill()
			<-collector.ended
			t.Logf("the collector's log:\n%s\nthe station's log:\n%s", collector.log, north.log)
		}
	})
	far, near := startBoards(t, northUDP, 4, 20), startBoards(t, southUDP, 4, 20)
	frames := func() int { return count(t, central, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks") }
	from := func(station string) int {
		return count(t, central, "SELECT COALESCE(SUM(f.count), 0) FROM frame_blocks f JOIN links l ON l.id = f.link JOIN sessions s ON s.id = l.session WHERE s.station = '"+station+"'")
	}
	until(t, "both stations are heard in the centre", 60*time.Second, func() bool { return frames() > 0 && from("north-field") > 50 && from("south-field") > 50 })
	if n := copies(t, c.servers[0].ClientURL()); n != 3 {
		t.Errorf("%d copies of the stream, want 3", n)
	}

	c.stop(2)
	<-time.After(2 * time.Second) // under load
	c.start(t, 2)
	wire.set(true)
	until(t, "nothing more of the station comes", 60*time.Second, func() bool {
		n := from("north-field")
		<-time.After(7 * time.Second) // longer than the archive gathers
		return from("north-field") == n
	})
	before, others := from("north-field"), from("south-field")
	<-time.After(cut)
	if n := from("north-field"); n != before {
		t.Errorf("%d frames of the station came while it was cut off", n-before)
	}
	if from("south-field") == others {
		t.Error("the other station stood still meanwhile")
	}
	wire.set(false)
	back := time.Now()
	sentFar, sentNear := far.halt(), near.halt()
	until(t, "every frame is in the centre", 90*time.Second, func() bool { return frames() >= len(sentFar)+len(sentNear) })
	t.Logf("%d frames by the station that was cut off for %v, and %d by the other, all in the centre %v after its return", len(sentFar), cut, len(sentNear), time.Since(back).Round(100*time.Millisecond))

	// It is stopped while it is cut off; the next start brings the rest.
	wire.set(true)
	late := startBoardsAt(t, northUDP, 2, 20, func(int, time.Duration) float64 { return 98003 })
	<-time.After(2 * time.Second)
	sentLate := late.halt()
	// What the kernel has not yet handed over at the stop is nobody's.
	until(t, "the station has heard what was sent", 60*time.Second, func() bool {
		return count(t, northData, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks") >= len(sentFar)+len(sentLate)
	})
	north.stop(t)
	wire.set(false)
	north = startRun(t, "state=up", northArgs)
	until(t, "the rest of the session is in the centre", 90*time.Second, func() bool { return from("north-field") >= len(sentFar)+len(sentLate) })
	// With another configuration the session is over, and the server is told so.
	north.stop(t)
	north = startRun(t, "state=up", fieldConfig(t, "north-field", northData, northUDP, northBus+"# another\n"))
	until(t, "the session's end is in the centre", 60*time.Second, func() bool {
		return count(t, central, "SELECT COUNT(*) FROM sessions WHERE station = 'north-field' AND ended_ns IS NOT NULL") == 1
	})
	collector.stop(t)
	for station, sent := range map[string]int{"north-field": len(sentFar) + len(sentLate), "south-field": len(sentNear)} {
		if n := count(t, unpacked(t, central), "SELECT COUNT(DISTINCT bytes) FROM frames WHERE station = '"+station+"'"); n != sent {
			t.Errorf("%s: %d frames in the centre, each of another number, %d were sent", station, n, sent)
		}
		if n := from(station); n != sent {
			t.Errorf("%s: %d frames in the centre, %d were sent", station, n, sent)
		}
	}
	north.stop(t)
	south.stop(t)
}

// urls are the addresses of all three servers.
func (c *cluster) urls() string {
	var out []string
	for _, o := range c.opts {
		out = append(out, fmt.Sprintf("nats://127.0.0.1:%d", o.Port))
	}
	return strings.Join(out, ",")
}

// copies is how many copies the servers keep of what stations send.
func copies(t *testing.T, url string) int {
	t.Helper()
	nc, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.Stream(t.Context(), uplink.Stream)
	if err != nil {
		t.Fatal(err)
	}
	return s.CachedInfo().Config.Replicas
}
