package sqlite

import (
	"context"
	"fmt"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Rows are things to store that did not come over the bus, such as those of an
// imported log.
type Rows struct {
	Frames  []ingest.Frame
	Samples []decode.Sample
	Rejects []decode.Rejected
	Events  []flight.Event
	Alarms  []flight.Alarm
	// From is the place in the session's order of the first row; the others
	// follow, kind after kind as above.
	From uint64
}

// Len is how many rows there are.
func (r *Rows) Len() int {
	return len(r.Frames) + len(r.Samples) + len(r.Rejects) + len(r.Events) + len(r.Alarms)
}

// WriteRows stores rows in one transaction, as Write does messages: what is
// stored already changes nothing.
func (a *Archive) WriteRows(ctx context.Context, r Rows) error {
	ctx = context.WithoutCancel(ctx) // as in Write
	ord := r.From
	next := func() uint64 { ord++; return ord - 1 }
	return a.write(ctx, fmt.Sprintf("store %d rows", r.Len()), func(in *inserter) error {
		for i := range r.Frames {
			if err := in.frame(ctx, &r.Frames[i], next()); err != nil {
				return err
			}
		}
		for i := range r.Samples {
			if err := in.sample(ctx, &r.Samples[i]); err != nil {
				return err
			}
		}
		for i := range r.Rejects {
			if err := in.reject(ctx, &r.Rejects[i]); err != nil {
				return err
			}
		}
		for i := range r.Events {
			if err := in.event(ctx, &r.Events[i], next()); err != nil {
				return err
			}
		}
		for i := range r.Alarms {
			if err := in.alarm(ctx, &r.Alarms[i], next()); err != nil {
				return err
			}
		}
		return nil
	})
}
