package station

import (
	"context"
	"errors"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// replayTold is how many frames are replayed between two calls of Progress.
const replayTold = 4096

// ReplayOptions says what to replay and how.
type ReplayOptions struct {
	Archive *sqlite.Archive
	Session storage.Session
	// Config is what to decode and watch with; nil is what the session was recorded
	// with, and came to.
	Config *config.Config
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
	b, err := bus.Open(ctx, bus.Options{Station: o.Session.Station, Log: o.Log})
	if err != nil {
		return nil, err
	}
	events, err := replayOn(ctx, o, b)
	return events, errors.Join(err, b.Close())
}

func replayOn(ctx context.Context, o ReplayOptions, b *bus.Bus) ([]flight.Event, error) {
	var later []laterConfig
	if o.Config == nil {
		var err error
		if o.Config, err = config.Parse("configuration recorded with session "+o.Session.ID, []byte(o.Session.Config)); err != nil {
			return nil, err
		}
		if later, err = laterConfigs(o.Session); err != nil {
			return nil, err
		}
	}
	line, err := o.Config.Line(o.Session.ID, o.Session.Epoch)
	if err != nil {
		return nil, err
	}
	if err := plan(line.Engine, o.Session, later); err != nil {
		return nil, err
	}
	var events []flight.Event
	watcher := watch.New(newOutlet(b, nil), line.Engine, o.Log)
	watcher.Tell = func(_ *flight.State, out watch.Output) { events = append(events, out.Events...) }
	seq := &sequencer{session: o.Session.ID, epoch: o.Session.Epoch, out: b, watch: watcher, decoder: line.Decoder}
	if err := watcher.Start(b); err != nil {
		return nil, err
	}
	if o.Ready != nil {
		o.Ready(Info{Session: o.Session.ID, Bus: b})
	}
	err = o.play(ctx, b, seq, watcher, later)
	// Only after the watcher has stopped are the events complete.
	watcher.Stop()
	return events, err
}

// play passes the frames on and waits until they have been watched.
func (o ReplayOptions) play(ctx context.Context, b *bus.Bus, seq *sequencer, watcher *watch.Watcher, later []laterConfig) error {
	start, n := time.Now(), 0
	one := make([]ingest.Frame, 1)
	err := o.Archive.Frames(ctx, storage.Query{Session: o.Session.ID, Recorded: true, Rocket: o.Rocket}, func(f ingest.Frame) error {
		if err := o.pace(ctx, start, f.Passed, seq); err != nil {
			return err
		}
		for ; len(later) > 0 && f.Passed > later[0].at; later = later[1:] {
			if err := seq.decoder.Reconfigure(later[0].cfg.Decoder()); err != nil {
				return err
			}
		}
		one[0] = f
		if err := seq.pass(ctx, one); err != nil {
			return err
		}
		if n++; n%replayTold == 0 && o.Progress != nil {
			o.Progress(time.Duration(f.Passed))
		}
		return ctx.Err()
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
	ctx, stop := context.WithTimeout(ctx, settleTime)
	defer stop()
	return b.Settle(ctx)
}

// settleTime is how long the viewers of a replay that has ended may take to see
// its end.
const settleTime = 10 * time.Second

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
