package config

import (
	"fmt"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/watch"
)

// Line makes what decodes and watches the frames of a session.
func (c *Config) Line(session string, epoch time.Time) (watch.Line, error) {
	return watch.NewLine(c.Decoder(), c.Watch(session, epoch))
}

// NewDecoder makes a decoder for all links of the configuration.
func (c *Config) NewDecoder() (*decode.Decoder, error) {
	d, err := decode.New(c.Decoder())
	if err != nil {
		return nil, fmt.Errorf("make decoder: %w", err)
	}
	return d, nil
}

// Decoder is what a decoder needs of the configuration.
func (c *Config) Decoder() decode.Config {
	dc := decode.Config{Layouts: c.Layouts}
	for _, l := range c.Links {
		whose := l.Rocket
		if c.Site.Receiver == l.Name {
			whose = flight.ReceiverName
		}
		dc.Links = append(dc.Links, decode.LinkLayouts{Link: l.Name, Layouts: l.Layouts(), Rocket: whose})
	}
	for _, r := range c.Rockets {
		dc.Rockets = append(dc.Rockets, decode.RocketID{ID: r.ID, Name: r.Name})
	}
	return dc
}

// Watch is what the watcher of a session needs of it.
func (c *Config) Watch(session string, epoch time.Time) watch.Config {
	return watch.Config{Session: session, Epoch: epoch, Rockets: c.Rockets, Site: c.Site, Thresholds: c.Alarm}
}
