//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// wrongClock is a computer whose system clock shows what the test says: a
// user-mode emulator in front of which a library lies about CLOCK_REALTIME (see
// testdata/wrongclock). Every system call of the program goes through it, so it
// sees the steps as it would see those of the kernel.
type wrongClock struct {
	emulator, library string
	file              *os.File
}

func newWrongClock(t *testing.T) *wrongClock {
	t.Helper()
	arch, ok := map[string]string{"amd64": "x86_64", "arm64": "aarch64", "arm": "arm"}[runtime.GOARCH]
	if !ok {
		t.Skipf("no emulator is known for %s", runtime.GOARCH)
	}
	dir := t.TempDir()
	w := &wrongClock{emulator: "qemu-" + arch, library: filepath.Join(dir, "wrongclock.so")}
	need(t, w.emulator)
	need(t, "gcc")
	sh(t, "gcc", "-O1", "-shared", "-fPIC", "-o", w.library, "testdata/wrongclock/wrongclock.c", "-ldl")
	var err error
	if w.file, err = os.Create(filepath.Join(dir, "clock")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = w.file.Close() })
	return w
}

// set makes the clock show now, and the kernel vouch for it or not.
func (w *wrongClock) set(t *testing.T, now time.Time, synced bool) {
	t.Helper()
	b := binary.NativeEndian.AppendUint64(nil, uint64(time.Until(now)))
	ok := uint64(0)
	if synced {
		ok = 1
	}
	if _, err := w.file.WriteAt(binary.NativeEndian.AppendUint64(b, ok), 0); err != nil {
		t.Fatal(err)
	}
}

// start runs the daemon on that computer until its link is up.
func (w *wrongClock) start(t *testing.T, cfg string) *process {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	cmd := exec.CommandContext(ctx, w.emulator, "-U", "LD_PRELOAD", os.Args[0], "run", "-q", cfg)
	cmd.Env = append(os.Environ(), beMain+"=1", "LD_PRELOAD="+w.library, "WRONG_CLOCK="+w.file.Name())
	return startProcess(t, cmd, "state=up", 1)
}

// hopAt is a rocket that rests until it is launched, then goes up to 20 m
// without drag and comes down at 8 m/s. The pressure is that of ISO 2533.
func hopAt(launched *atomic.Int64) func(int, time.Duration) float64 {
	const v, g, sink = hopSpeed, 9.80665, 8.0
	return func(_ int, at time.Duration) float64 {
		from := time.Duration(launched.Load())
		if from == 0 || at < from {
			return 98000
		}
		h, t := 0.0, (at - from).Seconds()
		if h = v*t - g/2*t*t; t > v/g {
			h = max(0, v*v/2/g-sink*(t-v/g))
		}
		return 98000 * math.Pow(1-0.0065*h/288.15, 5.25588)
	}
}

const hopSpeed = 20.0 // m/s

// ahead is how far the truth of the test is from this computer's clock, so that
// the two cannot be taken for each other.
const ahead = 10 * 365 * 24 * time.Hour

func truth() time.Time { return time.Now().Add(ahead).UTC() }

