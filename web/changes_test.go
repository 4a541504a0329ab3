package web

import (
	"bufio"
	"encoding/json"
	"fmt"
	"maps"
	"net"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/ingest"
)

// TestChangesAddUp: whoever puts the changes together has the picture as it is,
// though it never heard what came between, and hears of nothing twice.
func TestChangesAddUp(t *testing.T) {
	h := newHub(inventedRockets())
	var c cursor
	got := map[string]map[string]any{}
	take := func() (fields int) {
		t.Helper()
		p := h.changes(&c, "")
		for _, raw := range p.states {
			var m map[string]any
			if err := json.Unmarshal(raw, &m); err != nil {
				t.Fatal(err, string(raw))
			}
			name := m["rocket"].(string)
			fields += len(m) - 1
			if got[name] == nil {
				got[name] = m
			}
			maps.Copy(got[name], m)
		}
		return fields
	}
	put := func(height float64, f func(*flight.State)) {
		st := stateOf("Teal", height)
		if f != nil {
			f(st)
		}
		h.apply(Message{State: st})
	}
	put(12.34, func(s *flight.State) { s.SpeedMps = ptr(-3.21) })
	if n := take(); n < 15 {
		t.Errorf("the first picture has %d fields", n)
	}
	put(12.31, func(s *flight.State) { s.SpeedMps = ptr(-3.24) })
	if n := take(); n != 0 {
		t.Errorf("%d fields for what nobody can see", n)
	}
	put(50, nil)
	put(62.5, func(s *flight.State) { s.Released = true })
	if n := take(); n != 4 { // height, speed and with it the fall (not known any more), released
		t.Errorf("%d fields changed", n)
	}
	var fresh cursor
	first := got["Teal"]
	got = map[string]map[string]any{}
	c = fresh
	take()
	if d := cmp.Diff(got["Teal"], first); d != "" {
		t.Errorf("put together (-whole +parts)\n%s", d)
	}
	if first["altitude_m"] != 62.5 || first["speed_mps"] != nil || first["released"] != true {
		t.Errorf("the picture is %v", first)
	}
	// On the ground numbers wait for each other, but not what a person waits for.
	ground := func(height float64, ready bool) {
		put(height, func(s *flight.State) { s.Phase, s.Go, s.Released = flight.Waiting, ready, true })
	}
	ground(1, false)
	take()
	ground(2, false)
	if n := take(); n != 0 {
		t.Errorf("%d fields of noise were told at once", n)
	}
	ground(2, true)
	if take(); got["Teal"]["go"] != true || got["Teal"]["altitude_m"] != 2.0 {
		t.Errorf("the rocket is ready: %v", got["Teal"])
	}
	c.groundAt = time.Time{}
	ground(3, true)
	if take(); got["Teal"]["altitude_m"] != 3.0 {
		t.Errorf("the noise is never told: %v", got["Teal"])
	}
}

// TestRawFramesAreFew: of many frames the newest are told, once each and decoded.
func TestRawFramesAreFew(t *testing.T) {
	h := newHub(nil)
	now := time.Now()
	var c cursor
	samples := samplesOf("s", now, hop{rocket: "Teal", link: "l", pad: 1, after: 1, noFlight: true, cell: 4}, 1)
	for i := range 10 {
		f := frameOf(&samples[i])
		f.Heard = now
		h.apply(Message{Frame: &f})
	}
	if frames, _ := h.rawSince("l", &c, now); len(frames) != 0 {
		t.Errorf("%d frames before the decoder has spoken", len(frames))
	}
	for i := range 8 {
		h.apply(Message{Sample: &samples[i]})
	}
	frames, left := h.rawSince("l", &c, now)
	if len(frames) != rawFrames || left != 8-rawFrames || frames[rawFrames-1].frame.N != samples[7].N || frames[0].sample == nil {
		t.Errorf("%d frames, %d left out", len(frames), left)
	}
	if frames, _ = h.rawSince("l", &c, now); len(frames) != 0 {
		t.Error("frames are told twice")
	}
	// The decoder never speaks of those that it refuses.
	if frames, _ = h.rawSince("l", &c, now.Add(time.Second)); len(frames) != 2 || frames[0].sample != nil {
		t.Errorf("%d refused frames are told", len(frames))
	}
}

// TestStreamBytes measures what the live stream costs a phone while eight rockets
// fly at once, sending 20 frames a second each over two links: at most 8 kB/s on
// the board and 12 kB/s on Links, headers and compression included.
func TestStreamBytes(t *testing.T) {
	t.Parallel()
	v := newInvented()
	opt := v.options()
	var hops []hop
	opt.Rockets = nil
	for i := range 8 {
		name := fmt.Sprintf("Rocket %d", i+1)
		opt.Rockets = append(opt.Rockets, flight.Rocket{Name: name})
		hops = append(hops, hop{rocket: name, link: []string{"pad-radio", "field-udp"}[i%2], pad: 22 + 0.2*float64(i), after: 20, speed: 36 + float64(i), sink: 4, cell: 4})
	}
	_, base := serve(t, opt)
	flying(t, v, 20*time.Second, 1, hops...)
	const seconds = 7
	type way struct {
		path  string
		most  float64
		bytes chan float64
	}
	ways := []way{{"/api/v1/live?changes=1", 8000, make(chan float64, 1)}, {"/api/v1/live?changes=1&hz=5&frames=pad-radio", 12000, make(chan float64, 1)}}
	health := time.NewTicker(time.Second) // as the station tells of its links
	defer health.Stop()
	for _, w := range ways {
		go func() { w.bytes <- wireBytes(base, w.path, seconds*time.Second) / seconds }()
	}
	end := time.After((seconds + 1) * time.Second)
	for n := uint64(1); ; n++ {
		select {
		case <-health.C:
			for _, link := range []string{"pad-radio", "field-udp"} {
				hl := ingest.Health{Link: link, Kind: "udp", At: time.Now(), State: "up", Words: "open", Bytes: 1800 * n, Frames: 80 * n, RateHz: 79.4, Bad: map[string]uint64{"checksum": n}}
				for k := range 16 {
					hl.Rejected = append(hl.Rejected, ingest.Rejected{Reason: "checksum", At: time.Now(), Length: 40, Bytes: []byte(fmt.Sprintf("$PLRK,7,1,%d,%d,100812,2150,4012,1100,0*3", n+uint64(k), 20*n))})
				}
				v.publish(Message{Health: &hl})
			}
			continue
		case <-end:
		}
		break
	}
	for _, w := range ways {
		got := <-w.bytes
		t.Logf("%s: %.1f kB/s", w.path, got/1000)
		if got > w.most || got < 500 {
			t.Errorf("%s costs %.0f bytes/s, at most %.0f are promised", w.path, got, w.most)
		}
	}
}

// wireBytes counts what an answer takes on the wire in a time; -1 if it cannot be asked.
func wireBytes(base, path string, d time.Duration) float64 {
	u, err := url.Parse(base)
	if err != nil {
		return -1
	}
	c, err := net.Dial("tcp", u.Host)
	if err != nil {
		return -1
	}
	defer c.Close()
	fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: %s\r\nAccept-Encoding: gzip\r\n\r\n", path, u.Host)
	_ = c.SetReadDeadline(time.Now().Add(d))
	r := bufio.NewReader(c)
	if line, err := r.ReadString('\n'); err != nil || !strings.Contains(line, "200") {
		return -1
	}
	n, _ := r.WriteTo(discard{})
	return float64(n)
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }
