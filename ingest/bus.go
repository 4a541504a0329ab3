package ingest

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// reasonBusFull: messages came on the bus faster than the station could take them.
const reasonBusFull = "bus too full"

// lookForLost is how often a bus link asks whether messages were lost.
const lookForLost = time.Second

// busLink takes what a program publishes on a subject of the station's bus.
type busLink struct {
	runner
	subject string
}

// Run implements Link.
func (l *busLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, nil)
}

func (l *busLink) try(ctx context.Context) error {
	if l.env.Subscribe == nil {
		return &stopError{errors.New("this way of running padlark has no bus")}
	}
	fatal := make(chan error, 1)
	stop, lost, err := l.env.Subscribe(l.subject, func(b []byte) {
		err := l.send(Chunk{Heard: l.env.Clock.Now(), Bytes: b, Datagram: true, End: EndWhole})
		if err != nil {
			select {
			case fatal <- err:
			default: // it is known already
			}
		}
	})
	if err != nil {
		return fmt.Errorf("listen on the bus to %s: %w", l.subject, err)
	}
	defer stop()
	l.up("listening on the bus to " + l.subject)
	look := time.NewTicker(lookForLost)
	defer look.Stop()
	told := 0
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-fatal:
			return err
		case <-look.C:
			if n := lost(); n > told {
				l.rep.stats.addApart(reasonBusFull, nil, l.env.Clock.Now())
				l.env.Log.Warn().Str("link", l.name).Int("messages", n-told).Msg("messages came faster than they could be taken, and were lost")
				told = n
			}
		}
	}
}
