package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"
)

var testEpoch = time.Date(2026, 5, 16, 9, 30, 0, 0, time.UTC)

// pushed is a receiver that is fed by hand on a virtual clock.
type pushed struct {
	*Receiver
	t      *testing.T
	clock  *VirtualClock
	frames []Frame
}

func push(t *testing.T, cfg LinkConfig, framing Framing, env Env) *pushed {
	t.Helper()
	p := &pushed{t: t, clock: NewVirtualClock(testEpoch)}
	env.Clock = p.clock.Clock()
	var err error
	if p.Receiver, err = NewReceiver(cfg, framing, env); err != nil {
		t.Fatal(err)
	}
	return p
}

func (p *pushed) chunk(c Chunk) {
	p.t.Helper()
	p.clock.Advance(c.Heard)
	if err := p.Push(c, func(f Frame) error { p.frames = append(p.frames, f); return nil }); err != nil {
		p.t.Fatal(err)
	}
}

func TestReceiverFrame(t *testing.T) {
	p := push(t, LinkConfig{Name: "pad-radio", Serial: "/dev/x", Baud: 9600}, lines, Env{})
	bytes := []byte("one\ntw")
	rssi := -71.5
	p.chunk(Chunk{Heard: time.Second, Bytes: bytes, Baud: 9600, RSSI: &rssi})
	copy(bytes, "XXXXXX") // the link's own: the frame must not see it
	rssi = 0
	p.chunk(Chunk{Heard: 2 * time.Second, Bytes: []byte("o\n"), Baud: 9600})
	want := []Frame{
		{Link: "pad-radio", N: 1, Heard: testEpoch.Add(time.Second), Mono: 1e9, Wire: 4, Baud: 9600, RSSI: ptr(-71.5), Bytes: []byte("one")},
		{Link: "pad-radio", N: 2, Heard: testEpoch.Add(2 * time.Second), Mono: 2e9, Wire: 4, Baud: 9600, Bytes: []byte("two")},
	}
	if diff := cmp.Diff(want, p.frames); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
	// Four bytes at ten bits each and 9600 bits a second.
	if got := want[0].WireTime(); got != 40*time.Second/9600 {
		t.Errorf("wire time %v", got)
	}
}

func TestReceiverDatagramOnPlainBytes(t *testing.T) {
	p := push(t, LinkConfig{Name: "old", File: "x"}, Framing{Kind: FramingDatagram}, Env{})
	p.chunk(Chunk{Bytes: []byte("plain")})
	p.chunk(Chunk{Bytes: []byte("one"), Datagram: true})
	if h := p.Health(); len(p.frames) != 1 || h.Bad[reasonNoDatagram] != 1 {
		t.Errorf("%d frames, bad %v", len(p.frames), h.Bad)
	}
}

// Senders beyond the bound push out the one that was silent for longest, whose
// half message is counted.
func TestReceiverStreamsBounded(t *testing.T) {
	p := push(t, LinkConfig{Name: "bridge", UDP: ":0", UDPStream: true}, lines, Env{})
	for i := range maxStreams + 1 {
		p.chunk(Chunk{Heard: time.Duration(i), Bytes: []byte("half"), Peer: fmt.Sprint(i)})
	}
	if len(p.streams) != maxStreams || p.streams["0"] != nil {
		t.Errorf("%d streams, the oldest %v", len(p.streams), p.streams["0"])
	}
	p.chunk(Chunk{Heard: time.Second, Bytes: []byte("\n"), Peer: "1"})
	if h := p.Health(); h.Bad[reasonCut] != 1 || len(p.frames) != 1 {
		t.Errorf("bad %v and %d frames", h.Bad, len(p.frames))
	}
}

// A capture that fails is told once, and the link goes on.
func TestReceiverTee(t *testing.T) {
	var log bytes.Buffer
	var teed []string
	full := errors.New("no space left")
	p := push(t, LinkConfig{Name: "wifi", UDP: ":0"}, lines, Env{
		Log: zerolog.New(&log),
		Tee: func(c Chunk) error {
			teed = append(teed, c.Link+" "+string(c.Bytes))
			if len(teed) == 2 {
				return full
			}
			return nil
		},
	})
	for _, s := range []string{"one", "two", "three"} {
		p.chunk(Chunk{Bytes: []byte(s), Datagram: true})
	}
	diffStrings(t, []string{"wifi one", "wifi two"}, teed)
	if len(p.frames) != 3 || strings.Count(log.String(), "the capture stops here") != 1 {
		t.Errorf("%d frames, log %s", len(p.frames), log.String())
	}
}