// A computer without a battery for its clock wakes up in 1970. It hears a GPS
// receiver; its clock is set, 66 years on, and the daemon is killed in the same
// second and comes back; the clock is declared right by the kernel; it steps
// back by an hour while a rocket is in the air; somebody sets the time with a
// command, and then on the page. All that is one session, in which every frame
// stands once and in order; the flight is as long as it was; and everything
// that is exported has the true time and says where it is from.
func TestWrongClock(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	w := newWrongClock(t)
	data, udp, tcp, page := t.TempDir(), freePort(t), freeTCPPort(t), freeTCPPort(t)
	cfg := fieldConfig(t, "wrong", data, udp, fmt.Sprintf("[bus]\nlisten = %q\n[[rocket]]\nname = \"Teal\"\nid = 1\n", tcp))
	text, err := os.ReadFile(cfg)
	if err != nil {
		t.Fatal(err)
	}
	cfg = writeConfig(t, strings.Replace(string(text), `listen = "off"`, fmt.Sprintf("listen = %q", page), 1))
	w.set(t, time.Unix(60, 0), false)
	p := w.start(t, cfg)
	t.Cleanup(func() {
		if t.Failed() {
			t.Log(p.log)
		}
	})
	down := []silence{{time.Now().Add(-time.Hour), time.Now()}}
	acked, stopOutsider := startOutsider(t, tcp)
	var launched atomic.Int64
	began := time.Now()
	boards := startBoardsAt(t, udp, 1, 50, hopAt(&launched))
	fixes := 0
	fixed := func(how string) {
		t.Helper()
		fixes++
		wantFix(t, data, fixes, how)
	}

	// In 1970, then with the time of a receiver. A second of frames that the
	// archive does not have yet, and the clock is set and the power cord kicked.
	ackedFor(t, acked, time.Second)
	sendGPS(t, udp)
	fixed("GPS time on link net")
	ackedFor(t, acked, time.Second)
	w.set(t, truth(), false)
	killed := time.Now()
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-p.ended
	p = w.start(t, cfg)
	down = append(down, silence{killed, time.Now()})
	w.set(t, truth(), true)
	fixed("the system clock, synchronised")

	// A flight, and in it an hour back.
	launched.Store(int64(time.Since(began)))
	await(t, data, "SELECT COUNT(*) FROM events WHERE kind = 'liftoff'")
	w.set(t, truth().Add(-time.Hour), false)
	await(t, data, "SELECT COUNT(*) FROM events WHERE kind = 'apogee'")

	must(t, "time", "set", "--data", data, "--at", truth().Format(time.RFC3339Nano))
	fixed("by hand")
	offer(t, page)
	fixed("browser")
	ackedFor(t, acked, time.Second/5)
	sent := boards.halt()
	ackedFor(t, acked, 0)
	down = append(down, silence{time.Now(), time.Now()})
	p.stop(t)
	stopOutsider()

	checkKilled(t, data, sent, acked.seen(), down)
	checkOneSession(t, data, sent)
	checkTrueTimes(t, data, sent)
}

// ackedFor waits until the bus has acknowledged that much more of the frames.
func ackedFor(t *testing.T, o *outsider, d time.Duration) {
	t.Helper()
	want := len(o.seen()) + int(d.Seconds()*50)
	until(t, fmt.Sprintf("%d frames acknowledged", want), 20*time.Second, func() bool { return len(o.seen()) >= want })
}

// wantFix waits for a timefix, the newest of so many, and checks how it was made
// and that it is right to a second.
func wantFix(t *testing.T, data string, n int, how string) {
	t.Helper()
	await(t, data, fmt.Sprintf("SELECT COUNT(*) >= %d FROM events WHERE kind = 'timefix'", n))
	var all []flight.Event
	for _, e := range readEvents(t, must(t, "events", "--data", data, "--json")) {
		if e.Kind == flight.TimeFix {
			all = append(all, e)
		}
	}
	if len(all) != n {
		t.Fatalf("%d time fixes, want %d: %+v", len(all), n, all)
	}
	// When it was made is known to the time that a test takes to see it.
	e := all[n-1]
	if late := truth().Sub(e.At); !strings.Contains(e.Note, how) || late < -time.Second || late > 10*time.Second {
		t.Errorf("timefix %d is %v off the truth: %+v; want it made by %s", n, late, e, how)
	}
	if r := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", data, "--json"))[0]; !strings.Contains(r.TimeFixedBy, how) {
		t.Errorf("the session is fixed by %q, want %s", r.TimeFixedBy, how)
	}
}

// sendGPS sends one sentence ZDA of NMEA 0183 with the true time.
func sendGPS(t *testing.T, to string) {
	t.Helper()
	conn, err := net.Dial("udp", to)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	// The zone is added afterwards: for Go's layouts ",00" is a part of the seconds.
	body := truth().Format("GPZDA,150405.00,02,01,2006") + ",00,00"
	if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
		t.Fatal(err)
	}
}

