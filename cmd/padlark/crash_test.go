package main

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"padlark/bus"
)

// outsider listens to a station's frames over TCP as any NATS client can: what
// reaches it has been acknowledged, that is handed to the kernel. It lives through
// restarts.
type outsider struct {
	url string
	mu  sync.Mutex
	got map[mark]time.Time
	bad error
}

// follow listens until ctx ends, connecting again as often as needed.
func (o *outsider) follow(ctx context.Context) {
	for ctx.Err() == nil {
		// An error here is a daemon that is down.
		_ = o.session(ctx)
		select {
		case <-ctx.Done():
		case <-time.After(10 * time.Millisecond): // until the port is there again
		}
	}
}

func (o *outsider) session(ctx context.Context) error {
	down := make(chan struct{})
	nc, err := nats.Connect(o.url, nats.NoReconnect(), nats.Timeout(time.Second), nats.ClosedHandler(func(*nats.Conn) { close(down) }))
	if err != nil {
		return err
	}
	defer nc.Close()
	if _, err := nc.Subscribe("padlark.*.frame.>", o.take); err != nil {
		return err
	}
	select {
	case <-ctx.Done():
	case <-down:
	}
	return nil
}

func (o *outsider) take(m *nats.Msg) {
	o.mu.Lock()
	defer o.mu.Unlock()
	f, err := (bus.Msg{Kind: bus.Frame, Data: m.Data}).Frame()
	if err != nil {
		o.bad = err
		return
	}
	if k, ok := markOf(f.Bytes); ok {
		o.got[k] = time.Now()
	}
}

func (o *outsider) seen() map[mark]time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	out := make(map[mark]time.Time, len(o.got))
	for k, v := range o.got {
		out[k] = v
	}
	return out
}

// startOutsider follows the bus at a port until stop is called.
func startOutsider(t *testing.T, port string) (*outsider, func()) {
	t.Helper()
	o := &outsider{url: "nats://" + port, got: map[mark]time.Time{}}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); o.follow(ctx) }()
	stop := sync.OnceFunc(func() { cancel(); <-done })
	t.Cleanup(stop)
	return o, stop
}

func freeTCPPort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // only its number is wanted
	return l.Addr().String()
}

// life is one run of the daemon between two kills.
type life struct {
	cmd   *exec.Cmd
	up    chan time.Time // when its link was open
	ended chan struct{}
	log   *strings.Builder // to be read once it has ended
}

func startLife(t *testing.T, cfg string) *life {
	t.Helper()
	l := &life{cmd: program(context.Background(), "run", "-q", cfg), up: make(chan time.Time, 1), ended: make(chan struct{}), log: &strings.Builder{}}
	pipe, err := l.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(l.ended)
		for sc := bufio.NewScanner(pipe); sc.Scan(); {
			fmt.Fprintln(l.log, sc.Text())
			if strings.Contains(sc.Text(), "state=up") {
				l.up <- time.Now()
			}
		}
		_ = l.cmd.Wait()
	}()
	return l
}

func (l *life) kill() { _ = l.cmd.Process.Kill(); <-l.ended }

// silence is a stretch in which the daemon heard nothing: from a kill until the
// link was open again.
type silence struct{ from, to time.Time }

// A daemon that is killed with SIGKILL at random moments under load, again and
// again, loses no frame that it has acknowledged, and none besides those
// that were sent while it was down or that were within it. PADLARK_KILLS=300 is
// the long form.
func TestKilledAtRandom(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds of real time")
	}
	kills := numberFrom(t, "PADLARK_KILLS", 5)
	data, udp, tcp := t.TempDir(), freePort(t), freeTCPPort(t)
	cfg := fieldConfig(t, "crash", data, udp, fmt.Sprintf("[bus]\nlisten = %q\n", tcp))
	out, stopOutsider := startOutsider(t, tcp)
	boards := startBoards(t, udp, 8, 20)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	down := killLoop(t, cfg, kills, rand.New(rand.NewPCG(seed, 0)))
	sent := boards.halt()
	l := startLife(t, cfg) // to bring what the last kill left in the journal into the archive
	<-l.up
	if err := l.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	<-l.ended
	stopOutsider()
	if out.bad != nil {
		t.Fatal(out.bad)
	}
	checkKilled(t, data, sent, out.seen(), down)
	t.Logf("%d kills", kills)
}

