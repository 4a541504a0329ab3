package sounder

import (
	"context"
	"errors"
	"fmt"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/logimport"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// Keeping says where a recording goes.
type Keeping struct {
	Archive *sqlite.Archive
	Dir     string // the data folder
	Version string
	// Config is the configuration's text, to which the link is added.
	Config string
	Link   string
	Layout string
	Rocket string
	Epoch  time.Time // when the recording begins
}

// keptMark is in the name of the session of a recording, as in that of a log.
const keptMark = "-log-"

// Keep makes a session of a recording, in archive and journal, and gives its name
// and the flights in it. The same recording again changes nothing.
func Keep(ctx context.Context, k Keeping, rec *Recording) (session string, found []flight.Event, err error) {
	cfg, err := config.WithFile(k.Config, config.FileLink{Link: k.Link, File: k.Link, Layout: k.Layout, Rocket: k.Rocket, About: "A recording of the sounder."})
	if err != nil {
		return "", nil, err
	}
	if err := rec.oneSounder(); err != nil {
		return "", nil, err
	}
	session = k.Epoch.UTC().Format("20060102-150405") + keptMark + rec.Short()
	s := storage.Session{ID: session, Station: cfg.Station.Name, Epoch: k.Epoch, Version: k.Version, Config: cfg.Text,
		Site: cfg.Site, Rockets: cfg.Rockets, Links: []string{k.Link}}
	rows := sqlite.Rows{Frames: rec.Frames(session, k.Link, k.Epoch), From: 1}
	if err := decodeAll(cfg, s, &rows); err != nil {
		return "", nil, err
	}
	if len(rows.Events) == 0 {
		return "", nil, ErrUnsure
	}
	ended := rec.Length + time.Second
	j, err := logimport.NewSessionJournal(k.Dir, "recording-"+session, s, cfg.Links)
	if err != nil {
		return "", nil, fmt.Errorf("keep recording: %w", err)
	}
	if err = j.Write(rows.Frames); err == nil {
		err = j.Finish(ctx, nil, rows.Events, ended)
	}
	if err = errors.Join(err, j.Drop()); err != nil {
		return "", nil, fmt.Errorf("keep recording: %w", err)
	}
	if err := k.Archive.StartSession(ctx, s); err != nil {
		return "", nil, err
	}
	if err := k.Archive.WriteRows(ctx, rows); err != nil {
		return "", nil, errors.Join(err, k.Archive.DropSession(ctx, session))
	}
	return session, rows.Events, k.Archive.EndSession(ctx, session, k.Epoch.Add(ended))
}

// ErrUnsure is returned where no number was read for certain: nothing is kept.
var ErrUnsure = errors.New("not sure what was beeped; nothing was kept")

// decodeAll does with the frames what a station does.
func decodeAll(cfg *config.Config, s storage.Session, rows *sqlite.Rows) error {
	line, err := cfg.Line(s.ID, s.Epoch)
	if err != nil {
		return err
	}
	for i := range rows.Frames {
		f := &rows.Frames[i]
		rej := line.Frame(f, func(sample decode.Sample, out watch.Output) {
			rows.Samples = append(rows.Samples, sample)
			rows.Events = append(rows.Events, out.Events...)
		})
		if rej != nil {
			rows.Rejects = append(rows.Rejects, decode.Rejected{Session: s.ID, Link: f.Link, N: f.N, Reject: *rej})
		}
	}
	return nil
}