// offer does what the page does when a person says that the browser's clock is
// right.
func offer(t *testing.T, page string) {
	t.Helper()
	url := "http://" + page + "/api/v1/time"
	var now struct {
		Now time.Time `json:"now"`
	}
	if err := json.Unmarshal(get(t, url), &now); err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(map[string]any{"session_time": now.Now, "true_time": truth(), "sd_s": 0.02})
	if err != nil {
		t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	token := regexp.MustCompile(`name="padlark-token" content="([^"]+)"`).FindSubmatch(get(t, "http://"+page+"/"))
	if token == nil {
		t.Fatal("the board page has no token for changes")
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("X-Padlark-Token", string(token[1]))
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close() //nolint:errcheck // its status says it all
	if res.StatusCode != http.StatusOK {
		t.Fatalf("the page's offer: %s", res.Status)
	}
}

// checkOneSession checks that all frames are of one session and in the order in
// which they were sent, as far apart as they were sent, and that the flight is
// as long as it was.
func checkOneSession(t *testing.T, data string, sent map[mark]time.Time) {
	t.Helper()
	sessions := map[string]bool{}
	var last ingest.Frame
	seq, first := -1, time.Duration(0)
	eachFrame(t, data, func(s storage.Session, f ingest.Frame) {
		sessions[s.ID] = true
		m, ok := markOf(f.Bytes)
		if !ok {
			return // of the receiver
		}
		apart := f.Heard.Sub(sent[m].Add(ahead))
		if seq < 0 {
			first = apart
		}
		if m.Seq <= seq || f.N <= last.N || f.Passed <= last.Passed || f.Heard.Before(last.Heard) {
			t.Errorf("frame %d after %d: %+v after %+v", m.Seq, seq, f, last)
		}
		// Between two lives of the daemon the wall clock tells how long it was
		// away, and that had its time from the receiver.
		if (apart - first).Abs() > time.Second {
			t.Errorf("frame %d was heard %v off the first", m.Seq, apart-first)
		}
		seq, last = m.Seq, f
	})
	if len(sessions) != 1 {
		t.Errorf("%d sessions, want one: %v", len(sessions), sessions)
	}
	at := map[flight.Kind][]time.Time{}
	for _, e := range readEvents(t, must(t, "events", "--data", data, "--json")) {
		at[e.Kind] = append(at[e.Kind], e.At)
	}
	if len(at[flight.Liftoff]) != 1 || len(at[flight.Apogee]) != 1 {
		t.Fatalf("want one flight: %v", at)
	}
	// Upwards without drag: speed over the acceleration of gravity.
	const up = hopSpeed / 9.80665
	launched := at[flight.Liftoff][0]
	if took := at[flight.Apogee][0].Sub(launched).Seconds(); math.Abs(took-up) > 0.4 || truth().Sub(launched).Abs() > time.Minute {
		t.Errorf("launched at %s, apogee after %.2f s, want a moment before %s and %.2f s", launched, took, truth(), up)
	}
}

// checkTrueTimes checks every exported sample against the moment at which its
// frame was sent.
func checkTrueTimes(t *testing.T, data string, sent map[mark]time.Time) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(must(t, "export", "--data", data))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for _, name := range []string{"at [UTC]", "time_fixed_by", "seq"} {
		if col[name] = slices.Index(rows[0], name); col[name] < 0 {
			t.Fatalf("no column %s in %q", name, rows[0])
		}
	}
	for _, r := range rows[1:] {
		seq, err1 := strconv.Atoi(r[col["seq"]])
		at, err2 := time.Parse(time.RFC3339Nano, r[col["at [UTC]"]])
		want, known := sent[mark{1, seq}]
		if off := at.Sub(want.Add(ahead)).Abs(); err1 != nil || err2 != nil || !known || off > time.Second || !strings.Contains(r[col["time_fixed_by"]], "browser") {
			t.Fatalf("row %q: %v off", r, off)
		}
	}
}
