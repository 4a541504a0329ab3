package station

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/web"
)

// The session runs on monotonic time from an epoch that was read off the ground
// computer's clock once. That clock may have been wrong, or be set while the
// session runs. Then nothing recorded changes: the session's shift is set, which
// every reader adds, and an event timefix tells when and how.

// Standard deviations of what is believed about the true time.
const (
	sdSystem = 50 * time.Millisecond
	// A sentence comes some tenths of a second after the second that it names.
	sdGPS   = 500 * time.Millisecond
	sdTyped = time.Second // an order by padlark time set
)

const (
	clockEvery = time.Second
	// fixWorth is how many standard deviations a new fix must differ from the
	// present shift to replace it.
	fixWorth = 4
	// gpsFloor is before any flight recorded by this program: a receiver that has
	// just been switched on may tell a date of its own making.
	gpsFloor = 2026
)

// fixTarget is where a fix is stored and told.
type fixTarget interface {
	SetShift(ctx context.Context, session string, shift time.Duration, source string) error
}

// clockFix knows how session time relates to true time, and mends it. It is
// safe for concurrent use.
type clockFix struct {
	session string
	clock   ingest.Clock
	archive fixTarget
	tell    func(flight.Event) error // publishes and keeps an event
	log     zerolog.Logger
	synced  func() (synced bool, how string) // of the system clock
	wall    func() time.Time

	gps chan gpsOffer // the newest, not yet looked at

	mu    sync.Mutex
	shift time.Duration
	sd    time.Duration // 0: not known
	how   string
}

type gpsOffer struct {
	heard, truth time.Time
	link         string
}

func (s *station) newClockFix() *clockFix {
	return &clockFix{
		session: s.session.ID, clock: s.clock, archive: s.archive, tell: s.out.event, log: s.log,
		synced: SystemClock, wall: time.Now, gps: make(chan gpsOffer, 1),
		shift: s.session.Shift, how: s.session.ShiftSource, sd: sdOf(s.session.ShiftSource),
	}
}

// webClock is the clock as the pages see it, nil if there is none to mend.
func (s *station) webClock() web.Clock {
	if s.fix == nil {
		return nil
	}
	return s.fix
}

// sdOf is the uncertainty of a fix that an interrupted session had already.
func sdOf(source string) time.Duration {
	if source == "" {
		return 0
	}
	return sdTyped
}

// ClockStatus tells what is known of the station's time.
func (c *clockFix) ClockStatus(context.Context) (web.ClockStatus, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	st := web.ClockStatus{
		Now: c.clock.At(c.clock.Now()), Trusted: c.sd > 0, How: c.how, ShiftNs: c.shift.Nanoseconds(), Session: c.session,
	}
	if !st.Trusted {
		st.How = "the clock of this computer, which nothing vouches for"
	}
	return st, nil
}

// FixClock says that session time `at` was `truth`, give or take sd. How is in
// words, for people. The error is that of the archive or the bus.
func (c *clockFix) FixClock(ctx context.Context, at, truth time.Time, sd time.Duration, how string) error {
	if sd <= 0 {
		return errors.New("fix the clock: an uncertainty over 0 is needed")
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.fix(ctx, at, truth, sd, how)
}

func (c *clockFix) fix(ctx context.Context, at, truth time.Time, sd time.Duration, how string) error {
	shift := truth.Sub(at)
	if err := c.archive.SetShift(ctx, c.session, shift, how); err != nil {
		return fmt.Errorf("fix the clock: %w", err)
	}
	c.shift, c.sd, c.how = shift, sd, how
	called, s := c.clock.Now(), sd.Seconds()
	e := flight.Event{
		Session: c.session, ID: fmt.Sprintf("timefix/%d", called.Nanoseconds()), Kind: flight.TimeFix,
		At: at, CalledAt: c.clock.At(called), AtSD: &s,
		Note: fmt.Sprintf("all times of the session are moved by %+.3f s, to %s: %s", shift.Seconds(), truth.UTC().Format(time.RFC3339), how),
	}
	c.log.Info().Dur("shift", shift).Msg(e.Note)
	if err := c.tell(e); err != nil {
		return fmt.Errorf("tell that the clock is fixed: %w", err)
	}
	return nil
}

// offer takes what a source believes, if that is news: more certain than what
// is known, or as certain and different.
func (c *clockFix) offer(ctx context.Context, at, truth time.Time, sd time.Duration, how string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	differs := (truth.Sub(at) - c.shift).Abs() > fixWorth*max(sd, c.sd)
	better := c.sd == 0 || sd < c.sd/2
	if c.sd > 0 && sd > c.sd || !better && !differs {
		return
	}
	var err error
	if c.sd == 0 && !differs {
		// The clock was right from the start: nothing moves.
		err = c.vouch(ctx, sd, how)
	} else {
		err = c.fix(ctx, at, truth, sd, how)
	}
	if err != nil && ctx.Err() == nil {
		c.log.Warn().Err(err).Msg("it is tried again")
		c.sd = 0
	}
}

// vouch notes that the present shift is right.
func (c *clockFix) vouch(ctx context.Context, sd time.Duration, how string) error {
	if err := c.archive.SetShift(ctx, c.session, c.shift, how); err != nil {
		return fmt.Errorf("vouch for the clock: %w", err)
	}
	c.sd, c.how = sd, how
	return nil
}

// frame looks whether a frame tells the time. It never waits.
func (c *clockFix) frame(f *ingest.Frame) {
	if c == nil || len(f.Bytes) == 0 || f.Bytes[0] != '$' && f.Bytes[0] != '{' {
		return
	}
	truth, ok := decode.GPSTime(f.Bytes)
	if !ok || truth.Year() < gpsFloor {
		return
	}
	o := gpsOffer{f.Heard.Add(-f.WireTime()), truth, f.Link}
	select {
	case c.gps <- o:
	default: // the one before is not looked at yet and says the same
	}
}

// run watches the sources until ctx ends.
func (c *clockFix) run(ctx context.Context, dir string) error {
	t := time.NewTicker(clockEvery)
	defer t.Stop()
	for {
		c.look(ctx, dir)
		select {
		case <-ctx.Done():
			return nil
		case o := <-c.gps:
			c.offer(ctx, o.heard, o.truth, sdGPS, "GPS time on link "+o.link)
			// One a second is enough; until then it takes the next.
		case <-t.C:
		}
	}
}

// look asks the system's clock and looks for an order by hand.
func (c *clockFix) look(ctx context.Context, dir string) {
	if ok, how := c.synced(); ok {
		at := c.clock.At(c.clock.Now())
		c.offer(ctx, at, c.wall(), sdSystem, how)
	}
	order, err := takeFixOrder(dir)
	if err != nil {
		c.log.Warn().Err(err).Msg("an order to set the time cannot be read")
	}
	if order == nil {
		return
	}
	at := c.clock.At(c.clock.Now())
	truth := order.Truth.Add(order.age(c.wall()))
	if err := c.FixClock(ctx, at, truth, sdTyped, "by hand, with padlark time set"); err != nil && ctx.Err() == nil {
		c.log.Error().Err(err).Msg("the time is not set")
	}
}
