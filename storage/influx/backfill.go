package influx

import (
	"context"

	"padlark/storage/sqlite"
)

// backfillTries is how often a person's command tries one request.
const backfillTries = 5

// Backfill sends whole sessions of an archive, also those that were recorded
// before there was a server. Sending one twice changes nothing on the server.
type Backfill struct{ copier *copier }

// NewBackfill makes a Backfill; Close releases its connections.
func NewBackfill(o Options, a *sqlite.Archive, f Flights) (*Backfill, error) {
	c, err := newCopier(o, a, f)
	if err != nil {
		return nil, err
	}
	return &Backfill{copier: c}, nil
}

// Session sends one session. With replace all its points are deleted on the
// server first; that happens without being asked if they were sent with another
// time shift. progress, if not nil, is told how many lines have been taken.
func (b *Backfill) Session(ctx context.Context, id string, replace bool, progress func(lines uint64)) (Copied, error) {
	return b.copier.session(ctx, id, replace, backfillTries, progress)
}

// Close releases the connections.
func (b *Backfill) Close() { b.copier.server.close() }

// RejectedPath is the file of lines that the server would not take.
func (b *Backfill) RejectedPath() string { return b.copier.sender.rejected.path() }
