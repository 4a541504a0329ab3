package station

import (
	"context"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/storage/influx"
	"padlark/storage/results"
)

// InfluxOptions turns [storage.influx] into the copy's own options; the token is
// read from where the configuration says.
func InfluxOptions(c *config.Config, log zerolog.Logger) (influx.Options, error) {
	i := c.Storage.Influx
	if i.TokenFile != "" {
		if err := ingest.CheckSecret("storage.influx.token_file", i.TokenFile); err != nil {
			return influx.Options{}, err
		}
	}
	token, err := influx.ReadToken(i.TokenFile, i.TokenEnv)
	if err != nil {
		return influx.Options{}, err
	}
	return influx.Options{
		URL: i.URL, Org: i.Org, Bucket: i.Bucket, Token: token, Station: c.Station.Name,
		Dir: filepath.Join(c.Station.Data, "influx"), Log: log,
	}, nil
}

// startInflux starts the copy to a time-series server if one is configured, nil
// if none is. A copy that cannot start is an error, since a person asked for it;
// one that stops later takes nothing else down.
func (s *station) startInflux(ctx context.Context, g *errgroup.Group) (*influx.Writer, error) {
	if s.cfg.Storage.Influx == nil {
		return nil, nil
	}
	o, err := InfluxOptions(s.cfg, s.log)
	if err != nil {
		return nil, err
	}
	o.Now = func() time.Time { return s.clock.At(s.clock.Now()) }
	decoder, err := newFollowing(s.began, config.ParseHere)
	if err != nil {
		return nil, err
	}
	w, err := influx.NewWriter(ctx, o, influx.Running{
		Journal: s.journal, Decoder: decoder, Archive: s.archive, Archived: s.writer.Drain,
		Alarms: s.own, Flights: results.New(s.archive).Flights,
	})
	if err != nil {
		return nil, err
	}
	s.spareDecoding(w)
	g.Go(func() error {
		if err := w.Run(ctx); err != nil {
			s.log.Error().Err(err).Msg("the copy to the time-series server has stopped; padlark storage backfill sends what is missing")
		}
		return nil
	})
	return w, nil
}