func TestReceiverSetCheck(t *testing.T) {
	f := Framing{Kind: FramingSync, Sync: "AA 55", LengthBytes: 1}
	p := push(t, LinkConfig{Name: "a", Serial: "/dev/x", Baud: 9600}, f, Env{})
	p.SetCheck(func(msg []byte) bool { return msg[len(msg)-1] == 'k' })
	p.chunk(Chunk{Bytes: []byte("\xAA\x55\x04\xAA\x55\x02ok\xAA\x55\x01x")})
	if h := p.Health(); len(p.frames) != 1 || string(p.frames[0].Bytes) != "\x02ok" || h.Bad[reasonCheck] != 2 {
		t.Errorf("frames %+v, bad %v", p.frames, h.Bad)
	}
}

func TestHealth(t *testing.T) {
	p := push(t, LinkConfig{Name: "pad-radio", Serial: "/dev/x", Baud: 9600, FrameLimit: 100}, lines, Env{})
	if h := p.Health(); h.LastHeard != nil || h.RateHz != 0 || h.State != StateWaiting {
		t.Errorf("at the start: %+v", h)
	}
	p.rep.set(StateUp, "open")
	// 25 frames a second for 20 s, every fifth of which the decoder rejects.
	const step = 40 * time.Millisecond
	for i := range 500 {
		p.chunk(Chunk{Heard: time.Duration(i) * step, Bytes: []byte("$PLRK,7*00\n")})
		if i%5 == 0 {
			p.Stats().AddBad("checksum", "", p.frames[len(p.frames)-1])
		}
	}
	p.Stats().AddGap(3)
	p.clock.Advance(500 * step)
	h := p.Health()
	if math.Abs(h.RateHz-25) > 0.1 {
		t.Errorf("rate %v Hz, want 25", h.RateHz)
	}
	if h.Frames != 500 || h.Bytes != 500*11 || h.Bad["checksum"] != 100 || h.Gaps != 3 || h.BadTotal() != 100 || h.Hint != "" {
		t.Errorf("health %+v", h)
	}
	if want := testEpoch.Add(499 * step); h.LastHeard == nil || !h.LastHeard.Equal(want) {
		t.Errorf("last heard %v, want %v", h.LastHeard, want)
	}
	if len(h.Rejected) != rejectsKept || h.Rejected[15].Reason != "checksum" || h.Rejected[15].At != testEpoch.Add(495*step) {
		t.Errorf("rejected %+v", h.Rejected)
	}
	// In silence the rate falls to nothing.
	p.clock.Advance(500*step + 6*time.Second)
	if h := p.Health(); h.RateHz != 0 || h.At != testEpoch.Add(500*step+6*time.Second) {
		t.Errorf("after 6 s of silence: %v Hz at %v", h.RateHz, h.At)
	}
}

