package logimport

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
)

// mergeAll makes a merged session for each radio session that has a flight of
// the log.
func (m *Job) mergeAll(ctx context.Context) error {
	merged := map[string]string{}
	better := map[string]string{}
	for i := range m.done.Aligned {
		a := &m.done.Aligned[i]
		if merged[a.RadioSession] == "" {
			id, won, err := m.merge(ctx, a.RadioSession)
			if err != nil {
				return fmt.Errorf("merge with session %s: %w; the log alone is stored as session %s, and the same import makes the rest", a.RadioSession, err, m.done.Session)
			}
			merged[a.RadioSession], better[a.RadioSession] = id, won
			if id != "none" {
				m.done.Merged = append(m.done.Merged, id)
			}
		}
		a.Merged, a.Better = merged[a.RadioSession], better[a.RadioSession]
	}
	return nil
}

func (m *Job) merge(ctx context.Context, radio string) (id, better string, err error) {
	s, err := m.Archive.Session(ctx, radio)
	if err != nil {
		return "", "", err
	}
	cfg, err := m.mergedConfig(s)
	if err != nil {
		return "", "", err
	}
	if cfg == nil {
		return "none", "not compared", nil
	}
	var heard []ingest.Frame
	err = m.Archive.Frames(ctx, storage.Query{Session: radio, Rocket: m.Rocket}, func(f ingest.Frame) error {
		heard = append(heard, f)
		return nil
	})
	if err != nil {
		return "", "", err
	}
	over, err := m.Log.Lay(ctx, m.epoch, heard)
	if err != nil {
		return "", "", err
	}
	better = m.Link
	if !over.LogWins {
		better = strings.Join(s.Links, " and ")
	}
	epoch, links, err := startOf(ctx, over)
	if err != nil {
		return "", "", err
	}
	id = epoch.UTC().Format("20060102-150405") + mergeMark + m.Log.sum()
	_, err = m.keep(ctx, m.session(id, epoch, cfg, links...), cfg, laidOver(over, id, epoch))
	return id, better, err
}

// startOf is when the first frame of both is, and their links in order of
// first hearing.
func startOf(ctx context.Context, o *Overlay) (epoch time.Time, links []string, err error) {
	err = o.Each(ctx, func(f *ingest.Frame) error {
		if len(links) == 0 {
			epoch = f.Heard
		}
		if !slices.Contains(links, f.Link) {
			links = append(links, f.Link)
		}
		return nil
	})
	return epoch, links, err
}

// laidOver are the frames of both as those of one session.
func laidOver(o *Overlay, session string, epoch time.Time) frameSource {
	return func(ctx context.Context, fn func(f *ingest.Frame, said *decode.Parsed) error) error {
		passed := int64(0) // as those of the log alone
		return o.Each(ctx, func(laid *ingest.Frame) error {
			f := *laid
			f.Session, f.Mono = session, f.Heard.Sub(epoch).Nanoseconds()
			passed = max(passed+1, f.Mono)
			f.Passed = passed
			return fn(&f, nil)
		})
	}
}

// mergedConfig knows the links of both: the configuration of the log if it has
// the radio's links too, else that of the session with the log's link added.
// nil if there is none that can read both.
func (m *Job) mergedConfig(s storage.Session) (*Configured, error) {
	has := func(c *Configured) bool {
		for _, l := range s.Links {
			if !slices.ContainsFunc(c.Links, func(x ingest.LinkConfig) bool { return x.Name == l }) {
				return false
			}
		}
		return true
	}
	if has(m.Config) {
		return m.Config, nil
	}
	cfg, err := m.With(&s)
	if err != nil || !has(cfg) {
		m.Log.Hints = append(m.Log.Hints, fmt.Sprintf("no merged session with %s: no configuration has its links and the log's layout; give one with --config", s.ID))
		return nil, nil //nolint:nilerr // said as a hint
	}
	return cfg, nil
}
