package bus

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
)

// inFlight is how many messages may be on their way to the stream. Every
// ackEvery-th asks for an acknowledgement, and so does any that is the last in
// the queue; because each message names the one it must follow, that one
// acknowledgement stands for all before it.
const (
	inFlight = 512
	ackEvery = inFlight / 4
)

// maxTicks bounds the ticks that wait for the messages before them. The oldest
// goes first: a later tick says all that it said.
const maxTicks = 16

// item is one entry of the queue: a message for the stream, a tick that is to
// follow it, or a mark that is reached when all before it is acknowledged.
type item struct {
	subject string
	id      string
	data    []byte
	tick    *Tick
	flushed chan struct{}
}

// publisher owns the way into the stream. One goroutine (run) does all the
// sending; the others only put items into the queue.
type publisher struct {
	bus   *Bus
	queue chan item
	lost  <-chan struct{} // the connection broke
	acks  chan *nats.Msg
	sub   *nats.Subscription
	inbox string
	base  atomic.Uint64 // stream sequence of the last acknowledged message

	mu       sync.RWMutex // guards closed against a publish under way
	closed   bool
	quit     context.Context // ends when what is left is to be given up
	giveUp   context.CancelFunc
	finished chan struct{}

	// Owned by run.
	window []item          // not acknowledged, oldest first
	keys   map[string]bool // natural keys of the window
	sent   int             // of these, how many are on their way
	since  int             // sent since an acknowledgement was asked for
	lastID string          // natural key of the stream's last message, empty if not known
	gen    uint64          // rises with each new start, so that old replies are known
	first  uint64          // number of window[0] within this generation
	marks  []mark
}

// mark is something to do when all messages up to and including left are
// acknowledged; left counts messages of the window.
type mark struct {
	left    int
	tick    *Tick
	flushed chan struct{}
}

func newPublisher(b *Bus, last uint64, lastID string, lost <-chan struct{}) (*publisher, error) {
	quit, giveUp := context.WithCancel(context.Background())
	p := &publisher{
		bus: b, queue: make(chan item, b.opts.Queue), lost: lost,
		acks: make(chan *nats.Msg, inFlight), inbox: b.nc.NewInbox(),
		quit: quit, giveUp: giveUp, finished: make(chan struct{}), lastID: lastID, keys: map[string]bool{},
	}
	p.base.Store(last)
	var err error
	if p.sub, err = b.nc.ChanSubscribe(p.inbox+".*.*", p.acks); err != nil {
		giveUp()
		return nil, fmt.Errorf("open bus: listen for acknowledgements: %w", err)
	}
	go p.run()
	return p, nil
}

// put queues a message, waiting for room.
func (p *publisher) put(ctx context.Context, it item) error {
	p.mu.RLock()
	defer p.mu.RUnlock()
	if p.closed {
		return ErrClosed
	}
	c := &p.bus.count
	select {
	case p.queue <- it:
	default:
		c.blocked.Add(1)
		start := time.Now()
		defer func() { c.blockedNs.Add(uint64(time.Since(start))) }()
		select {
		case p.queue <- it:
		case <-ctx.Done():
			return fmt.Errorf("publish on %s: queue is full: %w", it.subject, ctx.Err())
		case <-p.quit.Done():
			return ErrClosed
		}
	}
	if it.data != nil {
		c.published.Add(1)
		c.bytes.Add(uint64(len(it.data)))
	}
	return nil
}

// putTick queues a tick if there is room.
func (p *publisher) putTick(t Tick) error {
	p.mu.RLock()
	defer p.mu.RUnlock()
	if p.closed {
		return ErrClosed
	}
	select {
	case p.queue <- item{tick: &t}:
	default:
		p.bus.count.liveFailed.Add(1)
	}
	return nil
}