func TestHealthJSON(t *testing.T) {
	p := push(t, LinkConfig{Name: "pad-radio", Serial: "/dev/x", Baud: 9600, FrameLimit: 4}, lines, Env{})
	p.rep.set(StateUp, "open")
	p.chunk(Chunk{Heard: time.Second, Bytes: []byte("one\nlonger\n")})
	got, err := json.Marshal(p.Health())
	if err != nil {
		t.Fatal(err)
	}
	want := `{"link":"pad-radio","kind":"serial","at":"2026-05-16T09:30:01Z","state":"up","words":"open","bytes":11,"frames":1,"refused":0,` +
		`"bad":{"too long":1},"gaps":0,"rate_hz":0,"last_heard":"2026-05-16T09:30:01Z","restarts":0,` +
		`"rejected":[{"reason":"too long","at":"2026-05-16T09:30:01Z","length":6,"offset":4,"hex":"6c6f6e67"}]}`
	if diff := cmp.Diff(want, string(got)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	var back Health
	if err := json.Unmarshal(got, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(p.Health(), back); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
	if err := json.Unmarshal([]byte(`{"rejected":[{"hex":"6"}]}`), &back); err == nil {
		t.Error("half a byte of hex was read")
	}
}

// What a link can be made to keep is bounded: reasons, and bytes of rejects.
func TestStatsBounded(t *testing.T) {
	s := newStats("a", "udp", NewVirtualClock(testEpoch).Clock(), source{limit: 10})
	for i := range 1000 {
		s.AddBad(fmt.Sprint("reason ", i), "", Frame{Bytes: make([]byte, 5000)})
	}
	h := s.Health()
	if len(h.Bad) != reasonsKept+1 || h.Bad[reasonOther] != 1000-reasonsKept || h.BadTotal() != 1000 {
		t.Errorf("%d reasons, %d other", len(h.Bad), h.Bad[reasonOther])
	}
	if r := h.Rejected[0]; len(h.Rejected) != rejectsKept || len(r.Bytes) != rejectBytes || r.Length != 5000 || r.Reason != "reason 984" {
		t.Errorf("%d rejected, the first %+v", len(h.Rejected), r)
	}
}

func TestStatsConcurrent(t *testing.T) {
	p := push(t, LinkConfig{Name: "a", UDP: ":0"}, lines, Env{})
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 200 {
				p.Stats().AddGap(1)
				p.Stats().AddBad("checksum", "", Frame{Bytes: []byte{1}})
				_ = p.Health()
			}
		})
	}
	for range 200 {
		p.chunk(Chunk{Bytes: []byte("one"), Datagram: true})
	}
	wg.Wait()
	if h := p.Health(); h.Gaps != 800 || h.Bad["checksum"] != 800 || h.Frames != 200 {
		t.Errorf("health %+v", h)
	}
}

func TestHint(t *testing.T) {
	serial := LinkConfig{Name: "a", Serial: "/dev/x", Baud: 9600, FrameLimit: 128}
	noise := func(n int) []byte {
		b := make([]byte, n)
		for i := range b {
			b[i] = byte(0x80 | i*37)
		}
		return b
	}
	good := []byte("$PLRK,7,1,2,3*00\n")
	t.Run("binary at the wrong rate", func(t *testing.T) {
		p := push(t, serial, Framing{Kind: FramingCOBS}, Env{})
		p.rep.set(StateUp, "open")
		p.chunk(Chunk{Bytes: bytes.Repeat([]byte{0xF8}, 300)})
		wantHint(t, p, "300 bytes heard since the last frame: check that the board also sends at 9600 baud")
	})
	t.Run("text at the wrong rate", func(t *testing.T) {
		p := push(t, serial, lines, Env{})
		p.rep.set(StateUp, "open")
		for range 10 {
			p.chunk(Chunk{Bytes: append(noise(30), '\n')})
		}
		wantHint(t, p, "96 % of the bytes are not text: check that the board also sends at 9600 baud")
	})
	t.Run("another layout", func(t *testing.T) {
		p := push(t, LinkConfig{Name: "a", UDP: ":0"}, lines, Env{})
		p.rep.set(StateUp, "open")
		for range 20 {
			p.chunk(Chunk{Bytes: good, Datagram: true})
			p.Stats().AddBad("checksum", "", p.frames[len(p.frames)-1])
		}
		wantHint(t, p, "20 of the last 20 pieces could not be read: check that the layout fits what the board sends")
	})
	t.Run("a layout with a field too few", func(t *testing.T) {
		p := push(t, serial, lines, Env{})
		p.rep.set(StateUp, "open")
		for range 20 {
			p.chunk(Chunk{Bytes: good})
			p.Stats().AddBad("field count", "5 fields where the layout has 4", p.frames[len(p.frames)-1])
		}
		wantHint(t, p, "20 of the last 20 frames could not be read, 5 fields where the layout has 4: correct the fields of the layout")
		h := p.Health()
		if h.Refused != 20 || h.Frames != 20 || h.Rejected[0].Detail != "5 fields where the layout has 4" {
			t.Errorf("%d of %d frames refused, %q", h.Refused, h.Frames, h.Rejected[0].Detail)
		}
	})
	t.Run("a right link with some losses", func(t *testing.T) {
		p := push(t, serial, lines, Env{})
		p.rep.set(StateUp, "open")
		for i := range 200 {
			p.chunk(Chunk{Bytes: good})
			if i%3 == 0 {
				p.Stats().AddBad("checksum", "", p.frames[len(p.frames)-1])
			}
		}
		wantHint(t, p, "")
	})
	t.Run("put right again", func(t *testing.T) {
		p := push(t, serial, lines, Env{})
		p.rep.set(StateUp, "open")
		p.chunk(Chunk{Bytes: noise(5000)})
		for range 400 {
			p.chunk(Chunk{Bytes: good})
		}
		wantHint(t, p, "")
	})
}

