package station

import (
	"context"
	"time"

	"github.com/rs/zerolog"

	"padlark/storage/results"
)

// workAhead works out flights that no summary is kept of, all of them after an update
// of the program, so that nobody waits for their pages. It takes at most half of one
// processor, and rests while a rocket is in the air.
func workAhead(ctx context.Context, r *results.Results, log zerolog.Logger, flying func() bool) {
	const look = time.Second
	begun, told := time.Now(), false
	n, err := r.WorkAhead(ctx, func(took time.Duration) time.Duration {
		for flying() && ctx.Err() == nil {
			select {
			case <-time.After(look):
			case <-ctx.Done():
			}
		}
		if !told && time.Since(begun) > look {
			told = true
			log.Info().Msg("earlier flights are worked out anew, as after an update; the page Flights says how many are left")
		}
		return took
	})
	switch {
	case err != nil:
		log.Warn().Err(err).Msg("not all earlier flights could be worked out; whoever asks for one is told why")
	case told:
		log.Info().Int("flights", n).Msg("earlier flights are worked out")
	}
}
