package journal

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"padlark/flight"
	"padlark/ingest"
)

// Suffix is the ending of a journal's file name, Packed that of one that has
// been compressed (Zstandard, RFC 8878).
const (
	Suffix = ".plarkcap"
	Packed = Suffix + ".zst"
)

// Kinds of notes.
const (
	noteEvent = 'E' // flight.Event as JSON
	noteAlarm = 'A' // flight.Alarm as JSON
	noteEnd   = 'X' // the session ended in good order, at the note's time
	noteLost  = 'L' // how many records before it found no room, as a varint
	noteFill  = 'P' // nothing: zeros up to the end of a page
	// ingest.NoteChange is another configuration.
)

// backlogMost is how many bytes may wait in memory while the disk takes nothing.
const backlogMost = 8 << 20

// Journal is the open journal of a running session. It is safe for concurrent
// use.
type Journal struct {
	path  string
	info  ingest.CaptureInfo
	index map[string]uint16

	mu      sync.Mutex
	f       *os.File
	end     int64  // whole records up to here are written
	noted   int64  // end of the last note written
	soon    int64  // end of the last one that no flight brought about which was under way
	landed  int64  // end of the last one of a landing
	pending []byte // records that are not written
	lost    uint64 // records that gave way to newer ones
	trouble error  // of the last write, nil if it succeeded
	since   time.Time
	flying  map[string]time.Duration // rockets, by the time of their liftoff
	newest  time.Duration            // time of the newest record
	waiters waiters
	closed  bool

	syncMu sync.Mutex
	synced int64 // on the disk up to here
}

// Create begins the journal of a session in a folder, which is made if it is not
// there. info.Session names the file. On a full disk it succeeds: State tells the
// trouble, and what comes waits for room.
func Create(dir string, info ingest.CaptureInfo) (*Journal, error) {
	head, err := ingest.AppendCaptureHeader(nil, info)
	if err != nil {
		return nil, err
	}
	j := newJournal(filepath.Join(dir, info.Session+Suffix), info, nil)
	j.pending = head
	if !j.flush() && !errors.Is(j.trouble, syscall.ENOSPC) {
		return nil, j.trouble
	}
	return j, nil
}

// create makes the file; on a full disk it is tried again with each write.
func (j *Journal) create() error {
	dir := filepath.Dir(j.path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(j.path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	j.f = f
	return syncDir(dir)
}

// GoOn opens the journal of a session that was interrupted, to go on with it:
// end is where its last whole record ends (Reader.Pos), and what lies behind
// that was torn by the interruption and is overwritten.
func GoOn(path string, info ingest.CaptureInfo, end int64) (*Journal, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	if err := f.Truncate(end); err != nil {
		return nil, errors.Join(fmt.Errorf("cut off the journal's torn end: %w", err), f.Close())
	}
	j := newJournal(path, info, f)
	j.end, j.noted = end, end
	return j, nil
}

func newJournal(path string, info ingest.CaptureInfo, f *os.File) *Journal {
	j := &Journal{path: path, info: info, f: f, index: map[string]uint16{}, flying: map[string]time.Duration{}}
	for i, l := range info.Links {
		j.index[l.Name] = uint16(i)
	}
	return j
}

// Path is the journal's file.
func (j *Journal) Path() string { return j.path }

// Info is the journal's description as it is now.
func (j *Journal) Info() ingest.CaptureInfo {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.info
}

// Change writes that the configuration is another one for frames that pass after a
// moment; it may have further links. A disk that takes nothing now is an error, and
// then nothing has changed.
func (j *Journal) Change(at time.Duration, config string, links []ingest.CaptureLink) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed {
		return errClosed
	}
	if len(j.pending) > 0 && !j.flush() {
		return j.trouble
	}
	c := ingest.CaptureChange{Config: config}
	for _, l := range links {
		if _, had := j.index[l.Name]; !had {
			c.Links = append(c.Links, l)
		}
	}
	text, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("write journal: %w", err)
	}
	if len(text) > changeMost {
		return fmt.Errorf("write journal: a configuration of %d bytes is over %d: it can only be taken at a start", len(text), changeMost)
	}
	j.newest = max(j.newest, at)
	j.pending = ingest.AppendNote(j.pending, ingest.NoteChange, at, text)
	if !j.flush() {
		j.pending = j.pending[:0] // it was all that waited
		return j.trouble
	}
	j.info = j.info.Changed(c)
	for i, l := range j.info.Links {
		j.index[l.Name] = uint16(i)
	}
	j.noted = j.end
	j.wake()
	return nil
}

