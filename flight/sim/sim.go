package sim

import (
	"container/heap"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/ingest"
)

// Sim flies a scenario. It is for one goroutine.
type Sim struct {
	scenario Scenario
	seed     uint64
	epoch    time.Time
	padPa    float64
	programs map[string]*decode.Program // by layout
	framings map[string]ingest.Framing
	rockets  []flight.Rocket
	truth    []Truth
}

// New checks a scenario and makes ready to fly it, with the session's epoch
// (UTC), from which chunks are timed.
func New(sc Scenario, seed uint64, epoch time.Time) (*Sim, error) {
	if err := sc.Validate(); err != nil {
		return nil, err
	}
	s := &Sim{
		scenario: sc, seed: seed, epoch: epoch.UTC(),
		programs: map[string]*decode.Program{}, framings: map[string]ingest.Framing{},
	}
	if err := s.compile(); err != nil {
		return nil, err
	}
	// One weather for all: it is the same field at the same time.
	rng := rand.New(rand.NewPCG(seed, 0x77656174))
	s.padPa = ensemble.StandardPa(*sc.Site.ElevationM) + min(max(600*rng.NormFloat64(), -2000), 2000)
	for i := range sc.Boards {
		f, err := s.fly(i, 0)
		if err != nil {
			return nil, err
		}
		s.rockets = append(s.rockets, configured(sc.Boards[i].Rocket, f.Rocket))
	}
	return s, nil
}

// compile makes the layouts of all links ready.
func (s *Sim) compile() error {
	layouts, err := decode.Builtin()
	if err != nil {
		return fmt.Errorf("read layouts: %w", err)
	}
	layouts = decode.Join(layouts, s.scenario.Layouts)
	for _, l := range s.scenario.Links {
		found := false
		for _, y := range layouts {
			if y.Name != l.Layout {
				continue
			}
			found = true
			if s.programs[y.Name], err = decode.Compile(y, layouts); err != nil {
				return fmt.Errorf("scenario: link %q: %w", l.Name, err)
			}
			s.framings[y.Name] = y.Framing
		}
		if !found {
			return fmt.Errorf("scenario: link %q: layout %q does not exist", l.Name, l.Layout)
		}
		if dgram := s.framings[l.Layout].Kind == ingest.FramingDatagram; dgram && l.Kind != kindUDP {
			return fmt.Errorf("scenario: link %q: layout %q has datagram framing; use kind = \"udp\"", l.Name, l.Layout)
		}
	}
	return nil
}

// Rockets are the rockets as their builder would configure them, with masses
// and parachutes of the first round.
func (s *Sim) Rockets() []flight.Rocket { return s.rockets }

// Scenario is what is flown.
func (s *Sim) Scenario() Scenario { return s.scenario }

// Truth lists the flights of all rounds that Chunks has begun, by round, in the
// order of the boards.
func (s *Sim) Truth() []Truth { return s.truth }

// fly draws the flight of one board in one round.
func (s *Sim) fly(board, round int) (ensemble.Flight, error) {
	b := &s.scenario.Boards[board]
	spec := ensemble.Nominal50()
	spec.Name = b.Rocket.Name
	spec.WaterM, spec.SolidM = ensemble.Fixed(b.ApogeeM), ensemble.Fixed(b.ApogeeM)
	if b.Rocket.Kind == "solid" {
		spec.SolidShare = 1
	}
	spec.PadS, spec.AfterS = ensemble.Fixed(b.LiftoffS), ensemble.Fixed(s.scenario.RoundS)
	spec.TiltDeg, spec.WindMps = ensemble.Fixed(math.Abs(b.TiltDeg)), ensemble.Fixed(s.scenario.Site.WindMps)
	spec.ElevationM, spec.PadC = ensemble.Fixed(*s.scenario.Site.ElevationM), ensemble.Fixed(*s.scenario.Site.TemperatureC)
	spec.PadPa = ensemble.Fixed(s.padPa)
	spec.ReleaseLagS, spec.SinkMps = ensemble.Fixed(b.ReleaseLagS), ensemble.Fixed(b.SinkMps)
	switch {
	case b.NoRelease:
		spec.NoneShare = 1
	case b.ReleaseLagS < 0:
		spec.EarlyShare, spec.EarlyS = 1, ensemble.Fixed(-b.ReleaseLagS)
	}
	spec.RateHz, spec.NoiseM, spec.StepPa = []float64{b.Rocket.RateHz}, ensemble.Fixed(b.NoiseM), []float64{b.StepPa}
	spec.SkewPpm, spec.LatencyS = ensemble.Fixed(b.SkewPpm), ensemble.Fixed(0.002)
	spec.DriftM, spec.GustPa, spec.BumpM = ensemble.Range{Hi: 0.1}, ensemble.Range{Lo: 0.5, Hi: 1.5}, ensemble.Range{Hi: 4}
	f, err := ensemble.Draw(spec, s.seed, uint64(round)<<16|uint64(board))
	if err != nil {
		return f, fmt.Errorf("fly %s: %w", b.Rocket.Name, err)
	}
	if off := s.scenario.RoundS - s.scenario.BreakS; f.Truth.TouchdownS+3 > off {
		return f, fmt.Errorf("fly %s: it lands at %.0f s, too late for the board to go off at %.0f s: make round_s longer or liftoff_s earlier", b.Rocket.Name, f.Truth.TouchdownS, off)
	}
	return f, nil
}

