package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
)

// TryPrinter is shown everything that a try comes upon, in its order.
type TryPrinter interface {
	Sample(s decode.Sample) error
	Reject(f ingest.Frame, r *decode.Reject) error
	Piece(link string, r ingest.Rejected) error
}

// TryCount is what a try found on one link. Pieces are stretches of bytes that
// made no frame.
type TryCount struct {
	Link                      string
	Samples, Rejected, Pieces uint64
}

// checkLinks makes everything that a configuration describes, without opening a
// port: what only shows between a link and its layout shows here.
func checkLinks(cfg *config.Config) error {
	l := &links{cfg: cfg, opt: Options{Config: cfg}, receivers: map[string]*ingest.Receiver{}}
	clock := ingest.NewVirtualClock(time.Unix(0, 0))
	if err := l.connect(clock.Clock(), nil); err != nil {
		return err
	}
	_, err := cfg.NewDecoder()
	return err
}

// Try decodes a file with a configuration's layouts and keeps nothing: a capture
// with all its links, or plain bytes as if they had been heard on one link.
func Try(ctx context.Context, cfg *config.Config, path, link string, p TryPrinter) ([]TryCount, error) {
	one := *cfg
	one.Links = nil
	for _, l := range cfg.Links {
		if link != "" && l.Name != link {
			continue
		}
		one.Links = append(one.Links, fileLink(l, path))
	}
	switch {
	case len(one.Links) == 0:
		return nil, fmt.Errorf("try %s: there is no link %q in the configuration", path, link)
	case len(one.Links) > 1 && !isCapture(path):
		if _, err := os.Stat(path); err != nil {
			return nil, fmt.Errorf("try: %w", err)
		}
		return nil, fmt.Errorf("try %s: say with --link which of the %d links these bytes are from", path, len(one.Links))
	}
	t := &try{printer: p, counts: map[string]*TryCount{}}
	var err error
	if t.decoder, err = one.NewDecoder(); err != nil {
		return nil, err
	}
	l, err := openLinks(Options{Config: &one})
	if err != nil {
		return nil, err
	}
	clock := ingest.NewVirtualClock(time.Unix(0, 0)).Clock()
	if l.virtual != nil {
		clock = l.virtual.Clock()
	} else if _, err := os.Stat(path); err != nil {
		return nil, errors.Join(fmt.Errorf("try: %w", err), l.close())
	}
	if err := l.connect(clock, nil); err != nil {
		return nil, errors.Join(err, l.close())
	}
	err = l.run(ctx, t.frame)
	counts := t.finish(l)
	return counts, errors.Join(err, t.err, l.close())
}

// fileLink is a link that hears a file instead of its port.
func fileLink(l ingest.LinkConfig, path string) ingest.LinkConfig {
	return ingest.LinkConfig{Name: l.Name, File: path, Layout: l.Layout, Also: l.Also, Rocket: l.Rocket, FrameLimit: l.FrameLimit, CaptureLink: l.CaptureLink}
}

type try struct {
	printer TryPrinter
	decoder *decode.Decoder
	counts  map[string]*TryCount
	err     error
}

func (t *try) count(link string) *TryCount {
	c, ok := t.counts[link]
	if !ok {
		c = &TryCount{Link: link}
		t.counts[link] = c
	}
	return c
}

func (t *try) frame(f ingest.Frame) error {
	f.Passed = f.Mono
	rej, err := t.decoder.Take(&f, nil, func(s decode.Sample) error {
		t.count(f.Link).Samples++
		return t.printer.Sample(s)
	})
	if rej == nil {
		return err
	}
	if rej.Kind != decode.Heading {
		t.count(f.Link).Rejected++
	}
	return t.printer.Reject(f, rej)
}

// finish shows the pieces that made no frame: the last of each link.
func (t *try) finish(l *links) []TryCount {
	var out []TryCount
	for _, h := range l.health() {
		c := t.count(h.Link)
		c.Pieces = h.BadTotal()
		for _, r := range h.Rejected {
			if t.err == nil {
				t.err = t.printer.Piece(h.Link, r)
			}
		}
		out = append(out, *c)
	}
	return out
}