// changeMost is how long a change may be, in bytes: no record is longer.
const changeMost = 60 << 10

// Frames writes frames of the description's links, which have passed the
// sequencer, in one go. written says whether all that was ever given to the
// journal is handed to the kernel now; if not, it waits in memory.
func (j *Journal) Frames(frames []ingest.Frame) (written bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed {
		return false
	}
	for i := range frames {
		f := &frames[i]
		j.newest = max(j.newest, time.Duration(f.Passed))
		link := j.index[f.Link]
		j.pending = ingest.AppendFrame(j.pending, link, j.info.Links[link].Baud, f)
	}
	return j.flush()
}

// Event writes an event.
func (j *Journal) Event(e *flight.Event) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	under := j.inFlight()
	j.fly(e)
	err := j.note(noteEvent, e.CalledAt.Sub(j.info.Epoch), e)
	switch {
	case e.Kind == flight.Touchdown:
		j.landed = j.noted
	case !under || e.Kind == flight.TimeFix:
		j.soon = j.noted
	}
	return err
}

// Had tells a journal that goes on of an event that is in it: whether a rocket is
// in the air.
func (j *Journal) Had(e *flight.Event) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.fly(e)
}

func (j *Journal) fly(e *flight.Event) {
	at := e.CalledAt.Sub(j.info.Epoch)
	j.newest = max(j.newest, at)
	switch e.Kind {
	case flight.Liftoff:
		j.flying[e.Rocket] = at
	case flight.Touchdown:
		delete(j.flying, e.Rocket)
	}
}

// Alarm writes a change of an alarm.
func (j *Journal) Alarm(a *flight.Alarm) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	err := j.note(noteAlarm, a.ChangedAt.Sub(j.info.Epoch), a)
	if !j.inFlight() {
		j.soon = j.noted
	}
	return err
}

// note writes a note; the caller has the lock.
func (j *Journal) note(kind byte, at time.Duration, v any) error {
	if j.closed {
		return errClosed
	}
	text, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write journal: %w", err)
	}
	j.newest = max(j.newest, at)
	j.pending = ingest.AppendNote(j.pending, kind, at, text)
	if j.flush() {
		j.noted = j.end
		j.wake()
	}
	return nil
}

// flush writes what is pending, and says whether nothing is left; the caller has
// the lock. A write that fails half way is written again from its start.
func (j *Journal) flush() bool {
	if j.lost > 0 && j.trouble == nil {
		text := binary.AppendUvarint(nil, j.lost)
		j.pending = ingest.AppendNote(j.pending, noteLost, j.newest, text)
		j.lost = 0
	}
	n, err := len(j.pending), error(nil)
	if j.f == nil {
		err = j.create()
	}
	if n > 0 && err == nil {
		_, err = j.f.WriteAt(j.pending, j.end)
	}
	if err != nil {
		if j.trouble == nil {
			j.since = time.Now()
		}
		j.trouble = fmt.Errorf("write journal: %w", err)
		j.giveWay()
		return false
	}
	j.trouble = nil
	j.end += int64(n)
	j.pending = j.pending[:0]
	if cap(j.pending) > 1<<20 {
		j.pending = nil // it grew while the disk was full
	}
	j.wake()
	return true
}