// sender is one board in one round, sending its samples.
type sender struct {
	board   *Board
	flight  ensemble.Flight
	next    int
	link    *line
	program *decode.Program
	framing ingest.Framing
	values  map[string]float64
	boot    uint32
	start   float64 // of the round, s since the epoch
	off     float64 // s after start
}

// at is when the next frame starts on its way, s since the epoch; +Inf if
// there is none.
func (s *sender) at() float64 {
	if s.next >= len(s.flight.Samples) {
		return math.Inf(1)
	}
	t := float64(s.flight.Samples[s.next].Passed) / 1e9
	if t > s.off {
		return math.Inf(1)
	}
	return s.start + t
}

// frame encodes the next sample, framing included.
func (s *sender) frame(buf []byte) ([]byte, error) {
	x := &s.flight.Samples[s.next]
	s.next++
	for i, n := range x.Values.Names {
		s.values[n] = x.Values.Values[i]
	}
	m := decode.Message{Rocket: *s.board.Rocket.ID, Boot: s.boot, Seq: x.Seq, Clock: x.Clock, Values: s.values}
	msg, err := s.program.Encode(nil, m)
	if err != nil {
		return nil, fmt.Errorf("encode frame %d of %s: %w", x.Seq, s.board.Rocket.Name, err)
	}
	buf, err = s.framing.Encode(buf[:0], msg)
	if err != nil {
		return nil, fmt.Errorf("frame message %d of %s: %w", x.Seq, s.board.Rocket.Name, err)
	}
	return buf, nil
}

// Chunks yields what the links hear, in order of time, for so many rounds; 0
// is for ever. A chunk's bytes are its own. After an error nothing follows.
func (s *Sim) Chunks(rounds int) iter.Seq2[ingest.Chunk, error] {
	return func(yield func(ingest.Chunk, error) bool) {
		s.truth = nil
		var lines []*line
		for i := range s.scenario.Links {
			lines = append(lines, newLine(&s.scenario.Links[i], s.seed, i))
		}
		q := &queue{}
		for round := 0; rounds == 0 || round < rounds; round++ {
			senders, err := s.begin(round, lines)
			if err != nil {
				yield(ingest.Chunk{}, err)
				return
			}
			if !s.round(senders, lines, q, yield) {
				return
			}
		}
		for _, l := range lines {
			l.settle(math.Inf(1), q)
		}
		q.drain(math.Inf(1), yield)
	}
}

// begin draws all flights of a round and notes their truth.
func (s *Sim) begin(round int, lines []*line) ([]*sender, error) {
	var out []*sender
	start := float64(round) * s.scenario.RoundS
	for i := range s.scenario.Boards {
		b := &s.scenario.Boards[i]
		f, err := s.fly(i, round)
		if err != nil {
			return nil, err
		}
		s.truth = append(s.truth, newTruth(&f.Truth, b.Rocket.Name, round+1, s.epoch, start))
		l := lines[slices.IndexFunc(lines, func(l *line) bool { return l.cfg.Name == b.Link })]
		out = append(out, &sender{
			board: b, flight: f, link: l, program: s.programs[l.cfg.Layout], framing: s.framings[l.cfg.Layout],
			values: map[string]float64{}, boot: uint32(round) + 1, start: start, off: s.scenario.RoundS - s.scenario.BreakS,
		})
	}
	return out, nil
}

// round sends all frames of a round; false if the consumer wants no more.
func (s *Sim) round(senders []*sender, lines []*line, q *queue, yield func(ingest.Chunk, error) bool) bool {
	var buf []byte
	for {
		first := senders[0]
		for _, x := range senders[1:] {
			if x.at() < first.at() {
				first = x
			}
		}
		t := first.at()
		if math.IsInf(t, 1) {
			return true
		}
		// No frame still to be sent can be heard before it is sent, and no
		// open read before its last byte so far.
		safe := t
		for _, l := range lines {
			l.garbage(t, q)
			l.settle(t, q)
			safe = min(safe, l.holds())
		}
		if !q.drain(safe, yield) {
			return false
		}
		frame, err := first.frame(buf)
		if err != nil {
			yield(ingest.Chunk{}, err)
			return false
		}
		buf = frame
		first.link.send(frame, t, q)
	}
}

// queue holds chunks that are on their way, the earliest first.
type queue struct {
	items []ingest.Chunk
	order []uint64
	count uint64
}

func (q *queue) Len() int { return len(q.items) }
func (q *queue) Less(i, j int) bool {
	if q.items[i].Heard != q.items[j].Heard {
		return q.items[i].Heard < q.items[j].Heard
	}
	return q.order[i] < q.order[j]
}
func (q *queue) Swap(i, j int) {
	q.items[i], q.items[j] = q.items[j], q.items[i]
	q.order[i], q.order[j] = q.order[j], q.order[i]
}

// Push is for container/heap.
func (q *queue) Push(x any) {
	q.items = append(q.items, x.(ingest.Chunk))
	q.order = append(q.order, q.count)
	q.count++
}

// Pop is for container/heap.
func (q *queue) Pop() any {
	n := len(q.items) - 1
	c := q.items[n]
	q.items, q.order = q.items[:n], q.order[:n]
	return c
}

// drain yields all chunks heard before t, in s since the epoch; false if the
// consumer wants no more.
func (q *queue) drain(t float64, yield func(ingest.Chunk, error) bool) bool {
	for len(q.items) > 0 && (math.IsInf(t, 1) || q.items[0].Heard < secs(t)) {
		if !yield(heap.Pop(q).(ingest.Chunk), nil) {
			return false
		}
	}
	return true
}
