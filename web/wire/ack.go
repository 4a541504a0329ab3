package wire

import (
	"context"
	"fmt"
	"time"

	"padlark/watch"
	"padlark/web"
)

// Acker fits the watcher to web.Acker.
type Acker struct {
	Watcher *watch.Watcher
	Session string           // the one that the watcher follows
	Now     func() time.Time // session time
}

// Ack acknowledges an alarm of the running session.
func (a Acker) Ack(ctx context.Context, session, alarm string) error {
	if session != a.Session {
		return fmt.Errorf("acknowledge an alarm of session %s, which is not the running one: %w", session, web.ErrNotFound)
	}
	return a.Watcher.Ack(ctx, alarm, a.Now())
}
