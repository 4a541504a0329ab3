package main

import (
	"context"
	"fmt"
	"io"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// sessionLosses counts for each rocket what each link heard and lost, and what
// remains lost after their frames have been merged. It reads every sample.
func sessionLosses(ctx context.Context, a *sqlite.Archive, session string) ([]decode.Merged, error) {
	m := decode.NewMerger()
	err := a.Samples(ctx, storage.Query{Session: session, Recorded: true}, func(s *decode.Sample) error {
		m.Add(*s)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("count losses of session %s: %w", session, err)
	}
	return m.Counts(), nil
}

// printLosses prints the losses as a part of the list of sessions.
func printLosses(w io.Writer, losses []decode.Merged) {
	for _, r := range losses {
		fmt.Fprintf(w, "  %s: %s\n", r.Rocket, share(r.Heard, r.Lost))
		if len(r.Links) < 2 {
			continue
		}
		for _, l := range r.Links {
			fmt.Fprintf(w, "    of these %s: %s\n", l.Link, share(l.Heard, l.Lost))
		}
	}
}

func share(heard, lost uint64) string {
	if heard+lost == 0 {
		return "nothing heard"
	}
	return fmt.Sprintf("%d heard, %d lost (%.1f %%)", heard, lost, 100*float64(lost)/float64(heard+lost))
}