// giveWay drops the oldest records that wait while there are too many. The
// header of a journal that could not even be begun stays.
func (j *Journal) giveWay() {
	at := 0
	if j.end == 0 {
		head, err := ingest.AppendCaptureHeader(nil, j.info)
		if err != nil {
			return // it was made once, so this does not happen
		}
		at = len(head)
	}
	from := at
	for len(j.pending)-(at-from) > backlogMost {
		at += 8 + int(binary.LittleEndian.Uint32(j.pending[at:]))
		j.lost++
	}
	j.pending = append(j.pending[:from], j.pending[at:]...)
}

// Close writes what is left and puts it on the disk; nothing more is written, and
// followers end when they have read it all. ended, if over 0, is when the session
// ended in good order.
func (j *Journal) Close(ended time.Duration) error {
	j.mu.Lock()
	if j.closed {
		j.mu.Unlock()
		return nil
	}
	if ended > 0 {
		j.pending = ingest.AppendNote(j.pending, noteEnd, ended, nil)
	}
	var err error
	if !j.flush() {
		err = fmt.Errorf("%w; %d bytes are lost", j.trouble, len(j.pending))
	}
	j.closed = true
	j.wake()
	j.mu.Unlock()
	return errors.Join(err, j.Sync())
}

// Release closes the file once no follower reads it any more.
func (j *Journal) Release() error {
	if j.f == nil {
		return nil // there never was room for it
	}
	return j.f.Close()
}

// State is how a journal is.
type State struct {
	End     int64     // bytes written
	Waiting int       // bytes that wait in memory for room
	Lost    uint64    // records that gave way since the trouble began
	Trouble error     // why nothing can be written, nil if it can
	Since   time.Time // when the trouble began
	Flying  bool      // a rocket is in the air
}

// State is how it is now.
func (j *Journal) State() State {
	j.mu.Lock()
	defer j.mu.Unlock()
	return State{End: j.end, Waiting: len(j.pending), Lost: j.lost, Trouble: j.trouble, Since: j.since, Flying: j.inFlight()}
}

// Retry tries again to write what waits, for it is not known when there is room.
func (j *Journal) Retry() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.pending) > 0 && !j.closed {
		j.flush()
	}
}

// errClosed is returned for what comes after Close.
var errClosed = errors.New("the journal is closed")

// ErrMoved says that the journal's file was removed while it was written.
var ErrMoved = errors.New("the file is gone")

// Check looks whether the file is still where it was made. If somebody has
// removed it, it is written anew from what the kernel still holds of it, and the
// error, which then wraps ErrMoved, says so.
func (j *Journal) Check() error {
	j.syncMu.Lock()
	defer j.syncMu.Unlock()
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed || j.f == nil {
		return nil
	}
	mine, err := j.f.Stat()
	if err != nil {
		return fmt.Errorf("look at the journal: %w", err)
	}
	there, err := os.Stat(j.path)
	if err == nil && os.SameFile(mine, there) {
		return nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("look at the journal: %w", err)
	}
	if err := j.anew(); err != nil {
		return fmt.Errorf("%s: %w, and it cannot be written anew: %w", j.path, ErrMoved, err)
	}
	return fmt.Errorf("%s: %w; it was written anew, whole", j.path, ErrMoved)
}

// anew copies the removed file's contents to where it was.
func (j *Journal) anew() error {
	if err := os.MkdirAll(filepath.Dir(j.path), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(j.path), "anew-*")
	if err != nil {
		return err
	}
	_, err = io.Copy(f, io.NewSectionReader(j.f, 0, j.end))
	if err == nil {
		err = errors.Join(f.Chmod(0o644), f.Sync(), os.Rename(f.Name(), j.path))
	}
	if err != nil {
		return errors.Join(err, f.Close(), os.Remove(f.Name()))
	}
	old := j.f
	j.f, j.synced = f, j.end
	return errors.Join(old.Close(), syncDir(filepath.Dir(j.path)))
}
