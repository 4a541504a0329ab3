package watch

import (
	"math"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/ingest"
)

// soakHours is how many hours of event time the soak lasts; PADLARK_SOAK_H=24
// is the long form.
func soakHours(t *testing.T) float64 {
	t.Helper()
	s := os.Getenv("PADLARK_SOAK_H")
	if s == "" {
		return 1
	}
	h, err := strconv.ParseFloat(s, 64)
	if err != nil || h <= 0 {
		t.Fatalf("PADLARK_SOAK_H=%q is not a number of hours", s)
	}
	return h
}

// The pure line (decoder, merger, trackers, alarms) runs for hours of event
// time at full speed: two boards that only wait, with noise, drift and wind, and
// one that flies every few minutes and starts again now and then. Memory and
// goroutines stay flat: what is in use after the first quarter is in use at the
// end.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("an hour of event time takes some seconds")
	}
	l := newSoakLine(t)
	hours := soakHours(t)
	next := []func() *soakFrame{waitingBoard(t, 1, hours), waitingBoard(t, 2, hours), flyingBoard(3, hours)}
	heads := make([]*soakFrame, len(next))
	for i := range next {
		heads[i] = next[i]()
	}
	var used []uint64
	var routines []int
	quarter := time.Duration(hours * float64(time.Hour) / 4)
	for due := quarter; ; {
		first := -1
		for i, f := range heads {
			if f != nil && (first < 0 || f.mono < heads[first].mono) {
				first = i
			}
		}
		if first < 0 || heads[first].mono >= due {
			used, routines = append(used, inUse()), append(routines, runtime.NumGoroutine())
			due += quarter
		}
		if first < 0 {
			break
		}
		l.take(t, heads[first])
		heads[first] = next[first]()
	}
	t.Logf("%.0f h of event time: %d frames, %d events, %d changes of alarms; in use after each quarter: %d kB, goroutines %d",
		hours, l.n, l.events, l.alarms, kilobytes(used), routines)
	if first, last := used[0], used[len(used)-1]; last > first+first/4+256<<10 {
		t.Errorf("memory in use grew from %d kB to %d kB", first>>10, last>>10)
	}
	if routines[len(routines)-1] > routines[0] {
		t.Errorf("goroutines grew from %d to %d", routines[0], routines[len(routines)-1])
	}
	if l.events < int(10*hours) {
		t.Errorf("only %d events: nothing flew", l.events)
	}
}

func inUse() uint64 {
	runtime.GC()
	runtime.GC() // what the first one has only marked
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func kilobytes(b []uint64) []uint64 {
	out := make([]uint64, len(b))
	for i := range b {
		out[i] = b[i] >> 10
	}
	return out
}

type soakFrame struct {
	mono time.Duration
	msg  decode.Message
}

// soakLine encodes what boards say, decodes it and watches it.
type soakLine struct {
	epoch   time.Time
	board   *decode.Program
	decoder *decode.Decoder
	engine  *Engine
	buf     []byte
	n       uint64
	passed  int64
	events  int
	alarms  int
}

func newSoakLine(t *testing.T) *soakLine {
	t.Helper()
	layouts, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	l := &soakLine{epoch: time.Date(2026, 5, 2, 9, 0, 0, 0, time.UTC)}
	for _, lay := range layouts {
		if lay.Name == "lark-bin" {
			if l.board, err = decode.Compile(lay, layouts); err != nil {
				t.Fatal(err)
			}
		}
	}
	if l.decoder, err = decode.New(decode.Config{Links: []decode.LinkLayouts{{Link: "pad-radio", Layouts: []string{"lark-bin"}}}}); err != nil {
		t.Fatal(err)
	}
	var rockets []flight.Rocket
	for i := uint32(1); i <= 3; i++ {
		rockets = append(rockets, flight.Rocket{Name: "id-" + strconv.Itoa(int(i))})
	}
	if l.engine, err = NewEngine(Config{Session: "soak", Epoch: l.epoch, Rockets: rockets}); err != nil {
		t.Fatal(err)
	}
	return l
}

func (l *soakLine) take(t *testing.T, f *soakFrame) {
	t.Helper()
	var err error
	if l.buf, err = l.board.Encode(l.buf[:0], f.msg); err != nil {
		t.Fatal(err)
	}
	l.n++
	l.passed = max(l.passed+1, int64(f.mono))
	s, err := l.decoder.Decode(ingest.Frame{
		Session: "soak", Link: "pad-radio", N: l.n, Heard: l.epoch.Add(f.mono), Mono: int64(f.mono), Passed: l.passed,
		Wire: 24, Baud: 57600, Bytes: l.buf,
	})
	if err != nil {
		t.Fatal(err)
	}
	out := l.engine.Sample(&s)
	l.events += len(out.Events)
	l.alarms += len(out.Alarms)
}

// waitingBoard is a board of the ensemble that stands on the pad.
func waitingBoard(t *testing.T, id uint32, hours float64) func() *soakFrame {
	t.Helper()
	w := ensemble.WaitingPad(ensemble.OnPad(), 5, uint64(id), hours)
	frames := make(chan *soakFrame)
	done := make(chan struct{})
	ended := make(chan struct{})
	t.Cleanup(func() { close(done); <-ended })
	go func() {
		defer close(ended)
		defer close(frames)
		seq := int64(0)
		for s := range w.Samples() {
			p, ok := s.Values.Get(decode.PressurePa)
			if !ok {
				continue
			}
			seq++
			f := &soakFrame{s.Heard.Sub(w.Epoch), decode.Message{
				Rocket: id, Boot: 1, Seq: seq, Clock: s.Clock,
				Values: map[string]float64{decode.PressurePa: p, decode.TemperatureC: 15, decode.CellV: 3.9},
			}}
			select {
			case frames <- f:
			case <-done:
				return
			}
		}
	}()
	return func() *soakFrame { return <-frames }
}

// flyingBoard rests for two minutes, goes up at 30 m/s, falls freely to apogee
// and sinks at 3 m/s, at 20 Hz, again and again; every tenth round it starts
// anew. Its pressure follows from the height by the barometric formula of ISO
// 2533.
func flyingBoard(id uint32, hours float64) func() *soakFrame {
	const v, g, sink, rest, hz = 30.0, 9.80665, 3.0, 120.0, 20
	top := v * v / 2 / g
	period := math.Round((rest+v/g+top/sink)*hz) / hz
	i, end := int64(0), int64(hours*3600*hz)
	return func() *soakFrame {
		if i++; i >= end {
			return nil
		}
		at := float64(i) / hz
		round := int64(at / period)
		t, h := math.Mod(at, period)-rest, 0.0
		switch {
		case t > v/g:
			h = max(0, top-sink*(t-v/g))
		case t > 0:
			h = v*t - g/2*t*t
		}
		boot := round / 10
		since := i - int64(float64(boot*10)*period*hz)
		return &soakFrame{time.Duration(at * float64(time.Second)), decode.Message{
			Rocket: id, Boot: uint32(boot + 1), Seq: since, Clock: since * 1_000_000 / hz,
			Values: map[string]float64{
				decode.PressurePa: 98000 * math.Pow(1-0.0065*h/288.15, 5.25588), decode.TemperatureC: 15, decode.CellV: 3.9,
			},
		}}
	}
}
