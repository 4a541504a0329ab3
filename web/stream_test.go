package web

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/ingest"
)

func alarmForTest() *flight.Alarm {
	now := time.Now().UTC()
	return &flight.Alarm{Session: "s", ID: "A", Change: 1, Rocket: "Rust", Flight: 1, Kind: "ballistic", Priority: flight.LookUp,
		Active: true, RaisedAt: now, ChangedAt: now, Say: "look up", Reason: "a test"}
}

func stateOf(rocket string, height float64) *flight.State {
	return &flight.State{Session: "s", Rocket: rocket, Link: "pad-radio", At: inventedEpoch, Heard: inventedEpoch, Phase: flight.Coast, AltitudeM: &height}
}

// sse is one server-sent event.
type sse struct {
	name string
	data []byte
}

// readEvents reads a stream until it ends or f says false.
func readEvents(t *testing.T, r io.Reader, f func(sse) bool) {
	t.Helper()
	var e sse
	s := bufio.NewScanner(r)
	s.Buffer(nil, 1<<20)
	for s.Scan() {
		switch line := s.Text(); {
		case line == "":
			if !f(e) {
				return
			}
			e = sse{}
		case strings.HasPrefix(line, "event: "):
			e.name = line[len("event: "):]
		case strings.HasPrefix(line, "data: "):
			e.data = []byte(line[len("data: "):])
		default:
			t.Fatalf("a line that no event has: %q", line)
		}
	}
}

// follow opens a stream; the body closes when the test ends.
func follow(t *testing.T, address string, header ...string) io.Reader {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), "GET", address, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	client := &http.Client{Transport: &http.Transport{DisableCompression: true, DisableKeepAlives: true}}
	res, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { res.Body.Close() })
	if res.StatusCode != 200 || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/event-stream") {
		t.Fatalf("status %d, type %q", res.StatusCode, res.Header.Get("Content-Type"))
	}
	return res.Body
}

