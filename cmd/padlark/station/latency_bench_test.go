package station

import (
	"context"
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
	"padlark/flight/sim"
	"padlark/storage/sqlite"
)

// lateFleet is n rockets that all fly at once and release too late.
func lateFleet(tb testing.TB, n int) sim.Scenario {
	tb.Helper()
	sc, err := sim.Fleet(n, 50, 5)
	if err != nil {
		tb.Fatal(err)
	}
	for i := range sc.Boards {
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

// BenchmarkAlarmLatency measures with 16 rockets flying at once how long it is
// from the last byte of a frame to the alarm or event that it brings about: on
// the bus, and on the standard input of the callout command.
func BenchmarkAlarmLatency(b *testing.B) {
	for range b.N {
		sc := lateFleet(b, 16)
		heardFile := filepath.Join(b.TempDir(), "said")
		cfg, to := fleetConfig(b, sc, fmt.Sprintf("[callout]\ncommand = [\"sh\", \"-c\", \"read -r text && date +%%s%%N >> %s\"]", heardFile))
		got := &arrivals{}
		ctx, cancel := context.WithCancel(b.Context())
		flown := make(chan error, 1)
		err := Run(ctx, Options{Config: cfg, Log: zerolog.Nop(), Ready: func(info Info) {
			stop, err := info.Bus.Subscribe([]bus.Kind{bus.Alarm, bus.Event}, got.take)
			if err != nil {
				b.Error(err)
				cancel()
				return
			}
			go func() {
				flown <- sendFleet(ctx, sc, to, 20*time.Second)
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
		got.report(b, cfg, heardFile)
	}
}

// sendFleet sends a fleet's datagrams in real time.
func sendFleet(ctx context.Context, sc sim.Scenario, to map[string]net.Conn, span time.Duration) error {
	s, err := sim.New(sc, 1, time.Now())
	if err != nil {
		return err
	}
	start := time.Now()
	for c, err := range s.Chunks(1) {
		if err != nil {
			return err
		}
		if c.Heard > span {
			return nil
		}
		if ahead := c.Heard - time.Since(start); ahead > 200*time.Microsecond {
			select {
			case <-time.After(ahead):
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		_, _ = to[c.Link].Write(c.Bytes) // what nobody hears is lost, as on the air
	}
	return nil
}

// arrivals notes when a viewer on the bus got what.
type arrivals struct {
	mu   sync.Mutex
	list []arrival
}

type arrival struct {
	at     time.Time // when it came
	called time.Time // the measuring time of the sample that brought it about
	rocket string
	alarm  bool
}

func (a *arrivals) take(m bus.Msg) {
	now := time.Now()
	a.mu.Lock()
	defer a.mu.Unlock()
	switch m.Kind {
	case bus.Event:
		if e, err := m.Event(); err == nil {
			a.list = append(a.list, arrival{now, e.CalledAt, e.Rocket, false})
		}
	case bus.Alarm:
		if x, err := m.Alarm(); err == nil && x.Active {
			a.list = append(a.list, arrival{now, x.ChangedAt, x.Rocket, true})
		}
	}
}

// report finds the sample behind each arrival and reports the times between.
func (a *arrivals) report(b *testing.B, cfg *config.Config, said string) {
	archive, err := sqlite.OpenReadOnly(filepath.Join(cfg.Station.Data, sqlite.FileName))
	if err != nil {
		b.Fatal(err)
	}
	defer archive.Close() //nolint:errcheck // only read from
	heard := map[string]time.Time{}
	err = archive.Samples(b.Context(), sqlite.Query{}, func(s *decode.Sample) error {
		heard[s.Rocket+s.At.Format(time.RFC3339Nano)] = s.Heard
		heard[s.Rocket+s.Heard.Format(time.RFC3339Nano)] = s.Heard
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	var all, alarms []float64
	for _, x := range a.list {
		h, ok := heard[x.rocket+x.called.Format(time.RFC3339Nano)]
		if !ok {
			continue // brought about by a tick
		}
		ms := x.at.Sub(h).Seconds() * 1e3
		all = append(all, ms)
		if x.alarm {
			alarms = append(alarms, ms)
		}
	}
	if len(alarms) < 16 {
		b.Fatalf("only %d alarms came from samples", len(alarms))
	}
	b.ReportMetric(quantile(all, 0.5), "bus_p50_ms")
	b.ReportMetric(quantile(all, 0.99), "bus_p99_ms")
	b.ReportMetric(quantile(alarms, 0.99), "alarm_bus_p99_ms")
	b.ReportMetric(float64(len(all)), "messages")
	reportSaid(b, a, heard, said)
}

// reportSaid reports how long a call took to the command's standard input: for
// each time that the command noted, from the newest alarm or event before it.
func reportSaid(b *testing.B, a *arrivals, heard map[string]time.Time, said string) {
	text, err := os.ReadFile(said)
	if err != nil {
		b.Fatal(err)
	}
	var ms []float64
	for _, line := range strings.Fields(string(text)) {
		ns, err := strconv.ParseInt(line, 10, 64)
		if err != nil {
			b.Fatal(err)
		}
		at, best := time.Unix(0, ns), time.Hour
		for _, x := range a.list {
			if h, ok := heard[x.rocket+x.called.Format(time.RFC3339Nano)]; ok && !h.After(at) {
				best = min(best, at.Sub(h))
			}
		}
		// A call that waited for the one before it is not what is measured here.
		if best < 200*time.Millisecond {
			ms = append(ms, best.Seconds()*1e3)
		}
	}
	b.ReportMetric(float64(len(ms)), "calls")
	if len(ms) > 0 {
		b.ReportMetric(quantile(ms, 0.5), "said_p50_ms")
		b.ReportMetric(quantile(ms, 0.99), "said_p99_ms")
	}
}

func quantile(v []float64, q float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[min(len(s)-1, int(q*float64(len(s))))]
}