func wantHint(t *testing.T, p *pushed, want string) {
	t.Helper()
	got := p.Health().Hint
	if want == "" && got != "" || !strings.Contains(got, want) {
		t.Errorf("hint %q, want %q", got, want)
	}
}

// threeLinks is a link of each sort: one stream, one of many, and datagrams.
var threeLinks = []LinkConfig{
	{Name: "pad-radio", Serial: "/dev/x", Baud: 9600},
	{Name: "bridge", UDP: ":0", UDPStream: true},
	{Name: "wifi", UDP: ":0"},
}

// hearThreeLinks feeds the receivers of such links, captures what they hear,
// and gives their frames in the order in which they came.
func hearThreeLinks(t *testing.T, file io.Writer) (frames []Frame, live map[string]*pushed) {
	t.Helper()
	w, err := NewCaptureWriter(file, CaptureInfo{Station: "north-field", Epoch: testEpoch, Links: CaptureLinks(threeLinks)})
	if err != nil {
		t.Fatal(err)
	}
	live = map[string]*pushed{}
	for _, cfg := range threeLinks {
		live[cfg.Name] = push(t, cfg, lines, Env{Tee: w.WriteChunk})
	}
	for i := range 300 {
		c := Chunk{Heard: time.Duration(i) * 20 * time.Millisecond, Bytes: fmt.Appendf(nil, "%d half\nof ", i), Peer: "p"}
		switch i % 3 {
		case 0:
			c.Link, c.Peer, c.Baud = "pad-radio", "", 9600
		case 1:
			c.Link, c.Peer = "bridge", fmt.Sprint("peer ", i%4)
		case 2:
			c.Link, c.Datagram, c.End, c.RSSI = "wifi", true, EndWhole, ptr(float64(-i))
		}
		if i%50 == 3 {
			c.End = EndCut
		}
		p := live[c.Link]
		p.chunk(c)
		frames = append(frames, p.frames...)
		p.frames = nil
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return frames, live
}

// What a session heard, written to a capture and replayed on a virtual clock,
// gives the same frames and the same counts.
func TestReplaySame(t *testing.T) {
	var file bytes.Buffer
	want, live := hearThreeLinks(t, &file)
	r, err := NewCaptureReader(&file)
	if err != nil {
		t.Fatal(err)
	}
	m := newMerge(r)
	clock := NewVirtualClock(m.Epoch())
	receivers := map[string]*Receiver{}
	for _, cfg := range threeLinks {
		if receivers[cfg.Name], err = NewReceiver(cfg, lines, Env{Clock: clock.Clock()}); err != nil {
			t.Fatal(err)
		}
	}
	var got []Frame
	if err := Replay(context.Background(), m, clock, receivers, func(f Frame) error { got = append(got, f); return nil }); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
	for name, p := range live {
		a, b := p.Health(), receivers[name].Health()
		// The live receivers had a clock each.
		a.At, a.RateHz = b.At, b.RateHz
		if diff := cmp.Diff(a, b); diff != "" {
			t.Errorf("%s: health (-live +replay):\n%s", name, diff)
		}
	}
	delete(receivers, "wifi")
	if err := Replay(context.Background(), m, clock, receivers, nil); err == nil || !strings.Contains(err.Error(), `link "wifi" has no receiver`) {
		t.Errorf("a link without a receiver: %v", err)
	}
}

func TestClock(t *testing.T) {
	c := StartClock()
	a := c.Now()
	if b := c.Now(); b < a || c.Virtual() || c.Epoch.Location() != time.UTC {
		t.Errorf("%v after %v, epoch %v", b, a, c.Epoch)
	}
	old := ContinueClock(testEpoch, time.Hour)
	if now := old.Now(); now < time.Hour || now > time.Hour+patience || !old.Epoch.Equal(testEpoch) {
		t.Errorf("continued at %v", now)
	}
	v := NewVirtualClock(testEpoch)
	v.Advance(time.Second)
	v.Advance(time.Millisecond)
	if vc := v.Clock(); vc.Now() != time.Second || !vc.Virtual() || !vc.At(vc.Now()).Equal(testEpoch.Add(time.Second)) {
		t.Errorf("virtual clock at %v", vc.Now())
	}
}
