package station

import (
	"context"
	"encoding/binary"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/flight/sim"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// lateFleet is n rockets that all fly at once and release too late.
func lateFleet(tb testing.TB, n int) sim.Scenario {
	tb.Helper()
	sc, err := sim.Fleet(n, 50, 5)
	if err != nil {
		tb.Fatal(err)
	}
	sc.RoundS, sc.BreakS = 30, 1
	for i := range sc.Boards {
		sc.Boards[i].LiftoffS = 4 + 0.1*float64(i)
		sc.Boards[i].SinkMps = 9
		sc.Boards[i].ReleaseLagS = 2
		sc.Boards[i].Rocket.ReleaseDelayS = 0.5
	}
	return sc
}

// fleetConfig is a station that hears a fleet on real sockets; to has the
// sender of each link.
func fleetConfig(tb testing.TB, sc sim.Scenario, more string) (cfg *config.Config, to map[string]net.Conn) {
	tb.Helper()
	var text strings.Builder
	fmt.Fprintf(&text, "[station]\nname = \"fleet\"\ndata = %q\n[web]\nlisten = \"off\"\n%s\n", filepath.Join(tb.TempDir(), "data"), more)
	to = map[string]net.Conn{}
	for _, l := range sc.Links {
		probe, err := net.ListenPacket("udp", "127.0.0.1:0")
		if err != nil {
			tb.Fatal(err)
		}
		addr := probe.LocalAddr().String()
		if err := probe.Close(); err != nil {
			tb.Fatal(err)
		}
		fmt.Fprintf(&text, "[[link]]\nname = %q\nudp = %q\nlayout = %q\n", l.Name, addr, l.Layout)
		if to[l.Name], err = net.Dial("udp", addr); err != nil {
			tb.Fatal(err)
		}
		tb.Cleanup(func() { _ = to[l.Name].Close() })
	}
	for _, b := range sc.Boards {
		fmt.Fprintf(&text, "[[rocket]]\nname = %q\nid = %d\ncell = \"lipo-1s\"\nrelease = \"servo\"\nrelease_delay_s = 0.5\n", b.Rocket.Name, *b.Rocket.ID)
	}
	cfg, err := config.Parse("fleet.toml", []byte(text.String()))
	if err != nil {
		tb.Fatal(err)
	}
	return cfg, to
}

// latencySeconds is how long the benchmark's boards send; PADLARK_LATENCY_S
// makes it longer.
func latencySeconds(b *testing.B) time.Duration {
	b.Helper()
	text := os.Getenv("PADLARK_LATENCY_S")
	if text == "" {
		return 60 * time.Second
	}
	s, err := strconv.Atoi(text)
	if err != nil || s < 15 {
		b.Fatalf("PADLARK_LATENCY_S=%q is not a number of seconds from 15 on", text)
	}
	return time.Duration(s) * time.Second
}

// BenchmarkAlarmLatency measures with 16 rockets flying at once how long it is
// from the last byte of a frame to the alarm or event that it brings about: on
// the bus, and on the standard input of the callout command. The clock starts
// before the system call that sends the frame. The rockets fly again and again,
// and their boards start again every few seconds, which makes an event and often an
// alarm each time. Beside it stands what the way alone
// takes on this machine (bare), how late a process that only sleeps woke meanwhile
// (wake), and what a virtual machine's host has kept of the processors (stolen).
func BenchmarkAlarmLatency(b *testing.B) {
	span := latencySeconds(b)
	for range b.N {
		sc := lateFleet(b, 16)
		heardFile := filepath.Join(b.TempDir(), "said")
		cfg, to := fleetConfig(b, sc, fmt.Sprintf("[callout]\ncommand = [\"bash\", \"-c\", \"read -r t && echo $EPOCHREALTIME $t >> %s\"]", heardFile))
		got := &arrivals{heard: make(chan ingest.Health, 64)}
		sent := &sentTimes{at: map[string][]time.Time{}}
		machine := watchMachine(b)
		ctx, cancel := context.WithCancel(b.Context())
		flown := make(chan error, 1)
		err := Run(ctx, Options{Config: cfg, Log: zerolog.Nop(), Ready: func(info Info) {
			stop, err := info.Bus.Subscribe([]bus.Kind{bus.Alarm, bus.Event, bus.Health}, got.take)
			if err != nil {
				b.Error(err)
				cancel()
				return
			}
			go func() {
				err := sendFleet(ctx, sc, to, span, sent)
				if err == nil {
					err = got.wait(ctx, sent)
				}
				flown <- err
				stop()
				cancel()
			}()
		}})
		if err != nil {
			b.Fatal(err)
		}
		if err := <-flown; err != nil {
			b.Fatal(err)
		}
		machine.report(b)
		got.report(b, cfg, sent, heardFile)
		reportQuantiles(b, "bare", bareWay(b, span/4))
	}
}

// wayHops is how many goroutines pass on what a datagram brings about, from the
// link to the viewer: link, sequencer, watcher, publisher, the connection's writer,
// the server's reader and writer, the viewer's reader.
const wayHops = 8

// bareWay is how long the way alone takes on this machine at this moment: as many
// datagrams a second, through as many goroutines, with nothing done in them (ms).
func bareWay(b *testing.B, span time.Duration) (ms []float64) {
	in, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	to, err := net.Dial("udp", in.LocalAddr().String())
	if err != nil {
		b.Fatal(err)
	}
	defer to.Close() //nolint:errcheck // only written to
	var way sync.WaitGroup
	first := make(chan time.Time, 1)
	last := first
	for range wayHops - 1 {
		from, next := last, make(chan time.Time, 1)
		way.Go(func() {
			for t := range from {
				next <- t
			}
			close(next)
		})
		last = next
	}
	way.Go(func() {
		defer close(first)
		buf := make([]byte, 8)
		for {
			if _, _, err := in.ReadFrom(buf); err != nil {
				return // closed
			}
			first <- time.Unix(0, int64(binary.LittleEndian.Uint64(buf)))
		}
	})
	way.Go(func() {
		for t := range last {
			ms = append(ms, time.Since(t).Seconds()*1e3)
		}
	})
	every := time.NewTicker(time.Second / (16 * 50))
	defer every.Stop()
	for end := time.Now().Add(span); time.Now().Before(end); <-every.C {
		if _, err := to.Write(binary.LittleEndian.AppendUint64(nil, uint64(time.Now().UnixNano()))); err != nil {
			b.Fatal(err)
		}
	}
	if err := in.Close(); err != nil {
		b.Fatal(err)
	}
	way.Wait()
	return ms
}

// sentTimes notes when each frame of a link was sent.
type sentTimes struct{ at map[string][]time.Time }

// sendFleet sends a fleet's datagrams in real time.
func sendFleet(ctx context.Context, sc sim.Scenario, to map[string]net.Conn, span time.Duration, sent *sentTimes) error {
	s, err := sim.New(sc, 1, time.Now())
	if err != nil {
		return err
	}
	start := time.Now()
	for c, err := range s.Chunks(0) {
		if err != nil {
			return err
		}
		if c.Heard > span {
			return nil
		}
		if restart(&c) {
			continue
		}
		if ahead := c.Heard - time.Since(start); ahead > 200*time.Microsecond {
			select {
			case <-time.After(ahead):
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		sent.at[c.Link] = append(sent.at[c.Link], time.Now())
		if _, err := to[c.Link].Write(c.Bytes); err != nil {
			return err
		}
	}
	return nil
}

// restartEvery is how often a board starts anew.
const restartEvery = 2500 * time.Millisecond

// restart gives a lark-bin frame another boot number again and again, and says
// whether the board is silent at its time: one that starts again says nothing for
// a while, or it would be taken for a second sender.
func restart(c *ingest.Chunk) (silent bool) {
	var msg []byte
	for raw := c.Bytes[:len(c.Bytes)-1]; len(raw) > 0; {
		code := int(raw[0])
		msg = append(msg, raw[1:code]...)
		if raw = raw[code:]; len(raw) > 0 {
			msg = append(msg, 0)
		}
	}
	// Not all boards at the same moment.
	at := c.Heard + time.Duration(msg[1])*29*time.Millisecond
	if at%restartEvery > restartEvery-300*time.Millisecond {
		return true
	}
	msg[2] = byte(at / restartEvery)
	end := len(msg) - 2
	crc := uint16(0xFFFF) // CRC-16/IBM-3740
	for _, x := range msg[:end] {
		crc ^= uint16(x) << 8
		for range 8 {
			top := crc & 0x8000
			if crc <<= 1; top != 0 {
				crc ^= 0x1021
			}
		}
	}
	binary.LittleEndian.PutUint16(msg[end:], crc)
	c.Bytes = ingest.EncodeCOBS(nil, msg)
	return false
}

// arrivals notes when a viewer on the bus got what.
type arrivals struct {
	mu    sync.Mutex
	list  []arrival
	heard chan ingest.Health
}

// wait waits until the station has heard all that was sent.
func (a *arrivals) wait(ctx context.Context, sent *sentTimes) error {
	missing := map[string]int{}
	for l, at := range sent.at {
		missing[l] = len(at)
	}
	late := time.After(10 * time.Second)
	for len(missing) > 0 {
		select {
		case h := <-a.heard:
			if int(h.Frames) >= missing[h.Link] {
				delete(missing, h.Link)
			}
		case <-late:
			return fmt.Errorf("frames were lost on their way: links and how many were sent: %v", missing)
		case <-ctx.Done():
			return fmt.Errorf("wait for the last frames of %v: %w", missing, ctx.Err())
		}
	}
	return nil
}

type arrival struct {
	at     time.Time // when it came
	called time.Time // the measuring time of the sample that brought it about
	rocket string
	text   string // as it is said aloud, or how that begins
	alarm  bool
}

func (a *arrivals) take(m bus.Msg) {
	now := time.Now()
	a.mu.Lock()
	defer a.mu.Unlock()
	switch m.Kind {
	case bus.Health:
		if h, err := m.Health(); err == nil {
			select {
			case a.heard <- h:
			default: // nobody waits yet
			}
		}
	case bus.Event:
		if e, err := m.Event(); err == nil {
			a.list = append(a.list, arrival{now, e.CalledAt, e.Rocket, e.Rocket + " " + spokenEvent(e.Kind), false})
		}
	case bus.Alarm:
		if x, err := m.Alarm(); err == nil {
			text := ""
			if x.Active {
				text = x.Say
			}
			a.list = append(a.list, arrival{now, x.ChangedAt, x.Rocket, text, true})
		}
	}
}

func spokenEvent(k flight.Kind) string {
	if k == flight.Touchdown {
		return "down"
	}
	return string(k)
}

// report finds the sample behind each arrival and reports the times between.
func (a *arrivals) report(b *testing.B, cfg *config.Config, sent *sentTimes, said string) {
	archive, err := sqlite.OpenReadOnly(filepath.Join(cfg.Station.Data, sqlite.FileName))
	if err != nil {
		b.Fatal(err)
	}
	defer archive.Close() //nolint:errcheck // only read from
	sessions, err := archive.Sessions(b.Context())
	if err != nil || len(sessions) != 1 {
		b.Fatalf("%d sessions, %v", len(sessions), err)
	}
	// A datagram holds one frame, and none may have been lost.
	n := 0
	if err := archive.Frames(b.Context(), storage.Query{Session: sessions[0].ID, Recorded: true}, func(ingest.Frame) error { n++; return nil }); err != nil {
		b.Fatal(err)
	}
	began := map[string]time.Time{}
	err = archive.Samples(b.Context(), storage.Query{}, func(s *decode.Sample) error {
		began[s.Rocket+s.Heard.Format(time.RFC3339Nano)] = sent.at[s.Link][s.N-1]
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	for _, l := range sent.at {
		n -= len(l)
	}
	if n != 0 {
		b.Fatalf("%d frames were not heard: the numbers do not fit", -n)
	}
	var all, alarms []float64
	texts := map[string][]time.Time{}
	for _, x := range a.list {
		h, ok := began[x.rocket+x.called.Format(time.RFC3339Nano)]
		if !ok {
			continue // brought about by a tick
		}
		ms := x.at.Sub(h).Seconds() * 1e3
		all = append(all, ms)
		if x.alarm {
			alarms = append(alarms, ms)
		}
		texts[x.text] = append(texts[x.text], h)
	}
	if len(alarms) < 50 {
		b.Fatalf("only %d changes of alarms came from samples", len(alarms))
	}
	reportQuantiles(b, "bus", all)
	reportQuantiles(b, "alarm_bus", alarms)
	reportSaid(b, texts, said)
}

// reportSaid reports how long a call took to the command's standard input, for
// each text and time that the command noted.
func reportSaid(b *testing.B, texts map[string][]time.Time, said string) {
	notes, err := os.ReadFile(said)
	if err != nil {
		b.Fatal(err)
	}
	var ms []float64
	for line := range strings.Lines(string(notes)) {
		when, text, _ := strings.Cut(strings.TrimSpace(line), " ")
		us, err := strconv.ParseInt(strings.Replace(when, ".", "", 1), 10, 64)
		if err != nil {
			b.Fatal(err)
		}
		at, best := time.UnixMicro(us), time.Hour
		list := texts[text]
		if event, _, found := strings.Cut(text, ","); found && list == nil {
			list = texts[event] // the height stands after it
		}
		for _, h := range list {
			if d := at.Sub(h); d >= 0 {
				best = min(best, d)
			}
		}
		if best < 2*time.Second {
			ms = append(ms, best.Seconds()*1e3)
		}
	}
	if len(ms) == 0 {
		b.Fatal("nothing was said")
	}
	reportQuantiles(b, "said", ms)
}

func reportQuantiles(b *testing.B, name string, ms []float64) {
	b.ReportMetric(float64(len(ms)), name+"_n")
	b.ReportMetric(quantile(ms, 0.5), name+"_p50_ms")
	b.ReportMetric(quantile(ms, 0.99), name+"_p99_ms")
	b.ReportMetric(quantile(ms, 1), name+"_max_ms")
}

func quantile(v []float64, q float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[min(len(s)-1, int(q*float64(len(s))))]
}
