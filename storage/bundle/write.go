package bundle

import (
	"archive/zip"
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// Counts says how many of each thing a bundle holds.
type Counts struct {
	Session                                                       string
	Frames, Samples, Rejects, Events, AlarmChanges, Notes, Checks uint64
}

// Write writes one session of the archive to w. progress, if not nil, is called
// after every few thousand lines with the number written so far. On an error w
// holds a part that Open refuses.
func Write(ctx context.Context, w io.Writer, a *sqlite.Archive, id string, progress func(lines uint64)) (Counts, error) {
	p := &packer{ctx: ctx, a: a, id: id, progress: progress, all: manifest{Format: "padlark bundle", Version: version, Session: id}}
	if err := p.write(w); err != nil {
		return Counts{}, fmt.Errorf("write bundle of session %s: %w", id, err)
	}
	return counts(p.all), nil
}

func counts(m manifest) Counts {
	c := Counts{Session: m.Session}
	to := map[string]*uint64{
		framesEntry: &c.Frames, samplesEntry: &c.Samples, rejectsEntry: &c.Rejects, eventsEntry: &c.Events,
		alarmsEntry: &c.AlarmChanges, notesEntry: &c.Notes, checksEntry: &c.Checks,
	}
	for _, p := range m.Parts {
		if n := to[p.Name]; n != nil {
			*n = p.Lines
		}
	}
	return c
}

// packer writes the entries one after the other.
type packer struct {
	ctx      context.Context
	a        *sqlite.Archive
	id       string
	progress func(uint64)
	lines    uint64
	zip      *zip.Writer
	all      manifest
	session  storage.Session
}

func (p *packer) write(w io.Writer) error {
	var err error
	if p.session, err = p.a.Session(p.ctx, p.id); err != nil {
		return err
	}
	if _, err := w.Write(head()); err != nil {
		return err
	}
	p.zip = zip.NewWriter(w)
	p.zip.SetOffset(headBytes)
	fill := map[string]func(func(any) error) error{
		sessionEntry: func(put func(any) error) error { return put(fromStored(p.session)) },
		framesEntry: func(put func(any) error) error {
			return p.a.Frames(p.ctx, storage.Query{Session: p.id, Recorded: true}, func(f ingest.Frame) error { return put(f) })
		},
		samplesEntry: func(put func(any) error) error {
			q := storage.Query{Session: p.id, Recorded: true, AsHeard: true}
			return p.a.Samples(p.ctx, q, func(s *decode.Sample) error { return put(s) })
		},
		rejectsEntry: func(put func(any) error) error { return putAll[decode.Rejected](put)(p.a.Rejects(p.ctx, p.id)) },
		eventsEntry: func(put func(any) error) error {
			return putAll[flight.Event](put)(p.a.Events(p.ctx, storage.Query{Session: p.id, Recorded: true, AsHeard: true}))
		},
		alarmsEntry: func(put func(any) error) error {
			return putAll[flight.Alarm](put)(p.a.Alarms(p.ctx, storage.Query{Session: p.id, Recorded: true, AsHeard: true}))
		},
		notesEntry:  p.notes,
		checksEntry: p.checks,
	}
	for _, name := range entries() {
		if err := p.entry(name, fill[name]); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	out, err := p.zip.Create(manifestEntry)
	if err != nil {
		return err
	}
	if err := json.NewEncoder(out).Encode(p.all); err != nil {
		return err
	}
	return p.zip.Close()
}

// putAll hands on a list that a reader gave, or its error.
func putAll[T any](put func(any) error) func([]T, error) error {
	return func(list []T, err error) error {
		if err != nil {
			return err
		}
		for _, v := range list {
			if err := put(v); err != nil {
				return err
			}
		}
		return nil
	}
}

// notes puts all that was said of the session. Of a damaged archive it puts what can
// be read.
func (p *packer) notes(put func(any) error) error {
	var all []note
	list, noteErr := p.a.KeptNotes(p.ctx, p.id)
	for _, n := range list {
		all = append(all, noteOf(n))
	}
	voids, voidErr := p.a.Voids(p.ctx, p.id)
	for _, v := range voids {
		all = append(all, voidOf(v))
	}
	corrections, corrErr := p.a.Corrections(p.ctx, p.id)
	for _, c := range corrections {
		all = append(all, note{At: c.At, Text: c.Kind, Correction: &c})
	}
	for _, n := range all {
		if err := put(n); err != nil {
			return err
		}
	}
	return errors.Join(noteErr, voidErr, corrErr)
}

// checks are the bench tests of the session's rockets, whenever they were.
func (p *packer) checks(put func(any) error) error {
	for _, r := range p.session.Rockets {
		list, err := p.a.Checkups(p.ctx, r.Name)
		if err != nil {
			return err
		}
		for _, c := range list {
			if err := put(check{c.Rocket, c.At, c.Verdict, c.Version, json.RawMessage(c.Report)}); err != nil {
				return err
			}
		}
	}
	return nil
}

// progressLines is after how many lines progress is called.
const progressLines = 5000

func (p *packer) entry(name string, fill func(put func(any) error) error) error {
	out, err := p.zip.Create(name)
	if err != nil {
		return err
	}
	sum := &summed{w: out, hash: sha256.New()}
	buf := bufio.NewWriterSize(sum, 64<<10)
	enc := json.NewEncoder(buf)
	one := part{Name: name}
	err = fill(func(v any) error {
		one.Lines++
		if p.lines++; p.progress != nil && p.lines%progressLines == 0 {
			p.progress(p.lines)
		}
		return enc.Encode(v)
	})
	if err == nil {
		err = buf.Flush()
	}
	one.Bytes, one.SHA256 = sum.n, hex.EncodeToString(sum.hash.Sum(nil))
	p.all.Parts = append(p.all.Parts, one)
	return err
}

// summed counts and sums what passes.
type summed struct {
	w    io.Writer
	hash hash.Hash
	n    int64
}

func (s *summed) Write(b []byte) (int, error) {
	n, err := s.w.Write(b)
	s.hash.Write(b[:n])
	s.n += int64(n)
	return n, err
}
