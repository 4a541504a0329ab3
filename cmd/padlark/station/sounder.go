package station

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"sync"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/sounder"
	"padlark/decode"
	"padlark/decode/beeps"
	"padlark/flight"
	hear "padlark/ingest/beeps"
	"padlark/storage/sqlite"
	"padlark/web"
)

// sounders reads for the page what a board beeps, and keeps it in the archive of the
// running station, as a session of its own.
type sounders struct {
	cfg     func() *config.Config
	archive *sqlite.Archive
	version string
	// keeping is held by the one that keeps: who presses twice sends the same twice.
	keeping *sync.Mutex
}

// pageLink is the link of a session that comes from the page.
const pageLink = "sounder-page"

// Layouts are the configured codes.
func (s sounders) Layouts() []web.SounderLayout {
	var out []web.SounderLayout
	for _, l := range s.cfg().Layouts {
		if l.Form == decode.Beeps {
			c := sounder.Code(l).Filled()
			out = append(out, web.SounderLayout{Name: l.Name, Unit: c.Unit, Step: c.Step})
		}
	}
	return out
}

// Hear reads a recording that the page has made: no program is started for it.
func (s sounders) Hear(ctx context.Context, layout string, sound io.Reader) ([]web.Tone, error) {
	l, err := sounder.Layout(s.cfg(), layout)
	if err != nil {
		return nil, err
	}
	rec, err := sounder.ListenWAV(ctx, sound, l)
	if err != nil {
		return nil, err
	}
	out := []web.Tone{}
	for _, t := range rec.Tones {
		out = append(out, tone(t, sounder.Code(l)))
	}
	return out, nil
}

// Again reads a strip by the code that the session's configuration gives its link.
func (s sounders) Again(ctx context.Context, session, link string, strip []byte) (web.Tone, error) {
	rec, err := s.archive.Session(ctx, session)
	if err != nil {
		return web.Tone{}, err
	}
	cfg, err := config.Parse("configuration recorded with session "+session, []byte(rec.Latest()))
	if err != nil {
		return web.Tone{}, err
	}
	parsed, err := hear.ParseStrip(strip)
	if err != nil {
		return web.Tone{}, err
	}
	for _, lc := range cfg.Links {
		if lc.Name != link {
			continue
		}
		l, err := sounder.Layout(cfg, lc.Layout)
		if err != nil {
			return web.Tone{}, err
		}
		code := sounder.Code(l)
		return tone(sounder.Heard{Strip: parsed, Bytes: strip, Reading: beeps.Read(parsed, code)}, code), nil
	}
	return web.Tone{}, fmt.Errorf("session %s has no link %q", session, link)
}

func tone(t sounder.Heard, code beeps.Code) web.Tone {
	r := t.Reading
	w := web.Tone{PitchHz: r.PitchHz, Unit: code.Filled().Unit, Sure: r.Sure, Words: sounder.Words(t, code), Strip: t.Bytes, StepMs: hear.StepMs}
	if r.Found {
		w.Number = &r.Number
	}
	for _, db := range t.Strip.DB {
		w.DB = append(w.DB, int(max(-10, min(60, db))))
	}
	for _, b := range r.Beeps {
		w.Beeps = append(w.Beeps, web.Beeps{From: b.From, To: b.To, Kind: b.Kind, Group: b.Group, Repeat: b.Repeat})
	}
	return w
}

// Keep reads a strip once more, and makes a flight of it.
func (s sounders) Keep(ctx context.Context, layout, rocket string, strip []byte, at time.Time) (web.FlightID, error) {
	l, err := sounder.Layout(s.cfg(), layout)
	if err != nil {
		return web.FlightID{}, err
	}
	if _, known := flight.RocketNamed(s.cfg().Rockets, rocket); !known {
		return web.FlightID{}, fmt.Errorf("there is no rocket %q in the configuration", rocket)
	}
	parsed, err := hear.ParseStrip(strip)
	if err != nil {
		return web.FlightID{}, err
	}
	rec := sounder.Recording{
		Tones:  []sounder.Heard{{Strip: parsed, Bytes: strip, Reading: beeps.Read(parsed, sounder.Code(l)), At: time.Duration(len(parsed.DB)) * hear.StepMs * time.Millisecond}},
		Length: time.Duration(len(parsed.DB)) * hear.StepMs * time.Millisecond, Sum: sha256.Sum256(strip),
	}
	s.keeping.Lock()
	defer s.keeping.Unlock()
	session, found, err := sounder.Keep(ctx, sounder.Keeping{Archive: s.archive, Dir: s.cfg().Station.Data, Version: s.version, Config: s.cfg().Text,
		Link: pageLink, Layout: l.Name, Rocket: rocket, Epoch: at}, &rec)
	if err != nil {
		return web.FlightID{}, err
	}
	return web.FlightID{Session: session, Rocket: found[0].Rocket, Flight: found[0].Flight}, nil
}

// The tone that the page beeps.
const (
	teachHz   = 2700
	teachRate = 16000
)

// Beep is a WAV file of a number.
func (s sounders) Beep(layout string, number int) ([]byte, error) {
	l, err := sounder.Layout(s.cfg(), layout)
	if err != nil {
		return nil, err
	}
	samples, err := beeps.Sound(sounder.Code(l), number, teachHz, teachRate)
	if err != nil {
		return nil, err
	}
	return hear.WriteWAV(samples, teachRate), nil
}
