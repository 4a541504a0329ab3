package station

import (
	"context"
	"errors"
	"os"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// The last of the disk is the journal's: when less than roomReserve is free the
// archive waits, and the journal goes on, at 50 bytes a frame for a long time. It
// waits in memory only when other programs have taken the very last bytes.
//
// Before that, below roomTight, the journals of earlier sessions are given up,
// the oldest first: the archive has all that is in them.
const (
	roomReserve = 32 << 20
	roomTight   = 2 * roomReserve
	roomAgain   = roomReserve + roomReserve/4 // from here on the disk is not full any more
	roomEvery   = time.Second
	memoryEvery = 10 // looks at the room from one at the memory to the next
)

// room watches over the free space of the data folder.
type room struct {
	s     *station
	full  bool
	gone  bool   // the archive's file is not where it was
	aside uint64 // entries that were told to be set aside
}

// diskFull says whether the archive would refuse to write now.
func (s *station) diskFull() bool {
	free, known := storage.Free(s.cfg.Station.Data)
	return known && free < roomReserve
}

// keepRoom looks after the free space, and the memory, until ctx ends.
func (s *station) keepRoom(ctx context.Context) error {
	r := &room{s: s}
	t := time.NewTicker(roomEvery)
	defer t.Stop()
	for i := 1; ; i++ {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			r.look()
		}
		if i%memoryEvery == 0 && !s.flying() {
			giveBack()
		}
	}
}

// look takes one look. What fails is tried again with the next.
func (r *room) look() {
	free, known := storage.Free(r.s.cfg.Station.Data)
	state, _ := r.s.writer.State()
	refused := errors.Is(state.Trouble, sqlite.ErrFull) || r.s.journal.State().Trouble != nil
	if n, why := r.s.archive.Aside(); n > r.aside {
		r.s.log.Error().Uint64("so_far", n).Msg("the archive cannot store an entry and has set it aside, in its table unreadable; the frames themselves are kept: " + why)
		r.aside = n
	}
	if gone := r.s.archiveGone(); gone != r.gone {
		if r.gone = gone; gone {
			r.s.archiveRemoved()
		}
	}
	if known && free < roomTight {
		r.giveUp()
	}
	switch {
	case !r.full && (refused || known && free < roomReserve):
		r.begin(free)
	case r.full && !refused && (!known || free >= roomAgain):
		r.end()
	}
}

// giveUp removes the oldest journal of a session that is over. It has been
// compressed, and so it is in the archive.
func (r *room) giveUp() {
	paths, err := journal.List(r.s.journals())
	if err != nil {
		return // an error here is told by whoever needs the folder
	}
	for _, path := range paths {
		if !strings.HasSuffix(path, journal.Packed) {
			continue
		}
		if err := os.Remove(path); err != nil {
			r.s.log.Warn().Err(err).Msg("an earlier journal cannot be given up")
			continue
		}
		r.s.log.Warn().Str("session", journal.SessionOf(path)).Msg("the disk is nearly full: the journal of an earlier session is given up, the archive has it")
		return
	}
}

func (r *room) begin(free int64) {
	r.full = true
	mb := func(name string, bytes int64) phrase.Arg { return phrase.Qty(name, float64(bytes>>20), 0, "MB") }
	reason := phrase.Of("disk-full", mb("free", free), phrase.Word("folder", r.s.cfg.Station.Data), mb("reserve", roomReserve))
	r.s.log.Error().Str("alarm", alarm.DiskFull).Msg(phrase.Reader{}.Write(reason, ""))
	r.s.own.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), reason)
}

func (r *room) end() {
	r.full = false
	r.s.log.Info().Str("alarm", alarm.DiskFull).Msg("there is room again; recording goes on")
	r.s.own.Clear(alarm.DiskFull, phrase.Of("disk-full.again"))
}

// journalTrouble tells what is wrong with the journal's file.
func (s *station) journalTrouble(err error) {
	s.log.Error().Err(err).Msg("the journal")
	if errors.Is(err, journal.ErrMoved) {
		s.own.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.gone.say"), phrase.Of("disk-full.gone", phrase.Word("folder", s.cfg.Station.Data)))
	}
}

// archiveGone says whether somebody has removed the archive's file while it is in use.
func (s *station) archiveGone() bool {
	_, err := os.Stat(s.archive.Path())
	return errors.Is(err, os.ErrNotExist) && !s.archive.Away()
}

// archiveRemoved tells that the archive's file is gone; what goes into it now is
// lost with it, and comes back from the journals at the next start.
func (s *station) archiveRemoved() {
	reason := phrase.Of("disk-full.archive", phrase.Word("file", s.archive.Path()))
	s.log.Error().Msg(phrase.Reader{}.Write(reason, ""))
	s.own.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.gone.say"), reason)
}
