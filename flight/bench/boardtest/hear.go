package boardtest

import (
	"fmt"
	"math/rand/v2"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// Listener is who hears a board on a virtual clock.
type Listener interface {
	Sample(s *decode.Sample)
	Tick(now time.Time, h ingest.Health)
	Done() bool
}

// silenceS is how long Hear goes on after the board was switched off, in s.
const silenceS = 600

// Hear switches a board on a second after epoch and lets its bytes pass the
// real framing and the real decoder, on a virtual clock, until the listener is
// done or nothing has come for a long time.
func Hear(o Options, epoch time.Time, l Listener) error {
	b, err := New(o)
	if err != nil {
		return err
	}
	e, err := newEar(b, epoch, l)
	if err != nil {
		return fmt.Errorf("hear board: %w", err)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 9))
	last := time.Duration(0)
	for !l.Done() {
		s, on, err := b.Next()
		if err != nil {
			return err
		}
		if !on {
			break
		}
		// On its way it is late by 2 ms in the mean, and frames keep their order.
		last = max(last, time.Second+s.At+time.Duration(rng.ExpFloat64()*2e6))
		e.clock.Advance(last)
		if len(s.Bytes) > 0 {
			c := ingest.Chunk{Link: linkName, Heard: last, Bytes: s.Bytes, Baud: lineRate}
			if err := e.receiver.Push(c, e.frame); err != nil {
				return fmt.Errorf("hear board: %w", err)
			}
		}
		l.Tick(epoch.Add(last), e.receiver.Health())
	}
	for end := last + silenceS*time.Second; !l.Done() && last < end; last += time.Second {
		l.Tick(epoch.Add(last), e.receiver.Health())
	}
	return nil
}

const (
	linkName = "bench"
	lineRate = 115200
)

type ear struct {
	clock    *ingest.VirtualClock
	receiver *ingest.Receiver
	decoder  *decode.Decoder
	listener Listener
}

func newEar(b *Board, epoch time.Time, l Listener) (*ear, error) {
	e := &ear{clock: ingest.NewVirtualClock(epoch), listener: l}
	cfg := ingest.LinkConfig{Name: linkName, Serial: "/dev/bench", Baud: lineRate, Layout: b.o.Layout}
	var err error
	if e.receiver, err = ingest.NewReceiver(cfg, b.framing, ingest.Env{Clock: e.clock.Clock()}); err != nil {
		return nil, err
	}
	r := Rocket()
	e.decoder, err = decode.New(decode.Config{
		Links:   []decode.LinkLayouts{{Link: linkName, Layouts: []string{b.o.Layout}}},
		Rockets: []decode.RocketID{{Name: r.Name, ID: r.ID}},
	})
	return e, err
}

func (e *ear) frame(f ingest.Frame) error {
	f.Passed = f.Mono
	_, err := e.decoder.Take(&f, e.receiver.Stats(), func(s decode.Sample) error {
		e.listener.Sample(&s)
		return nil
	})
	return err
}