// killLoop starts and kills the daemon and tells when it could not hear.
func killLoop(t *testing.T, cfg string, kills int, r *rand.Rand) []silence {
	t.Helper()
	var down []silence
	from := time.Now().Add(-time.Hour)
	for range kills {
		l := startLife(t, cfg)
		// At any moment of its life, while it starts and goes on as well.
		life := time.NewTimer(time.Duration(r.Int64N(int64(2500 * time.Millisecond))))
	alive:
		for {
			select {
			case at := <-l.up:
				down = append(down, silence{from, at})
			case <-life.C:
				break alive
			case <-l.ended:
				t.Fatalf("the daemon ended by itself:\n%s", l.log)
			}
		}
		killed := time.Now()
		l.kill()
		select {
		case at := <-l.up:
			down = append(down, silence{from, at})
		default:
		}
		if len(down) > 0 && down[len(down)-1].from.Equal(from) {
			from = killed // it had been up
		}
	}
	return append(down, silence{from, time.Now()})
}

// within is how long a frame may be inside the daemon before it is
// acknowledged, on a machine that is busy.
const within = time.Second

func checkKilled(t *testing.T, data string, sent, acked map[mark]time.Time, down []silence) {
	t.Helper()
	have := archived(t, data)
	lostAcked, lostDown, lostElse, inside := 0, 0, 0, time.Duration(0)
	for m, at := range sent {
		if have[m] > 1 {
			t.Errorf("frame %v is %d times in the archive", m, have[m])
		}
		if have[m] > 0 {
			continue
		}
		if _, ok := acked[m]; ok {
			lostAcked++
		}
		d, ok := whileDown(at, down)
		switch {
		case ok:
			lostDown++
			inside = max(inside, d)
		default:
			lostElse++
			t.Errorf("frame %v of %s is lost although the daemon was up", m, at.Format("15:04:05.000"))
		}
	}
	if lostAcked > 0 {
		t.Errorf("%d frames are lost that had been acknowledged", lostAcked)
	}
	if len(acked) == 0 || len(have) == 0 {
		t.Errorf("%d frames acknowledged, %d archived: the test shows nothing", len(acked), len(have))
	}
	rows := unpacked(t, data)
	for _, c := range []struct {
		what, query string
	}{
		{"frames that are neither sample nor reject", "SELECT COUNT(*) FROM frames f LEFT JOIN samples s ON f.link = s.link AND f.n = s.n LEFT JOIN rejects r ON r.link = f.link AND r.n = f.n WHERE s.n IS NULL AND r.n IS NULL"},
		{"samples without a frame", "SELECT COUNT(*) FROM samples s LEFT JOIN frames f ON f.link = s.link AND f.n = s.n WHERE f.n IS NULL"},
	} {
		if n := count(t, rows, c.query); n != 0 {
			t.Errorf("%d %s", n, c.what)
		}
	}
	t.Logf("up %d times: %d frames sent, %d seen acknowledged, %d archived, each once; of those acknowledged %d lost; %d lost while the daemon was down (up to %.0f ms before a kill)",
		len(down)-1, len(sent), len(acked), len(have), lostAcked, lostDown, float64(inside.Microseconds())/1000)
}

// whileDown says whether a frame was sent while nobody could keep it, and how
// long before the kill.
func whileDown(at time.Time, down []silence) (before time.Duration, ok bool) {
	for _, d := range down {
		if at.After(d.from.Add(-within)) && at.Before(d.to.Add(50*time.Millisecond)) {
			return max(0, d.from.Sub(at)), true
		}
	}
	return 0, false
}
