package bus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// ErrStop makes Consume return when a handler's error wraps it, instead of
// handing the same batch over again.
var ErrStop = errors.New("consumer stops")

// Consumer says what to read from the stream, and how.
type Consumer struct {
	// Durable names a place that is kept: the next Consume of that name
	// goes on after the last message acknowledged, also after a restart. Empty
	// means no place is kept and messages come strictly in order, each once.
	Durable string
	// Kinds to read; none means all that are stored.
	Kinds []Kind
	// StartSeq is the first sequence to read, StartTime the first moment at
	// which a message entered the stream; with neither, reading starts at the
	// oldest. A durable consumer that exists keeps its place.
	StartSeq  uint64
	StartTime time.Time
	// MaxBatch is how many messages a handler gets at most (512 if not given).
	// MaxWait is how long to gather them: 0 hands over at once what is there.
	MaxBatch int
	MaxWait  time.Duration
	// Wait, if not nil, is asked for each batch and takes the place of MaxWait.
	Wait func() time.Duration
	// Urgent kinds end the gathering as soon as one of them arrives.
	Urgent []Kind
	// Hurry, if not nil, ends the gathering whenever something can be received
	// from it; a closed channel means never to wait again.
	Hurry <-chan struct{}
	// AckWait is how long the server waits for an acknowledgement before it
	// delivers again (30 s if not given); a handler that takes longer, or that
	// is being tried again, is reported as at work.
	AckWait time.Duration
	// RetryMin and RetryMax bound the back-off after a failing handler (50 ms
	// and 5 s if not given).
	RetryMin, RetryMax time.Duration
}

func (c *Consumer) setDefaults() {
	def(&c.MaxBatch, 512)
	def(&c.AckWait, 30*time.Second)
	def(&c.RetryMin, 50*time.Millisecond)
	def(&c.RetryMax, 5*time.Second)
	if len(c.Kinds) == 0 {
		c.Kinds = Stored()
	}
}

// Consume reads the stream and gives h the messages in batches until ctx ends,
// then returns nil. A batch is acknowledged when h returns nil. When h fails it
// gets the same batch again after a back-off, so that order is kept and nothing
// is lost; only if the error wraps ErrStop does Consume return it. Messages of
// a durable consumer may come again after a crash or a lost connection, and then
// later ones may come before them.
// The slice belongs to h until it returns.
func (b *Bus) Consume(ctx context.Context, c Consumer, h func(context.Context, []Msg) error) error {
	c.setDefaults()
	if err := checkKinds(c.Kinds, Stored()); err != nil {
		return fmt.Errorf("consume: %w", err)
	}
	r := &reader{
		bus: b, c: c, handle: h,
		in:   make(chan jetstream.Msg, c.MaxBatch),
		seen: newSeen(8 * c.MaxBatch),
	}
	first := true
	for wait := retryMin; ; wait = min(2*wait, retryMax) {
		began := time.Now()
		err := r.session(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, ErrStop):
			return err
		case first && err != nil && !r.started:
			// What fails at the first try is a mistake of the caller or the
			// server's configuration; later it is weather.
			return fmt.Errorf("consume %s: %w", c.name(), err)
		}
		first = false
		if time.Since(began) > retryMax {
			wait = retryMin
		}
		b.opts.Log.Warn().Err(err).Str("consumer", c.name()).Msg("reading of the bus was interrupted; it starts again")
		if !sleep(ctx, wait) {
			return nil
		}
	}
}

func (c Consumer) name() string {
	if c.Durable == "" {
		return "in order"
	}
	return c.Durable
}

// reader is one running Consume.
type reader struct {
	bus     *Bus
	c       Consumer
	handle  func(context.Context, []Msg) error
	in      chan jetstream.Msg
	seen    *seen
	last    uint64 // stream sequence of the newest message handled
	started bool
	placed  time.Time // when its place was written or that was tried
	// placeless says that its place could not be written.
	placeless bool
}

// session reads until ctx ends or the consumer is gone on the server.
func (r *reader) session(ctx context.Context) error {
	cons, err := r.open(ctx)
	if err != nil {
		return err
	}
	r.started = true
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	feed := func(m jetstream.Msg) {
		select {
		case r.in <- m:
		case <-ctx.Done():
		}
	}
	cc, err := cons.Consume(feed, jetstream.PullMaxMessages(2*r.c.MaxBatch))
	if err != nil {
		return fmt.Errorf("start reading: %w", err)
	}
	defer func() {
		// The library waits for the callback that may be under way.
		cancel()
		cc.Stop()
		<-cc.Closed()
		for len(r.in) > 0 {
			<-r.in // not acknowledged: they come again
		}
	}()
	var batch []jetstream.Msg
	for {
		batch, err = r.gather(ctx, batch[:0], cc.Closed())
		if len(batch) > 0 {
			if err := r.deliver(ctx, batch); err != nil {
				return err
			}
		}
		if err != nil {
			return err
		}
	}
}

