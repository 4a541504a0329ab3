package station

import (
	"context"
	"fmt"
	"sync"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
)

// Ear hears the links of a configuration and decodes them, without bus and
// archive: what the bench needs.
type Ear struct {
	links   *links
	clock   ingest.Clock
	mu      sync.Mutex // guards decoder and passed
	decoder *decode.Decoder
	passed  int64
}

// NewEar makes everything ready; it opens no port yet. Captures are refused:
// whoever is listened to is there now.
func NewEar(cfg *config.Config, log zerolog.Logger) (*Ear, error) {
	for _, lc := range cfg.Links {
		if lc.File != "" || lc.Stdin {
			return nil, fmt.Errorf("link %q reads a file: name a link to a live board (padlark check --try reads files)", lc.Name)
		}
	}
	e := &Ear{
		links: &links{cfg: cfg, opt: Options{Config: cfg, Log: log}, receivers: map[string]*ingest.Receiver{}},
		clock: ingest.StartClock(),
	}
	if err := e.links.connect(e.clock, nil); err != nil {
		return nil, err
	}
	var err error
	e.decoder, err = cfg.NewDecoder()
	return e, err
}

// Clock is the time that the samples are stamped with.
func (e *Ear) Clock() ingest.Clock { return e.clock }

// Run hands on every sample until ctx ends; then it returns nil. It calls from
// one goroutine at a time. An error of out ends it and is returned.
func (e *Ear) Run(ctx context.Context, out func(decode.Sample) error) error {
	return e.links.run(ctx, func(f ingest.Frame) error {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.passed = max(e.passed+1, int64(e.clock.Now()), f.Mono)
		f.Passed = e.passed
		_, err := e.decoder.Take(&f, e.links.counter(f.Link), out)
		return err
	})
}

// Health is how every link is now.
func (e *Ear) Health() []ingest.Health { return e.links.health() }