func (p *publisher) flush(ctx context.Context) error {
	done := make(chan struct{})
	if err := p.put(ctx, item{flushed: done}); err != nil {
		return fmt.Errorf("flush bus: %w", err)
	}
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("flush bus: %d messages are not acknowledged yet: %w", p.bus.Counters().Queued, ctx.Err())
	case <-p.finished:
		select {
		case <-done:
			return nil
		default:
			return fmt.Errorf("flush bus: %w", ErrClosed)
		}
	}
}

// stop takes no more, waits until all is acknowledged or the time is over, and
// waits for the goroutine.
func (p *publisher) stop(limit time.Duration) error {
	t := time.AfterFunc(limit, p.giveUp)
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	close(p.queue)
	<-p.finished
	t.Stop()
	p.giveUp()
	err := p.sub.Unsubscribe()
	if errors.Is(err, nats.ErrConnectionClosed) || errors.Is(err, nats.ErrBadSubscription) {
		err = nil
	}
	if n := p.bus.Counters().Queued; n > 0 {
		return errors.Join(err, fmt.Errorf("close bus: %d messages were not acknowledged by the stream", n))
	}
	return err
}

// run sends until the queue is closed and empty and all is acknowledged.
func (p *publisher) run() {
	defer close(p.finished)
	timeout := time.NewTimer(p.bus.opts.AckTimeout)
	defer timeout.Stop()
	queue := p.queue
	for {
		p.reach()
		in := queue
		if len(p.window) >= inFlight {
			in = nil // wait for acknowledgements first
		}
		if in == nil && queue == nil && len(p.window) == 0 {
			return
		}
		var err error
		select {
		case it, ok := <-in:
			if !ok {
				queue = nil
				continue
			}
			if len(p.window) == 0 {
				timeout.Reset(p.bus.opts.AckTimeout)
			}
			err = p.take(it, in)
		case m := <-p.acks:
			err = p.ack(m)
			timeout.Reset(p.bus.opts.AckTimeout)
		case <-p.lost:
			if len(p.window) > 0 {
				err = errors.New("connection lost")
			}
		case <-timeout.C:
			if len(p.window) > 0 {
				err = fmt.Errorf("no acknowledgement within %s", p.bus.opts.AckTimeout)
			}
			timeout.Reset(p.bus.opts.AckTimeout)
		case <-p.quit.Done():
			return
		}
		if err != nil && !p.recover(err) {
			return
		}
	}
}

// take puts an item of the queue on its way, and with it those that follow and
// are there already. The last of such a run asks for an acknowledgement: the one
// before a mark, or before the queue is empty.
func (p *publisher) take(it item, in <-chan item) error {
	p.keep(it)
	for len(p.window) < inFlight {
		select {
		case next, ok := <-in:
			if !ok {
				return p.sendRest()
			}
			p.keep(next)
			// All but the newest can go: it is not yet known whether that one is
			// the last of the run.
			for p.sent < len(p.window)-1 {
				if err := p.send(p.since+1 >= ackEvery); err != nil {
					return err
				}
			}
			if next.data == nil {
				return p.sendRest()
			}
		default:
			return p.sendRest()
		}
	}
	return p.sendRest()
}

// sendRest sends what is in the window and not on its way; the last asks for an
// acknowledgement.
func (p *publisher) sendRest() error {
	for n := len(p.window); p.sent < n; {
		if err := p.send(p.sent+1 == n || p.since+1 >= ackEvery); err != nil {
			return err
		}
	}
	return nil
}

// keep puts an item into the window, or marks the place if it is no message. A
// message that is in the window already is not put there twice: the second would
// hide from the server whether the first has arrived. Nor is the stream's last
// message: what follows it in the window would name it as the one before, and
// would be let in also when the server has refused all between.
func (p *publisher) keep(it item) {
	switch {
	case it.data == nil:
		p.marks = append(p.marks, mark{left: len(p.window), tick: it.tick, flushed: it.flushed})
		p.trimTicks()
	case p.keys[it.id], it.id == p.lastID:
		p.bus.count.duplicates.Add(1)
		p.bus.count.acked.Add(1)
	default:
		p.keys[it.id] = true
		p.window = append(p.window, it)
	}
}