// TestStreamTellsWhatChanged: first everything, then only what is new, newest
// value only.
func TestStreamTellsWhatChanged(t *testing.T) {
	v := newInvented()
	_, base := serve(t, v.options())
	v.publish(Message{State: stateOf("Teal", 1)})
	v.publish(Message{State: stateOf("Teal", 2)}) // overtakes the first
	v.publish(Message{State: stateOf("Rust", 3)})
	v.publish(Message{Alarm: alarmForTest()})
	got := map[string][]string{}
	step := 0
	readEvents(t, follow(t, base+"/api/v1/live?hz=20"), func(e sse) bool {
		if e.name == "hello" {
			return true
		}
		var u struct {
			States []flight.State
			Alarms []flight.Alarm
		}
		if err := json.Unmarshal(e.data, &u); err != nil {
			t.Fatal(err)
		}
		for _, s := range u.States {
			got[s.Rocket] = append(got[s.Rocket], shortNumber(s.AltitudeM))
		}
		for _, a := range u.Alarms {
			got["alarm"] = append(got["alarm"], a.ID)
		}
		if len(u.States) == 0 {
			return true
		}
		if step++; step == 1 {
			v.publish(Message{State: stateOf("Teal", 4)})
			return true
		}
		return false
	})
	want := map[string][]string{"Teal": {"2", "4"}, "Rust": {"3"}, "alarm": {"A"}}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

func shortNumber(v *float64) string {
	if v == nil {
		return "null"
	}
	return string(appendShort(nil, *v))
}

// TestStreamCompressed reads the same through gzip, event by event: each must
// come out without waiting for the next.
func TestStreamCompressed(t *testing.T) {
	v := newInvented()
	_, base := serve(t, v.options())
	z, err := gzip.NewReader(follow(t, base+"/api/v1/live", "Accept-Encoding", "gzip"))
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	readEvents(t, z, func(e sse) bool {
		if e.name == "hello" {
			v.publish(Message{State: stateOf("Teal", 2)})
			return true
		}
		if bytes.Contains(e.data, []byte(`"Teal"`)) {
			seen++
		}
		return seen == 0
	})
	if seen != 1 {
		t.Error("the state never came")
	}
}

// TestSlowViewerHoldsNobodyUp: a viewer that reads nothing neither delays the
// publisher nor another viewer, and is let go in the end.
func TestSlowViewerHoldsNobodyUp(t *testing.T) {
	v := newInvented()
	opt := v.options()
	opt.Rockets = nil // so that none of these is a guest
	s, base := serve(t, opt)
	host := strings.TrimPrefix(base, "http://")
	slow, err := net.Dial("tcp", host)
	if err != nil {
		t.Fatal(err)
	}
	defer slow.Close()
	if err := slow.(*net.TCPConn).SetReadBuffer(4096); err != nil {
		t.Fatal(err)
	}
	if _, err := slow.Write([]byte("GET /api/v1/live?hz=20 HTTP/1.1\r\nHost: " + host + "\r\n\r\n")); err != nil {
		t.Fatal(err)
	}
	quick := follow(t, base+"/api/v1/live?hz=20")
	const rounds, rockets = 2000, 32
	longest := time.Duration(0)
	for i := range rounds {
		begin := time.Now()
		for k := range rockets {
			v.publish(Message{State: stateOf("R"+string(rune('A'+k)), float64(i))})
		}
		longest = max(longest, time.Since(begin))
	}
	// A publisher that waited for the viewer would wait until it is let go.
	if longest > writeTimeout/2 {
		t.Errorf("publishing %d states took %v beside a viewer that does not read", rockets, longest)
	}
	last := shortNumber(ptr(float64(rounds - 1)))
	readEvents(t, quick, func(e sse) bool {
		var u struct{ States []flight.State }
		_ = json.Unmarshal(e.data, &u) // hello has no states
		return len(u.States) == 0 || shortNumber(u.States[0].AltitudeM) != last
	})
	_, tally, n := s.hub.status()
	if n != rockets || tally.States != rounds*rockets || tally.NoRoom != 0 {
		t.Errorf("the hub took %d states of %d rockets, no room %d times", tally.States, n, tally.NoRoom)
	}
}

func ptr[T any](v T) *T { return &v }

// TestHubKeepsTheNewest: redelivered and late changes of an alarm do not bring
// an old one back, a new session begins with an empty picture, rings are
// bounded.
func TestHubKeepsTheNewest(t *testing.T) {
	h := newHub(nil)
	a := alarmForTest()
	later := *a
	later.Change, later.Acked = 2, true
	for _, m := range []*flight.Alarm{a, &later, a} {
		h.apply(Message{Alarm: m})
	}
	if got := h.alarm("A"); got.Change != 2 || !got.Acked {
		t.Errorf("alarm after a redelivery: %+v", got)
	}
	ev := &flight.Event{Session: "s", ID: "e", Rocket: "Teal"}
	h.apply(Message{Event: ev})
	h.apply(Message{Event: ev})
	if len(h.events) != 1 {
		t.Errorf("%d events after a redelivery", len(h.events))
	}
	for i := range 3 * keepFrames {
		h.apply(Message{Frame: &ingest.Frame{Session: "s", Link: "l", N: uint64(i)}})
	}
	frames, _ := h.framesSince("l", 0)
	if len(frames) != keepFrames || frames[len(frames)-1].frame.N != 3*keepFrames-1 {
		t.Errorf("%d frames kept, the last is %d", len(frames), frames[len(frames)-1].frame.N)
	}
	for i := range 2 * keepAlarms {
		x := *a
		x.ID = string(rune('a'+i%26)) + string(rune('a'+i/26))
		x.Active, x.Acked = false, true
		h.apply(Message{Alarm: &x})
	}
	if len(h.alarms) > keepAlarms || h.tally.NoRoom != 0 {
		t.Errorf("%d alarms kept, no room %d times", len(h.alarms), h.tally.NoRoom)
	}
	h.apply(Message{State: stateOf("Teal", 1)})
	next := stateOf("Rust", 2)
	next.Session = "t"
	h.apply(Message{State: next})
	if st := h.states(); len(st) != 1 || st[0].Rocket != "Rust" {
		t.Errorf("the new session shows %d rockets", len(st))
	}
}

// TestTraceKeepsPeaks: a peak between two points of the trace is not lost.
func TestTraceKeepsPeaks(t *testing.T) {
	var r trace
	for i := range 100 {
		s := stateOf("Teal", 0)
		s.At = inventedEpoch.Add(time.Duration(i) * 50 * time.Millisecond)
		if i == 57 {
			s.AltitudeM = ptr(80.0)
		}
		r.add(s)
	}
	v := r.view()
	peak := 0.0
	for _, h := range v.H {
		peak = max(peak, h)
	}
	if peak != 80 || len(v.T) > 25 {
		t.Errorf("peak %g m in %d points, want 80 m in about 11", peak, len(v.T))
	}
}

// TestRecallAfterRestart: an alarm raised before the station started again is
// on the board after it.
func TestRecallAfterRestart(t *testing.T) {
	v := newInvented()
	v.sessions = []Session{{ID: "s", Live: true, Epoch: inventedEpoch}}
	v.alarms["s"] = []flight.Alarm{*alarmForTest()}
	s, _ := serve(t, v.options())
	if got := s.hub.currentAlarms(); len(got) != 1 || got[0].ID != "A" {
		t.Errorf("alarms after the restart: %v", got)
	}
}

// TestRun serves on a real port and stops when told, streams included.
func TestRun(t *testing.T) {
	v := newInvented()
	s, err := New(v.options())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	addr, err := s.Addr(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	body := follow(t, "http://"+addr.String()+"/api/v1/live")
	cancel()
	if _, err := io.ReadAll(body); err != nil {
		t.Errorf("the stream ended with %v", err)
	}
	if err := <-done; err != nil {
		t.Errorf("Run returned %v", err)
	}
	opt := v.options()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	opt.Listen = l.Addr().String()
	taken, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	if err := taken.Run(t.Context()); err == nil || !strings.Contains(err.Error(), opt.Listen) {
		t.Errorf("a port in use: %v", err)
	}
}
