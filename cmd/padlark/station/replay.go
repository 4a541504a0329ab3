package station

import (
	"context"
	"errors"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// replayAhead is how many frames a replay may run ahead of the watcher, so that
// its bus needs little memory.
const replayAhead = 4096

// replayMemory bounds the replay's own bus, in bytes.
const replayMemory = 256 << 20

// ReplayOptions says what to replay and how.
type ReplayOptions struct {
	Archive *sqlite.Archive
	Session sqlite.Session
	Config  *config.Config
	// Speed is a multiple of real time; 0 is as fast as the computer can.
	Speed float64
	// Rocket restricts the replay to the frames of one rocket; empty is all.
	Rocket string
	Log    zerolog.Logger
	// Ready, if set, is called once the bus is open.
	Ready func(Info)
	// Progress, if set, is called now and then with the session time reached.
	Progress func(at time.Duration)
}

// Replay publishes a session's recorded frames again, on a bus of its own, and
// runs the same decoding and watching on them. It returns the events in the
// order in which they were published.
func Replay(ctx context.Context, o ReplayOptions) ([]flight.Event, error) {
	b, err := bus.Open(ctx, bus.Options{Station: o.Session.Station, Memory: true, MaxBytes: replayMemory, Log: o.Log})
	if err != nil {
		return nil, err
	}
	events, err := replayOn(ctx, o, b)
	return events, errors.Join(err, b.Close())
}

func replayOn(ctx context.Context, o ReplayOptions, b *bus.Bus) ([]flight.Event, error) {
	decoder, err := newDecoder(o.Config)
	if err != nil {
		return nil, err
	}
	engine, err := watch.NewEngine(engineConfig(o.Config, o.Session.ID, o.Session.Epoch))
	if err != nil {
		return nil, err
	}
	var events []flight.Event
	watcher := watch.New(b, engine, o.Log)
	watcher.Tell = func(_ *flight.State, out watch.Output) { events = append(events, out.Events...) }
	seq := &sequencer{session: o.Session.ID, epoch: o.Session.Epoch, out: b, watch: watcher, decoder: decoder}
	subs, stopSubs := context.WithCancel(ctx)
	defer stopSubs()
	g, gctx := errgroup.WithContext(subs)
	g.Go(func() error { return watcher.Run(gctx) })
	if o.Ready != nil {
		o.Ready(Info{Session: o.Session.ID, Bus: b})
	}
	err = o.play(gctx, b, seq, watcher)
	stopSubs()
	// Only after the watcher has returned are the events complete.
	return events, errors.Join(err, g.Wait())
}

// play passes the frames on and waits until they have been watched.
func (o ReplayOptions) play(ctx context.Context, bus *bus.Bus, seq *sequencer, watcher *watch.Watcher) error {
	start, n := time.Now(), 0
	err := o.Archive.Frames(ctx, o.Session.ID, sqlite.FrameFilter{Rocket: o.Rocket}, func(f ingest.Frame) error {
		if err := o.pace(ctx, start, f.Passed, seq); err != nil {
			return err
		}
		if err := seq.recorded(ctx, f); err != nil {
			return err
		}
		if n++; n%replayAhead == 0 {
			if o.Progress != nil {
				o.Progress(time.Duration(f.Passed))
			}
			return watcher.WaitFor(ctx, seq.sampled, 0)
		}
		return nil
	})
	if err != nil {
		return err
	}
	// The ticks up to the session's end, which no frame followed.
	end := time.Duration(seq.passed)
	if !o.Session.Ended.IsZero() {
		end = o.Session.Ended.Sub(o.Session.Epoch)
	}
	if err := watched(ctx, seq, watcher, end); err != nil {
		return err
	}
	return bus.Flush(ctx) // for the viewers
}

// pace waits until it is time for a frame, and ticks meanwhile as a live
// station does.
func (o ReplayOptions) pace(ctx context.Context, start time.Time, passed int64, seq *sequencer) error {
	if o.Speed <= 0 {
		return nil
	}
	for {
		at := time.Duration(float64(time.Since(start)) * o.Speed)
		ahead := time.Duration(passed) - at
		if ahead <= 0 {
			return nil
		}
		wait := min(time.Duration(float64(ahead)/o.Speed), watch.TickEvery)
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return ctx.Err()
		}
		if at < time.Duration(passed) {
			if err := seq.tick(ctx, at); err != nil {
				return err
			}
		}
	}
}
