package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/sounder"
	"padlark/decode"
)

// beepsDone is what was done with a recording, as it is printed with --json.
type beepsDone struct {
	File    string       `json:"file"`
	Session string       `json:"session"`
	Rocket  string       `json:"rocket"`
	ApogeeM *float64     `json:"apogee_m"`
	SDM     *float64     `json:"apogee_sd_m"`
	Tones   []beepedTone `json:"tones"`
}

type beepedTone struct {
	PitchHz int    `json:"pitch_hz"`
	Number  *int   `json:"number"` // null where there is none
	Sure    bool   `json:"sure"`
	Why     string `json:"why,omitempty"`
	Repeats int    `json:"repeats"`
}

// sounderLayout is the layout of the import if it is that of a sounder.
func (m *logImport) sounderLayout(base string) (decode.Layout, bool, error) {
	cfg, err := config.ParsePart("configuration", []byte(base))
	if err != nil {
		return decode.Layout{}, false, usageError{err}
	}
	l, ok := cfg.Layout(m.cmd.Layout)
	return l, ok && l.Form == decode.Beeps, nil
}

// beeps takes in a recording of a sounder.
func (m *logImport) beeps(ctx context.Context, base string, l decode.Layout) error {
	rec, err := sounder.Listen(ctx, m.file, l)
	if err != nil {
		return fmt.Errorf("import %s: %w", m.cmd.File, err)
	}
	epoch := m.written.Add(-rec.Length).Truncate(time.Second)
	if m.cmd.At != "" {
		if epoch, err = time.Parse(time.RFC3339Nano, m.cmd.At); err != nil {
			return usagef("--at %s: write it as 2026-06-13T09:30:00Z", m.cmd.At)
		}
	}
	session, found, err := sounder.Keep(ctx, sounder.Keeping{Archive: m.archive, Dir: m.dir, Version: softwareVersion(), Config: base,
		Link: m.link, Layout: l.Name, Rocket: m.cmd.Rocket, Epoch: epoch.UTC()}, &rec)
	if err != nil && !errors.Is(err, sounder.ErrUnsure) {
		return err
	}
	done := beepsDone{File: m.cmd.File, Session: session, Rocket: m.cmd.Rocket, Tones: []beepedTone{}}
	for _, t := range rec.Tones {
		b := beepedTone{PitchHz: t.Reading.PitchHz, Sure: t.Reading.Sure, Why: t.Reading.Why, Repeats: t.Reading.Repeats}
		if t.Reading.Found {
			b.Number = &t.Reading.Number
		}
		done.Tones = append(done.Tones, b)
	}
	if len(found) > 0 {
		done.ApogeeM, done.SDM = found[0].AltitudeM, found[0].AltitudeSD
	}
	if m.cmd.JSON {
		enc := json.NewEncoder(m.cio.Out)
		enc.SetIndent("", " ")
		return errors.Join(enc.Encode(done), err)
	}
	m.showTones(rec, l)
	if err != nil {
		return fmt.Errorf("import %s: %w", m.cmd.File, err)
	}
	for _, e := range found {
		fmt.Fprintf(m.cio.Out, "%s flight %d: apogee %.1f m ± %.1f m, session %s\n", e.Rocket, e.Flight, *e.AltitudeM, *e.AltitudeSD, session)
		wrap(m.cio.Out, "  ", e.Note)
	}
	_, err = fmt.Fprintf(m.cio.Err, "Look at it with padlark flights --data %s\n", m.dir)
	return err
}

// showTones draws what was heard.
func (m *logImport) showTones(rec sounder.Recording, l decode.Layout) {
	if len(rec.Tones) == 0 {
		fmt.Fprintf(m.cio.Out, "No tone between 500 Hz and 6 kHz stands out of the %.0f s that were heard.\n", rec.Length.Seconds())
	}
	for _, t := range rec.Tones {
		wrap(m.cio.Out, "", sounder.Words(t, sounder.Code(l)))
		if !t.Reading.Found {
			continue
		}
		for _, line := range sounder.Draw(t, 76) {
			fmt.Fprintln(m.cio.Out, "  "+line)
		}
	}
}
