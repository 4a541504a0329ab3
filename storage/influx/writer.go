package influx

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"padlark/bus"
	"padlark/decode"
	"padlark/flight"
	"padlark/storage/sqlite"
)

// Durable is the name of the writer's place in the stream.
const Durable = "influx"

const (
	// gatherTime is how long samples are gathered for one request. Nobody reads a
	// dashboard faster, and it spares a mobile uplink.
	gatherTime = time.Second
	// batchMost bounds the messages of a batch. They are kept in memory, and while
	// the server is away each is reported to the stream as being worked on.
	batchMost = 1024
)

// line is the part of the bus that the writer needs.
type line interface {
	Consume(ctx context.Context, c bus.Consumer, h func(context.Context, []bus.Msg) error) error
	WaitConsumed(ctx context.Context, durable string, seq uint64) error
	LastSeq() uint64
	PublishAlarm(ctx context.Context, a flight.Alarm) error
}

// Writer moves samples, events and alarms from the stream to the server while
// the station runs. See the package's comment for what it promises.
type Writer struct {
	*copier
	bus     line
	current string // the session that runs now

	landed chan struct{} // a touchdown was sent
	settle time.Duration // from a touchdown to the results of its flight

	// Owned by handle.
	part     partly                  // how far the batch under way has come
	sessions map[string]*liveSession // sessions of the messages so far

	mu      sync.Mutex
	state   State
	away    *flight.Alarm // about the server, while it is active
	cleared *flight.Alarm // the last one before it, not acknowledged yet
	aside   *flight.Alarm // about lines set aside, once there are any
}

// State is how the writer is.
type State struct {
	Counts
	Seq uint64 // stream sequence of the last message taken by the server
	// Trouble says why the server takes nothing at present; empty if it does.
	Trouble string
	Since   time.Time // when the trouble began
	LastOK  time.Time // when the server last took something
}

// partly is how much of a batch has been sent, so that a second try does not
// begin at its start.
type partly struct {
	first, last uint64
	lines       int
}

// NewWriter makes a writer for the session that runs now; Run does the work. The
// archive is that of the station.
func NewWriter(o Options, session string, b line, a *sqlite.Archive, f Flights) (*Writer, error) {
	c, err := newCopier(o, a, f)
	if err != nil {
		return nil, err
	}
	return &Writer{
		copier: c, bus: b, current: session,
		landed: make(chan struct{}, 1), settle: settleTime, sessions: map[string]*liveSession{},
	}, nil
}

// State is how the writer is now.
func (w *Writer) State() State {
	n := w.sender.counts()
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.state
	s.Counts = n
	return s
}

// AsidePath is the file of the points that the server refused for good.
func (w *Writer) AsidePath() string { return w.sender.aside.path() }

// Run writes until ctx ends; then it goes on for at most Options.CloseTime to
// send what is left and the results of the session, and returns nil. The bus
// and the archive must stay open until it has returned. An error means that the
// stream cannot be read.
func (w *Writer) Run(ctx context.Context) error {
	defer w.server.close()
	base := context.WithoutCancel(ctx)
	work, stop := context.WithCancel(base)
	ended := make(chan error, 1)
	go func() { ended <- w.consume(work) }()
	attending, leave := context.WithCancel(ctx)
	attended := make(chan struct{})
	go func() {
		defer close(attended)
		w.attend(attending)
	}()
	var err error
	select {
	case err = <-ended:
		stop()
		leave()
		<-attended
	case <-ctx.Done():
		closing, cancel := context.WithTimeout(base, w.opt.CloseTime)
		defer cancel()
		drained := w.drain(closing)
		stop()
		leave()
		err = <-ended
		<-attended
		w.finish(closing, drained)
	}
	if err != nil {
		return fmt.Errorf("copy to the time-series server: %w", err)
	}
	return nil
}

// consume hands the stream to handle.
func (w *Writer) consume(ctx context.Context) error {
	// Events are not urgent here: the board shows them, this is for later.
	return w.bus.Consume(ctx, bus.Consumer{
		Durable: Durable, Kinds: []bus.Kind{bus.Sample, bus.Reject, bus.Event, bus.Alarm},
		MaxBatch: batchMost, MaxWait: w.opt.gather, RetryMin: w.opt.RetryMin, RetryMax: w.opt.RetryMax,
		AckWait: w.opt.ackWait,
	}, w.handle)
}

// handle sends one batch.
func (w *Writer) handle(ctx context.Context, msgs []bus.Msg) error {
	b, landed, err := w.encode(ctx, msgs)
	if err != nil {
		return err
	}
	p := partly{first: msgs[0].Seq, last: msgs[len(msgs)-1].Seq}
	if w.part.first == p.first && w.part.last == p.last {
		p.lines = w.part.lines
	}
	p.lines, err = w.sender.send(ctx, b, min(p.lines, b.len()))
	w.part = p
	if err != nil {
		if ctx.Err() != nil {
			return err // interrupted, not in trouble
		}
		w.failed(ctx, err)
		var f *failure
		if errors.As(err, &f) && f.pause() > 0 {
			sleep(ctx, f.pause())
		}
		return err
	}
	w.worked(ctx, p.last)
	w.tellAside(ctx)
	if landed {
		select {
		case w.landed <- struct{}{}:
		default: // it is known already
		}
	}
	return nil
}

// encode writes the lines of a batch. What cannot be read is passed over and
// stays in the stream: nothing could be sent of it.
func (w *Writer) encode(ctx context.Context, msgs []bus.Msg) (*block, bool, error) {
	b, landed := &block{}, false
	seen := map[string]*liveSession{}
	twice := make(map[uint64]bool, len(msgs))
	for _, m := range msgs {
		if twice[m.Seq] {
			continue // delivered again before the first was handled
		}
		twice[m.Seq] = true
		id, err := sessionOf(m)
		if err != nil {
			w.opt.Log.Error().Err(err).Msg("a message cannot be read and is not copied to the time-series server")
			continue
		}
		s := seen[id.session]
		if s == nil {
			if s, err = w.live(ctx, id.session); err != nil {
				return nil, false, err
			}
			seen[id.session] = s
		}
		s.follow(id)
		switch v := id.value.(type) {
		case *decode.Sample:
			b.take(appendSample(b.buf, w.opt.Station, v, s.shift))
		case *flight.Event:
			landed = landed || v.Kind == flight.Touchdown && v.Session == w.current
			b.take(appendEvent(b.buf, w.opt.Station, v, s.shift))
		case *flight.Alarm:
			b.take(appendAlarm(b.buf, w.opt.Station, v, s.shift))
		}
	}
	for _, s := range seen {
		// Noted before the points are sent, so that they are never forgotten.
		if err := w.note(s); err != nil {
			return nil, false, err
		}
	}
	return b, landed, nil
}
