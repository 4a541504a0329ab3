package station

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"padlark/storage/batch"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// What people say of flights stands in the archive alone and may be said by
// another program, in the evening and of any session. The uplink follows it by the
// numbers of the statements, with a place of its own.
const (
	saidName  = "said" // of its place: the file uplink.said beside the journals
	saidEvery = 5 * time.Second
)

// said sends what is said of flights until ctx ends.
func (u *sender) said(ctx context.Context, a *sqlite.Archive, station string) {
	path := filepath.Join(u.dir, uplinkName)
	place, err := loadPlace(path, saidName)
	if err != nil {
		u.log.Warn().Err(err).Msg("what was said of flights is sent again, which changes nothing")
	}
	if all, err := a.VoidsAfter(ctx, 0); err == nil && (len(all) == 0 || all[len(all)-1].ID < place) {
		place = 0 // the archive is another one
	}
	look := time.NewTicker(u.look)
	defer look.Stop()
	for {
		to, err := u.sendSaid(ctx, a, station, place)
		if to > place {
			place = to
			if err := savePlace(path, saidName, place); err != nil {
				u.log.Debug().Err(err).Msg("the place in what was said is not kept; it is sent again, which changes nothing")
			}
		}
		if err != nil && ctx.Err() == nil {
			u.log.Debug().Err(err).Msg("what was said of flights cannot be read now; it is tried again")
		}
		select {
		case <-look.C:
		case <-ctx.Done():
			return
		}
	}
}

// sendSaid sends what was said since a statement, and returns up to which that has
// been done.
func (u *sender) sendSaid(ctx context.Context, a *sqlite.Archive, station string, after int64) (int64, error) {
	all, err := a.VoidsAfter(ctx, after)
	if err != nil {
		return after, err
	}
	for len(all) > 0 {
		session := all[0].Session
		var voids []batch.Void
		newest := after
		for ; len(all) > 0 && all[0].Session == session; all = all[1:] {
			v := all[0]
			voids, newest = append(voids, batch.Void{Rocket: v.Rocket, Flight: v.Flight, Void: v.Void, At: v.At, Why: v.Why}), v.ID
		}
		s, err := a.Session(ctx, session)
		if err != nil {
			return after, err
		}
		if s.Station == station { // what was imported from others is theirs to send
			if !u.known(session) {
				return after, nil // its session goes first
			}
			err := u.up.Said(ctx, station, session, voids, newest)
			if u.tell(ctx, err, nil); err != nil {
				return after, nil
			}
		}
		after = newest
	}
	return after, nil
}

// known says whether the stream has what a session began with.
func (u *sender) known(session string) bool {
	if session == journal.SessionOf(u.follow.Journal.Path()) {
		return u.follow.Place() > 0
	}
	_, err := os.Stat(filepath.Join(u.dir, session+"."+uplinkName))
	return errors.Is(err, os.ErrNotExist)
}