// open finds or makes the consumer on the server.
func (r *reader) open(ctx context.Context) (jetstream.Consumer, error) {
	b, c := r.bus, r.c
	if c.Durable == "" {
		return r.openInOrder(ctx)
	}
	cfg := jetstream.ConsumerConfig{
		Durable:        c.Durable,
		FilterSubjects: b.opts.filters(c.Kinds),
		AckPolicy:      jetstream.AckExplicitPolicy,
		AckWait:        c.AckWait,
		MaxAckPending:  4 * c.MaxBatch,
		MaxDeliver:     -1,
		MemoryStorage:  b.opts.ownPlaces(),
	}
	old, err := b.js.Consumer(ctx, b.opts.Stream, c.Durable)
	switch {
	case err == nil:
		info := old.CachedInfo()
		if info.Config.MemoryStorage != b.opts.ownPlaces() {
			// An older version's; where it is stored cannot be changed on it.
			if err := b.moveConsumer(ctx, info.Config, info.AckFloor.Stream); err != nil {
				return nil, err
			}
			if old, err = b.js.Consumer(ctx, b.opts.Stream, c.Durable); err != nil {
				return nil, err
			}
		}
		have := old.CachedInfo().Config
		cfg.DeliverPolicy, cfg.OptStartSeq, cfg.OptStartTime = have.DeliverPolicy, have.OptStartSeq, have.OptStartTime
	case !errors.Is(err, jetstream.ErrConsumerNotFound):
		return nil, err
	default:
		if err := r.startOf(&cfg); err != nil {
			return nil, err
		}
	}
	cons, err := b.js.CreateOrUpdateConsumer(ctx, b.opts.Stream, cfg)
	if err != nil {
		return nil, err
	}
	if !r.started && cons.CachedInfo().NumAckPending > 0 {
		// Delivered to one that is gone, as the server remembers from its files:
		// it would hold them back until the AckWait is over.
		if err := b.Rewind(ctx, c.Durable); err != nil {
			return nil, err
		}
		if cons, err = b.js.Consumer(ctx, b.opts.Stream, c.Durable); err != nil {
			return nil, err
		}
	}
	return cons, b.server.syncMeta()
}

// openInOrder makes a consumer without a place.
func (r *reader) openInOrder(ctx context.Context) (jetstream.Consumer, error) {
	b, c := r.bus, r.c
	oc := jetstream.OrderedConsumerConfig{
		FilterSubjects: b.opts.filters(c.Kinds),
		DeliverPolicy:  jetstream.DeliverAllPolicy,
	}
	switch start := max(c.StartSeq, r.last+1); {
	case r.last > 0 || c.StartSeq > 0:
		oc.DeliverPolicy, oc.OptStartSeq = jetstream.DeliverByStartSequencePolicy, start
	case !c.StartTime.IsZero():
		oc.DeliverPolicy, oc.OptStartTime = jetstream.DeliverByStartTimePolicy, &c.StartTime
	}
	return b.js.OrderedConsumer(ctx, b.opts.Stream, oc)
}

// startOf says where a durable consumer that is not there begins: at its place,
// if the server was started anew meanwhile and has forgotten it, or where the
// caller wants.
func (r *reader) startOf(cfg *jetstream.ConsumerConfig) error {
	place, err := r.bus.loadPlace(r.c.Durable)
	switch {
	case err != nil:
		return err
	case place > 0:
		startAfter(cfg, place)
	case r.c.StartSeq > 0:
		cfg.DeliverPolicy, cfg.OptStartSeq = jetstream.DeliverByStartSequencePolicy, r.c.StartSeq
	case !r.c.StartTime.IsZero():
		cfg.DeliverPolicy, cfg.OptStartTime = jetstream.DeliverByStartTimePolicy, &r.c.StartTime
	}
	return nil
}

// gather waits for a first message, then takes more until the batch is full,
// the time is over or something urgent has come. The error says why there will
// be no more; the batch counts all the same.
func (r *reader) gather(ctx context.Context, batch []jetstream.Msg, closed <-chan struct{}) ([]jetstream.Msg, error) {
	select {
	case m := <-r.in:
		batch = append(batch, m)
	case <-closed:
		return batch, errors.New("the server ended it")
	case <-ctx.Done():
		return batch, ctx.Err()
	}
	wait := r.c.MaxWait
	if r.c.Wait != nil {
		wait = r.c.Wait()
	}
	if r.urgent(batch[0]) || wait <= 0 {
		return r.gatherReady(batch), nil
	}
	t := time.NewTimer(wait)
	defer t.Stop()
	for len(batch) < r.c.MaxBatch {
		select {
		case m := <-r.in:
			batch = append(batch, m)
			if r.urgent(m) {
				return r.gatherReady(batch), nil
			}
		case <-t.C:
			return batch, nil
		case <-r.c.Hurry:
			return r.gatherReady(batch), nil
		case <-closed:
			return batch, errors.New("the server ended it")
		case <-ctx.Done():
			return batch, nil
		}
	}
	return batch, nil
}

// gatherReady takes what is there already.
func (r *reader) gatherReady(batch []jetstream.Msg) []jetstream.Msg {
	for len(batch) < r.c.MaxBatch {
		select {
		case m := <-r.in:
			batch = append(batch, m)
		default:
			return batch
		}
	}
	return batch
}

func (r *reader) urgent(m jetstream.Msg) bool {
	if len(r.c.Urgent) == 0 {
		return false
	}
	k := kindOf(m.Subject())
	for _, u := range r.c.Urgent {
		if u == k {
			return true
		}
	}
	return false
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
