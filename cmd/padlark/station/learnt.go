package station

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/storage/journal"
	"padlark/storage/snapshot"
	"padlark/watch"
)

// What the frames of a session have taught decoder and watcher is kept in a file
// beside the journal now and then, so that a start which goes on with a long session
// reads only what came after it. The journal stays the truth: the file is made by
// reading the journal, never from the running line, and it is not used unless it is
// whole, of this very program and configuration, and the journal still is what it
// was when the file was made. Then the whole journal is read, as if there were none.
//
// The file is a Zstandard stream, whose checksum vouches for it: one line that
// names the program, and the snapshot.
const (
	learntSuffix = ".learnt"
	// learntEvery is by how much the journal grows from one file to the next, in
	// bytes: some 70 000 frames, which a start reads in a quarter of a second. While a
	// rocket is in the air it may be so many times as much.
	learntEvery  = 4 << 20
	learntFlying = 4
	learntLook   = 5 * time.Second
	learntEnding = 5 * time.Second // how long the end of a station may take for it
	learntTail   = 64 << 10        // bytes of the journal before the place, by which it is known again
)

func learntPath(path string) string { return strings.TrimSuffix(path, journal.Suffix) + learntSuffix }

// advance reads the journal on from where b is to its end.
func (b *rebuilt) advance(ctx context.Context, path string) error {
	d := &following{Decoder: b.Decoder, parse: config.ParseHere}
	r, err := journal.Open(path, d)
	if err != nil {
		return err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	if b.end > 0 {
		if err := r.GoOnFrom(b.end, b.now); err != nil {
			return err
		}
	}
	for ctx.Err() == nil {
		e, err := r.Next()
		b.end = r.Pos()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if e.Change != nil {
			if err := b.change(e.Change, d.cfg); err != nil {
				return err
			}
		}
		b.take(&e)
	}
	return ctx.Err()
}

// loadLearnt is what the file beside a journal says, and nil if there is none that
// can be used.
func (s *station) loadLearnt(path string) *rebuilt {
	b, err := s.readLearnt(path)
	if err != nil {
		if !errors.Is(err, os.ErrNotExist) {
			s.log.Info().Err(err).Msg("what was learnt is not used: the session is read from its start")
		}
		return nil
	}
	return b
}

func (s *station) readLearnt(path string) (*rebuilt, error) {
	f, err := os.Open(learntPath(path))
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it was only read from
	z, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true))
	if err != nil {
		return nil, err
	}
	defer z.Close()
	// Once for the checksum, which stands at the end, and then again: unpacked, it takes
	// as much memory as what it is turned into.
	size, err := io.Copy(io.Discard, z)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err == nil {
		err = z.Reset(f)
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", learntPath(path), err)
	}
	text := bufio.NewReader(z)
	made, err := text.ReadString('\n')
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", learntPath(path), err)
	}
	cfg := s.live.Load()
	if made != s.program(cfg.Text)+"\n" {
		return nil, fmt.Errorf("%s was written by another padlark, or under another configuration", learntPath(path))
	}
	decoder, err := cfg.NewDecoder()
	if err != nil {
		return nil, err
	}
	known, err := known(decoder)
	if err != nil {
		return nil, err
	}
	b := &rebuilt{}
	if err := snapshot.Read(text, int(size)-len(made), b, known); err != nil {
		return nil, fmt.Errorf("%s: %w", learntPath(path), err)
	}
	if err := b.Decoder.Refresh(); err != nil {
		return nil, fmt.Errorf("%s: %w", learntPath(path), err)
	}
	return b, b.isOf(path)
}