// send puts the next message of the window on the wire.
func (p *publisher) send(wantAck bool) error {
	it, before := p.window[p.sent], p.lastID
	if p.sent > 0 {
		before = p.window[p.sent-1].id
	}
	m := &nats.Msg{Subject: it.subject, Data: it.data, Header: nats.Header{headerID: {it.id}}}
	if before != "" {
		m.Header[headerAfter] = []string{before}
	}
	if wantAck {
		m.Reply = p.inbox + "." + strconv.FormatUint(p.gen, 10) + "." + strconv.FormatUint(p.first+uint64(p.sent), 10)
	}
	if err := p.bus.nc.PublishMsg(m); err != nil {
		return fmt.Errorf("send message: %w", err)
	}
	p.sent++
	p.since++
	if wantAck {
		p.since = 0
	}
	return nil
}

// Headers that the server acts on: it drops a message whose natural key it has
// seen a moment ago, and refuses one that would not directly follow the message
// it names.
const (
	headerID    = "Nats-Msg-Id"
	headerAfter = "Nats-Expected-Last-Msg-Id"
)

// ack handles one reply of the stream.
func (p *publisher) ack(m *nats.Msg) error {
	gen, num, ok := replyNumber(m.Subject[len(p.inbox)+1:])
	if !ok || gen != p.gen || num < p.first {
		return nil // of an attempt that has been given up
	}
	r, err := parseAck(m)
	if err != nil {
		return err
	}
	n := int(num-p.first) + 1
	if n > p.sent {
		return nil
	}
	if r.Duplicate {
		// It proves nothing about those before it; sort it out one by one.
		return errors.New("a message is in the stream already")
	}
	if want := p.base.Load() + uint64(n); r.Seq != want {
		return fmt.Errorf("a message stands at %d in the stream, expected at %d", r.Seq, want)
	}
	p.pop(n, r.Seq)
	return nil
}

// pop takes the n oldest messages out of the window: they are in the stream, of
// which last is now the last sequence known.
func (p *publisher) pop(n int, last uint64) {
	p.lastID = p.window[n-1].id
	for _, it := range p.window[:n] {
		delete(p.keys, it.id)
	}
	clear(p.window[:n])
	p.window = p.window[n:]
	p.sent = max(0, p.sent-n)
	p.first += uint64(n)
	for i := range p.marks {
		p.marks[i].left = max(0, p.marks[i].left-n)
	}
	p.base.Store(last)
	p.bus.count.acked.Add(uint64(n))
	if p.bus.count.setTrouble("") {
		p.bus.opts.Log.Info().Msg("bus takes messages again")
	}
}

// reach does what was to be done once the messages before it are acknowledged.
func (p *publisher) reach() {
	for len(p.marks) > 0 && p.marks[0].left == 0 {
		m := p.marks[0]
		p.marks[0] = mark{}
		p.marks = p.marks[1:]
		if m.flushed != nil {
			close(m.flushed)
		}
		if m.tick != nil {
			m.tick.After = p.base.Load()
			p.bus.sendTick(*m.tick)
		}
	}
}

// trimTicks keeps at most maxTicks waiting.
func (p *publisher) trimTicks() {
	n, oldest := 0, -1
	for i, m := range p.marks {
		if m.tick != nil {
			if n++; oldest < 0 {
				oldest = i
			}
		}
	}
	if n > maxTicks {
		p.marks = append(p.marks[:oldest], p.marks[oldest+1:]...)
		p.bus.count.liveFailed.Add(1)
	}
}

func replyNumber(s string) (gen, num uint64, ok bool) {
	a, b, found := strings.Cut(s, ".")
	gen, err1 := strconv.ParseUint(a, 10, 64)
	num, err2 := strconv.ParseUint(b, 10, 64)
	return gen, num, found && err1 == nil && err2 == nil
}
