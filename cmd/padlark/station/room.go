package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"padlark/bus"
	"padlark/flight/alarm"
	"padlark/storage/sqlite"
)

// The last of the disk is the bus's: when less than roomReserve is free the
// archive waits, and the bus goes on in a ring of roomRing, so that the watcher
// and the pages live. Before that, at roomTight, the bus gives up what the
// archive has already. The bus's files come in pieces of 8 MB, of which a ring
// needs up to two.
const (
	roomReserve = 32 << 20
	roomTight   = 2 * roomReserve
	roomAgain   = roomReserve + roomReserve/4 // from here on the disk is not full any more
	roomRing    = 8 << 20
	roomEvery   = time.Second
	roomTrim    = 30 * time.Second // between two attempts to make room
	roomOld     = time.Hour        // between two looks for what is old in the bus
)

// room watches over the free space of the data folder.
type room struct {
	s       *station
	full    bool
	trimmed time.Time
	aged    time.Time
	aside   uint64 // messages that were told to be set aside
}

// diskFull says whether the archive would refuse to write now.
func (s *station) diskFull() bool {
	free, known := bus.Free(s.cfg.Station.Data)
	return known && free < roomReserve
}

// openDiskAlarm makes the alarm of a full disk, with what an interrupted run has
// left of it.
func (s *station) openDiskAlarm(ctx context.Context) error {
	s.disk = &diskAlarm{session: s.session.ID, epoch: s.session.Epoch, bus: s.bus, log: s.log}
	if !s.resumed {
		return nil
	}
	all, err := s.archive.Alarms(ctx, sqlite.Query{Session: s.session.ID, Recorded: true})
	if err != nil {
		return err
	}
	if s.disk.adopt(all) && !s.diskFull() {
		s.disk.clear(ctx, s.now())
	}
	return nil
}

// keepRoom looks after the free space until ctx ends.
func (s *station) keepRoom(ctx context.Context) error {
	r := &room{s: s}
	t := time.NewTicker(roomEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			r.look(ctx)
		}
	}
}

// look takes one look. What fails is tried again with the next.
func (r *room) look(ctx context.Context) {
	free, known := bus.Free(r.s.cfg.Station.Data)
	state, _ := r.s.writer.State()
	refused := errors.Is(state.Trouble, sqlite.ErrFull)
	if known && free < roomTight && time.Since(r.trimmed) > roomTrim {
		r.trimmed = time.Now()
		r.did("the bus gives up what the archive has", r.s.bus.Trim(ctx, sqlite.Durable))
	}
	if n, why := r.s.archive.Aside(); n > r.aside {
		r.s.log.Error().Uint64("so_far", n).Msg("the archive cannot store a message and has set it aside, in its table unreadable; the frames themselves are kept: " + why)
		r.aside = n
	}
	if time.Since(r.aged) > roomOld {
		r.aged = time.Now()
		if err := r.s.bus.TrimOld(ctx, sqlite.Durable); err != nil && ctx.Err() == nil {
			r.s.log.Warn().Err(err).Msg("what is old stays in the bus for now")
		}
	}
	switch {
	case !r.full && (refused || known && free < roomReserve):
		r.begin(ctx, free)
	case r.full && !refused && (!known || free >= roomAgain):
		r.end(ctx)
	}
}

func (r *room) begin(ctx context.Context, free int64) {
	r.full = true
	r.did("the bus goes on in the last of the disk", r.s.bus.Limit(ctx, roomRing))
	reason := fmt.Sprintf("Nothing is recorded: %d MB are free in %s, and the last %d MB are kept for the live line. "+
		"Make room: move old files or recordings away. Recording goes on by itself with what the bus still has (the last %d MB).",
		free>>20, r.s.cfg.Station.Data, roomReserve>>20, roomRing>>20)
	r.s.log.Error().Str("alarm", alarm.DiskFull).Msg(reason)
	r.s.disk.raise(ctx, r.s.now(), reason)
}

func (r *room) end(ctx context.Context) {
	r.full = false
	r.did("the bus has its room again", r.s.bus.Limit(ctx, 0))
	r.s.log.Info().Str("alarm", alarm.DiskFull).Msg("there is room again; recording goes on")
	r.s.disk.clear(ctx, r.s.now())
}

func (r *room) did(what string, err error) {
	if err != nil {
		r.s.log.Warn().Err(err).Msg(what + ": not now")
		return
	}
	r.s.log.Info().Msg(what)
}
