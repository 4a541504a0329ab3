package watch

import (
	"fmt"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/ground"
)

// Change is another configuration from a moment of the session on, in ns since its
// epoch: samples that passed before are judged by the one before. Session and
// Epoch of Config do not count.
type Change struct {
	At     int64
	Config Config
}

// Plan tells a fresh engine of changes to come, in order, for a session that is
// computed again.
func (e *Engine) Plan(changes []Change) error {
	for _, c := range changes {
		if _, err := NewEngine(c.Config); err != nil {
			return err
		}
	}
	e.plan = changes
	return nil
}

// Reconfigure lets time come to a moment and goes on with another configuration.
// What is known of rockets that are in both stays, flights in the air among it; one
// that is not configured any more is forgotten, and so is one under its mere id that
// is configured now. With an error nothing has changed.
func (e *Engine) Reconfigure(at int64, cfg Config) (Output, error) {
	cfg.Session, cfg.Epoch = e.cfg.Session, e.cfg.Epoch
	if _, err := NewEngine(cfg); err != nil {
		return Output{}, err
	}
	out := e.advance(at)
	now := cfg.Epoch.Add(time.Duration(at))
	gone := e.outdated(cfg)
	if cfg.Site.Receiver != e.cfg.Site.Receiver {
		e.own = ground.Receiver{}
	}
	if e.placed = cfg.Site.LatitudeDeg != nil; !e.placed {
		cfg.Site, _ = e.own.Site(cfg.Site)
	}
	e.cfg, e.rest = cfg, restOf(cfg.Thresholds)
	for _, name := range gone {
		delete(e.trackers, name)
		e.names = slices.DeleteFunc(e.names, func(n string) bool { return n == name })
		e.merger.Forget(name)
	}
	for _, name := range e.names {
		e.trackers[name].Reconfigure(e.rocket(name), cfg.Site)
	}
	alarms, err := e.book.Reconfigure(alarm.Config{Session: cfg.Session, Site: cfg.Site, Rockets: cfg.Rockets, Thresholds: cfg.Thresholds},
		func(name string) (flight.Rocket, bool) { return flight.RocketNamed(cfg.Rockets, name) })
	if err != nil {
		return out, fmt.Errorf("change alarm rules: %w", err)
	}
	out.Alarms = append(out.Alarms, alarms...)
	for _, name := range gone {
		out.Alarms = append(out.Alarms, e.book.Forget(name, now)...)
	}
	if alarms, err = e.ways.reconfigure(cfg, now); err != nil {
		return out, fmt.Errorf("change alarm rules: %w", err)
	}
	out.Alarms = append(out.Alarms, alarms...)
	return out, nil
}

// outdated are the rockets that no sample will be of any more, by name.
func (e *Engine) outdated(cfg Config) []string {
	var out []string
	for _, r := range e.cfg.Rockets {
		if _, known := flight.RocketNamed(cfg.Rockets, r.Name); !known {
			out = append(out, r.Name)
		}
	}
	for _, r := range cfg.Rockets {
		if r.ID == nil {
			continue
		}
		if name := decode.GuestName(*r.ID); e.trackers[name] != nil {
			out = append(out, name)
		}
	}
	return out
}
