package station

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/storage/sqlite"
)

// longSession writes what a station leaves behind that was ended in a session of so
// many frames: eight boards at 50 Hz, which fly in turn, and an archive that has all
// of it. It gives the time by the clock of processors that reading the whole journal
// takes, which is what a start took before.
func longSession(b *testing.B, cfg *config.Config, frames int) {
	b.Helper()
	const boards, hz = 8, 50
	lasted := time.Duration(frames) * time.Second / (boards * hz)
	s := newStation(Options{Config: cfg, Log: zerolog.Nop()})
	s.links = &links{}
	s.clock = ingest.ContinueClock(time.Now().Add(-lasted-5*time.Second), lasted+5*time.Second)
	ctx := b.Context()
	if err := os.MkdirAll(cfg.Station.Data, 0o755); err != nil {
		b.Fatal(err)
	}
	var err error
	if s.archive, err = sqlite.Open(ctx, filepath.Join(cfg.Station.Data, sqlite.FileName), sqlite.Options{NoSync: true}); err != nil {
		b.Fatal(err)
	}
	if s.bus, err = bus.Open(ctx, bus.Options{Station: "long"}); err != nil {
		b.Fatal(err)
	}
	if err := s.startSession(ctx); err != nil {
		b.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 1))
	batch := make([]ingest.Frame, 0, 200)
	for i := range frames {
		at := time.Duration(i) * time.Second / (boards * hz)
		f := boardFrame(r, i%boards, i/boards, hz)
		f.Session, f.N, f.Mono, f.Heard = s.session.ID, uint64(i+1), int64(at), s.clock.At(at)
		f.Passed = f.Mono + int64(i%boards)
		if batch = append(batch, f); len(batch) == cap(batch) || i == frames-1 {
			s.journal.Frames(batch)
			batch = batch[:0]
		}
	}
	if _, err := s.learn(ctx); err != nil {
		b.Fatal(err)
	}
	if err := s.journal.Sync(); err != nil {
		b.Fatal(err)
	}
	if _, err := BringIn(ctx, s.archive, s.journal.Path()); err != nil {
		b.Fatal(err)
	}
	// A station that is killed has closed nothing.
	for _, err := range []error{s.archive.Close(), s.bus.Close(), s.journal.Close(0), s.journal.Release()} {
		if err != nil {
			b.Fatal(err)
		}
	}
}

// boardFrame is what one of eight boards sends in the layout lark-bin: it rests for
// most of ten minutes and flies to 46 m, each at another time.
func boardFrame(r *rand.Rand, board, i, hz int) ingest.Frame {
	const v, g, sink = 30.0, 9.80665, 3.0
	t, h := float64((i+board*75*hz)%(600*hz))/float64(hz)-300, 0.0
	switch top := v * v / 2 / g; {
	case t > v/g:
		h = max(0, top-sink*(t-v/g))
	case t > 0:
		h = v*t - g/2*t*t
	}
	// ISO 2533:1975, troposphere.
	p := 98000*math.Pow(1-0.0065*h/288.15, 5.25588) + 3*r.NormFloat64()
	m := []byte{1, byte(board + 1), 1}
	m = binary.LittleEndian.AppendUint16(m, uint16(i))
	m = binary.LittleEndian.AppendUint32(m, uint32(i*1000/hz))
	m = binary.LittleEndian.AppendUint32(m, uint32(10*p))
	m = binary.LittleEndian.AppendUint16(m, 1500)
	m = binary.LittleEndian.AppendUint16(m, 3900)
	m = binary.LittleEndian.AppendUint16(m, 1000)
	m = append(m, 0)
	m = binary.LittleEndian.AppendUint16(m, crc16(m))
	return ingest.Frame{Link: "pad-radio", Wire: 24, Bytes: m}
}

// BenchmarkStart measures how long it takes to go on with a long session, until the
// first frame after the start has been watched: with what was learnt, and without.
// PADLARK_START_FRAMES=3000000 is the long form.
func BenchmarkStart(b *testing.B) {
	frames := 100_000
	if s := os.Getenv("PADLARK_START_FRAMES"); s != "" {
		var err error
		if frames, err = strconv.Atoi(s); err != nil {
			b.Fatal(err)
		}
	}
	port := freePort(b)
	text := fmt.Sprintf("[station]\nname = \"long\"\ndata = %q\n[web]\nlisten = \"off\"\n[[link]]\nname = \"pad-radio\"\nudp = \"127.0.0.1:%d\"\nlayout = \"lark-bin\"\n",
		filepath.Join(b.TempDir(), "data"), port)
	for i := range 8 {
		text += fmt.Sprintf("[[rocket]]\nname = \"R%d\"\nid = %d\n", i+1, i+1)
	}
	cfg, err := config.Parse("long.toml", []byte(text))
	if err != nil {
		b.Fatal(err)
	}
	longSession(b, cfg, frames)
	for range b.N {
		b.ReportMetric(startTime(b, cfg, port), "s/start")
		if err := os.Remove(firstLearnt(b, cfg)); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(startTime(b, cfg, port), "s/start_without")
	}
}

func firstLearnt(b *testing.B, cfg *config.Config) string {
	b.Helper()
	paths, err := filepath.Glob(filepath.Join(cfg.Station.Data, "journal", "*"+learntSuffix))
	if err != nil || len(paths) != 1 {
		b.Fatal(paths, err)
	}
	if info, err := os.Stat(paths[0]); err == nil {
		b.ReportMetric(float64(info.Size())/1024, "kB_learnt")
	}
	return paths[0]
}

func freePort(b *testing.B) int {
	b.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close() //nolint:errcheck // it was only asked for its port
	return c.LocalAddr().(*net.UDPAddr).Port
}

// startTime is how long a station takes from its start until it has watched a frame
// that was sent when its line was open.
func startTime(b *testing.B, cfg *config.Config, port int) float64 {
	b.Helper()
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	ready, ended := make(chan Info, 1), make(chan error, 1)
	begun := time.Now()
	go func() {
		ended <- Run(ctx, Options{Config: cfg, Log: zerolog.Nop(), Ready: func(i Info) { ready <- i }})
	}()
	var info Info
	select {
	case info = <-ready:
	case err := <-ended:
		b.Fatal(err)
	}
	if !info.Resumed {
		b.Fatal("the session does not go on")
	}
	seen := make(chan struct{}, 1)
	unsubscribe, err := info.Bus.Subscribe([]bus.Kind{bus.State}, func(bus.Msg) {
		select {
		case seen <- struct{}{}:
		default:
		}
	})
	if err != nil {
		b.Fatal(err)
	}
	// Not connected: as a board does, it sends on whether the station's port is open yet or not.
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	to := &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port}
	r := rand.New(rand.NewPCG(2, 2))
	for i := 0; ; i++ {
		if _, err := c.WriteTo(append(ingest.EncodeCOBS(nil, boardFrame(r, 0, i, 50).Bytes), 0), to); err != nil {
			b.Fatal(err)
		}
		select {
		case <-seen:
		case <-time.After(20 * time.Millisecond): // the rate at which the board sends
			continue
		}
		break
	}
	took := time.Since(begun).Seconds()
	unsubscribe()
	stop()
	if err := <-ended; err != nil {
		b.Fatal(err)
	}
	return took
}