// isOf says whether the journal is the one that b was made of, and has not been cut
// off before b's place.
func (b *rebuilt) isOf(path string) error {
	r, err := journal.Open(path, nil)
	if err != nil {
		return err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	tail, err := tailOf(path, b.end)
	if err != nil || tail != b.tail || !reflect.DeepEqual(b.info, r.Info()) {
		return errors.Join(fmt.Errorf("%s is not of this journal", learntPath(path)), err)
	}
	return nil
}

// tailOf is the checksum of what stands in a journal before a place.
func tailOf(path string, place int64) (uint32, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close() //nolint:errcheck // it was only read from
	from := max(0, place-learntTail)
	text := make([]byte, place-from)
	if _, err := f.ReadAt(text, from); err != nil {
		return 0, err
	}
	return crc32.Checksum(text, crc32.MakeTable(crc32.Castagnoli)), nil
}

// program tells one build of padlark from another, and one configuration from
// another: the rules may be others where the types are the same.
func (s *station) program(config string) string {
	return fmt.Sprintf("padlark %s, %s, configuration %s", s.opt.Version, snapshot.Program(), digest(config))
}

// digest tells one text from another.
func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// known is what a snapshot of a rebuilt must be told: the compiled layouts, which are
// those of a decoder, and which rules there are.
func known(d *decode.Decoder) (k snapshot.Known, err error) {
	k.Shared = map[string]any{}
	for name, p := range d.Programs() {
		k.Shared["layout "+name] = p
	}
	example, err := watch.NewEngine(watch.Config{Rockets: []flight.Rocket{{Name: "any"}}})
	k.Examples = []any{example}
	return k, err
}

// learn brings the file beside the journal up to date. It returns the place that it
// is good for.
func (s *station) learn(ctx context.Context) (place int64, err error) {
	path := s.journal.Path()
	b, err := s.rebuild(ctx, path)
	if err != nil {
		return 0, err
	}
	// What was heard and is not said yet stays; the rest would only grow.
	b.made.Events, b.made.Alarms = b.unsaid()
	b.forget()
	if b.tail, err = tailOf(path, b.end); err != nil {
		return 0, err
	}
	known, err := known(b.Decoder)
	if err != nil {
		return 0, err
	}
	// Never more than the journal has on the disk.
	if err := s.journal.Sync(); err != nil {
		return 0, err
	}
	return b.end, writeLearnt(learntPath(path), func(w io.Writer) error {
		if _, err := fmt.Fprintln(w, s.program(b.now.Config)); err != nil {
			return err
		}
		return snapshot.Write(w, b, known)
	})
}

// forget drops what was said and can come to nothing any more: events but for the
// liftoffs of what is in the air, and alarms that are settled and are of a rocket that
// is not followed any more, or have a newer one of their kind. Strangers would fill the
// memory with it. What is said may be ahead of the samples, by a tick.
func (b *rebuilt) forget() {
	last := b.info.Epoch.Add(time.Duration(b.sampled))
	followed := map[string]bool{"": true} // the station's own alarms
	for _, name := range b.Engine.Rockets() {
		followed[name] = true
	}
	flying := map[string]bool{}
	for id, e := range b.events {
		flying[id] = followed[e.Rocket] && b.inAir(&e)
	}
	maps.DeleteFunc(b.events, func(id string, e flight.Event) bool { return !flying[id] && e.CalledAt.Before(last) })
	newest := map[[2]string]flight.Alarm{}
	for _, a := range b.alarms {
		if of := [2]string{a.Rocket, a.Kind}; newest[of].RaisedAt.Before(a.RaisedAt) {
			newest[of] = a
		}
	}
	maps.DeleteFunc(b.alarms, func(id string, a flight.Alarm) bool {
		return a.Settled() && a.ChangedAt.Before(last) && (!followed[a.Rocket] || newest[[2]string{a.Rocket, a.Kind}].ID != id)
	})
}

// writeLearnt packs a file as it is written and puts it in the place of the one
// before in one step.
func writeLearnt(path string, write func(io.Writer) error) error {
	f, err := os.Create(path + ".new")
	if err != nil {
		return err
	}
	z, err := zstd.NewWriter(f, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20))
	if err != nil {
		return errors.Join(err, f.Close())
	}
	err = errors.Join(write(z), z.Close())
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(path+".new"))
	}
	return nil
}

// keepLearnt brings the file beside the journal up to date now and then, until ctx
// ends. It is a shortcut of the next start, so nothing that fails here matters more
// than that.
func (s *station) keepLearnt(ctx context.Context) error {
	s.dropLearnt(s.journal.Path())
	if s.recorded() {
		return nil
	}
	kept := int64(0)
	if s.rebuilt != nil {
		kept = s.rebuilt.from
	}
	t := time.NewTicker(learntLook)
	defer t.Stop()
	for ctx.Err() == nil {
		select {
		case <-t.C:
			every := int64(learntEvery)
			if s.flying() {
				every *= learntFlying
			}
			kept = s.learnAfter(ctx, kept, every)
		case <-ctx.Done():
		}
	}
	if s.over {
		return nil
	}
	// The next start goes on with the session.
	ending, stop := context.WithTimeout(context.WithoutCancel(ctx), learntEnding)
	defer stop()
	s.learnAfter(ending, kept, learntEvery/4)
	return nil
}

// learnAfter learns if the journal has grown by so many bytes since kept; it returns
// the new place.
func (s *station) learnAfter(ctx context.Context, kept, every int64) int64 {
	st := s.journal.State()
	if st.Trouble != nil || st.End-kept < every {
		return kept
	}
	place, err := s.learn(ctx)
	if err == nil || ctx.Err() != nil {
		return place
	}
	s.log.Warn().Err(err).Msg("what was learnt cannot be kept; the next start of this session takes longer")
	return st.End // not again and again
}

// dropLearnt removes what is beside other journals than one: their sessions are not
// gone on with.
func (s *station) dropLearnt(but string) {
	paths, err := filepath.Glob(filepath.Join(s.journals(), "*"+learntSuffix+"*"))
	if err != nil {
		return // the pattern is a good one
	}
	for _, p := range paths {
		if p == learntPath(but) {
			continue
		}
		if err := os.Remove(p); err != nil {
			s.log.Debug().Err(err).Msg("what was learnt stays")
		}
	}
}

// follower is one that decodes the journal by itself.
type follower interface {
	Spare(d journal.Decoder, place int64)
}

// spareDecoding saves a follower of a session that goes on decoding it from its start.
func (s *station) spareDecoding(f follower) {
	if s.rebuilt == nil || s.rebuilt.from == 0 {
		return
	}
	if b := s.loadLearnt(s.journal.Path()); b != nil {
		f.Spare(&following{Decoder: b.Decoder, parse: config.ParseHere}, b.end)
	}
}
