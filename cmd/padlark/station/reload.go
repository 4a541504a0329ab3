package station

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/watch"
	"padlark/web"
)

// reloadWithin bounds how long the watcher may take to come to the place at which
// the configuration changes.
const reloadWithin = 10 * time.Second

// hangups reads the configuration again whenever it is asked to, until ctx ends.
func (s *station) hangups(ctx context.Context) error {
	for {
		select {
		case <-s.opt.Reload:
			s.reload(ctx, "")
		case <-ctx.Done():
			return nil
		}
	}
}

// CheckConfig reads the configuration file again and says what taking it over would
// change.
func (s *station) CheckConfig() web.ConfigCheck {
	c, _ := s.checkConfig()
	return c
}

// TakeOver takes over the configuration file if it is still the one that was
// checked.
func (s *station) TakeOver(ctx context.Context, mark string) web.ConfigCheck {
	return s.reload(ctx, mark)
}

// checkConfig also gives the configuration, nil if it cannot be taken over.
func (s *station) checkConfig() (web.ConfigCheck, *config.Config) {
	out := web.ConfigCheck{File: s.opt.ConfigFile}
	refuse := func(err error) (web.ConfigCheck, *config.Config) {
		var all config.Errors
		if errors.As(err, &all) {
			for _, one := range all {
				out.Wrong = append(out.Wrong, one.Error())
			}
		} else {
			out.Wrong = []string{err.Error()}
		}
		return out, nil
	}
	if s.opt.Load == nil || s.recorded() {
		return refuse(errors.New("what runs here reads no configuration again: it is a recording or a demonstration"))
	}
	cfg, err := s.opt.Load()
	if err != nil {
		return refuse(err)
	}
	for _, l := range cfg.Links {
		if l.File != "" && isCapture(l.File) {
			return refuse(fmt.Errorf("link %q: %s is a recording, which is read by a station of its own", l.Name, l.File))
		}
	}
	old := s.live.Load()
	for _, d := range cfg.Doubts() {
		out.Doubts = append(out.Doubts, fmt.Sprintf("line %d: %v", d.Line, d.Err))
	}
	c := changes(old, cfg)
	if s.opt.Capture != "" {
		for _, l := range cfg.Links {
			if !s.links.had(l.Name) {
				c.later = append(c.later, fmt.Sprintf("the capture of link %q", l.Name))
			}
		}
	}
	out.Now, out.Later, out.Mark = c.now, c.later, digest(cfg.Text)
	return out, cfg
}

// reload reads the configuration again and takes over what a running station can.
// Whatever is wrong leaves the one that runs as it is. mark, if given, is the
// configuration that a person has looked at: another one is not taken over.
func (s *station) reload(ctx context.Context, mark string) web.ConfigCheck {
	s.reloading.Lock()
	defer s.reloading.Unlock()
	check, cfg := s.checkConfig()
	if cfg != nil && mark != "" && mark != check.Mark {
		check.Wrong, cfg = []string{"the file has been changed since it was looked at: look again"}, nil
	}
	if old := s.live.Load(); cfg != nil && (cfg.Text != old.Text || len(check.Now) > 0) {
		if err := s.takeOver(ctx, takenOver(old, cfg)); err != nil {
			check.Wrong = []string{err.Error()}
		}
	}
	if len(check.Wrong) > 0 {
		for _, wrong := range check.Wrong {
			s.log.Error().Msg("the configuration is not taken over, the one that runs goes on: " + wrong)
		}
		return check
	}
	check.Taken = true
	for _, d := range check.Doubts {
		s.log.Warn().Msg(s.opt.ConfigFile + " " + d)
	}
	if len(check.Now) == 0 {
		s.log.Info().Msg("the configuration was read again: nothing changes now")
	} else {
		s.log.Info().Msg("the configuration was read again: " + strings.Join(check.Now, ", "))
	}
	if len(check.Later) > 0 {
		s.log.Warn().Msg("takes effect at the next start: " + strings.Join(check.Later, ", "))
	}
	return check
}

// takeOver goes on with another configuration. Links that are as they were stay
// open, and what they hear meanwhile waits in the sequencer.
func (s *station) takeOver(ctx context.Context, cfg *config.Config) error {
	if st := s.journal.State(); st.Trouble != nil {
		return fmt.Errorf("the journal must take a note of it, and nothing can be recorded now: %w", st.Trouble)
	}
	if _, err := watch.NewEngine(cfg.Watch(s.session.ID, s.clock.Epoch)); err != nil {
		return err
	}
	next, err := s.links.prepare(cfg)
	if err != nil {
		return err
	}
	// From here on nothing but the disk and the end of the station can fail.
	numbers, err := next.stop()
	if err != nil {
		return err
	}
	err = s.seq.between(s.clock, func(at int64) error {
		ctx, stop := context.WithTimeout(ctx, reloadWithin)
		defer stop()
		if err := s.watcher.WaitFor(ctx, s.seq.sampled, 0); err != nil {
			return err
		}
		if err := s.journal.Change(time.Duration(at), cfg.Text, ingest.CaptureLinks(cfg.Links)); err != nil {
			return err
		}
		s.seq.counted(numbers)
		if err := s.seq.decoder.Reconfigure(cfg.Decoder()); err != nil {
			return err
		}
		return s.watcher.Reconfigure(at, cfg.Watch(s.session.ID, s.clock.Epoch))
	})
	if err != nil {
		next.goOn()
		return err
	}
	s.live.Store(cfg)
	next.start()
	s.callAs(cfg)
	if s.pages != nil {
		s.pages.Reconfigure(cfg.Rockets, s.links.names(), cfg.Site)
	}
	if s.opt.Reloaded != nil {
		s.opt.Reloaded(cfg)
	}
	info := s.journal.Info()
	info.Config = s.began.Text
	if err := errors.Join(s.archive.StartSession(ctx, describe(info, cfg)), s.keepCurrent()); err != nil {
		s.log.Error().Err(err).Msg("the configuration is taken over, but the archive or the next start does not know it")
	}
	return nil
}
