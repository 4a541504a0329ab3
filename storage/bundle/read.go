package bundle

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// lineMost bounds one line: a checkup's report is the longest, some 100 kB.
const lineMost = 8 << 20

// ratioMost is how many times its size a bundle may unpack to, beyond freeMost
// bytes. What stations record packs to a tenth or a twentieth; the same line
// again and again, to a thousandth.
const (
	ratioMost = 150
	freeMost  = 16 << 20
)

// Bundle is an opened file, checked from end to end.
type Bundle struct {
	f       *os.File
	zip     *zip.Reader
	all     manifest
	session session
}

// Open opens a bundle and checks all of it: sums, counts, and that every line
// is what it claims to be. The error is one line and wraps errNotBundle,
// errDamaged or errNewer.
func Open(path string) (*Bundle, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open bundle: %w", err)
	}
	b := &Bundle{f: f}
	if err := b.check(); err != nil {
		_ = f.Close() // only read from
		return nil, fmt.Errorf("open bundle %s: %w", path, err)
	}
	return b, nil
}

// Close closes the file.
func (b *Bundle) Close() error { return b.f.Close() }

// Counts says what the bundle holds.
func (b *Bundle) Counts() Counts { return counts(b.all) }

func (b *Bundle) check() error {
	var first [headBytes]byte
	if _, err := io.ReadFull(b.f, first[:]); err != nil || !bytes.HasPrefix(first[:], magic) {
		return errNotBundle
	}
	if want := head(); !bytes.Equal(first[:], want) {
		if d := first[12:14]; d[0] >= '0' && d[0] <= '9' && d[1] >= '0' && d[1] <= '9' && string(d) > string(want[12:14]) {
			return fmt.Errorf("%w (format %s, known is %02d)", errNewer, d, version)
		}
		return fmt.Errorf("%w (its version)", errDamaged)
	}
	st, err := b.f.Stat()
	if err != nil {
		return err
	}
	if b.zip, err = zip.NewReader(io.NewSectionReader(b.f, 0, st.Size()), st.Size()); err != nil {
		return fmt.Errorf("%w (its table of contents at the end)", errDamaged)
	}
	if err := b.checkSize(st.Size()); err != nil {
		return err
	}
	if err := b.lines(manifestEntry, func(line []byte) error { return json.Unmarshal(line, &b.all) }); err != nil {
		return err
	}
	if len(b.all.Parts) != len(entries()) || len(b.zip.File) != len(entries())+1 {
		return fmt.Errorf("%w (%s names %d parts, want %d)", errDamaged, manifestEntry, len(b.all.Parts), len(entries()))
	}
	for i, name := range entries() {
		if b.all.Parts[i].Name != name {
			return fmt.Errorf("%w (%s names %q, want %q)", errDamaged, manifestEntry, b.all.Parts[i].Name, name)
		}
		if err := b.checkPart(b.all.Parts[i]); err != nil {
			return err
		}
	}
	if b.session.ID == "" || b.session.ID != b.all.Session || b.session.Epoch.IsZero() {
		return fmt.Errorf("%w (%s has no name or no epoch)", errDamaged, sessionEntry)
	}
	return nil
}

// checkSize refuses what unpacks to far more than records of a field do. The
// sizes are those that the file says; reading stops where one is exceeded.
func (b *Bundle) checkSize(packed int64) error {
	most := uint64(packed)*ratioMost + freeMost
	var all uint64
	for _, f := range b.zip.File {
		if all += f.UncompressedSize64; all > most || f.UncompressedSize64 > most {
			return fmt.Errorf("%w (it has %d bytes and would unpack to more than %d: nothing that was recorded packs so well)", errDamaged, packed, most)
		}
	}
	return nil
}

// checkPart reads an entry once, against its sum and its kind.
func (b *Bundle) checkPart(p part) error {
	sum := sha256.New()
	got := part{Name: p.Name}
	err := b.lines(p.Name, func(line []byte) error {
		got.Lines++
		got.Bytes += int64(len(line)) + 1
		sum.Write(line)
		sum.Write([]byte{'\n'})
		return b.checkLine(p.Name, line)
	})
	if err != nil {
		return err
	}
	if got.SHA256 = hex.EncodeToString(sum.Sum(nil)); got != p {
		return fmt.Errorf("%w (%s has %d lines, %d bytes, or another sum than the %d lines, %d bytes that were written)",
			errDamaged, p.Name, got.Lines, got.Bytes, p.Lines, p.Bytes)
	}
	return nil
}

// checkLine says whether a line is what its entry holds, of this session.
func (b *Bundle) checkLine(name string, line []byte) error {
	of := b.session.ID
	var err error
	switch name {
	case sessionEntry:
		err = json.Unmarshal(line, &b.session)
		of = b.session.ID
	case notesEntry:
		err = json.Unmarshal(line, &note{})
	case checksEntry:
		err = json.Unmarshal(line, &check{})
	default:
		_, of, err = parse(name, line)
	}
	if err == nil && of != b.session.ID {
		err = fmt.Errorf("it is of session %q", of)
	}
	return err
}

// parse reads a line of what the archive takes as entries, and of which session
// it is.
func parse(name string, line []byte) (v any, session string, err error) {
	switch name {
	case framesEntry:
		f := &ingest.Frame{}
		err = json.Unmarshal(line, f)
		return f, f.Session, err
	case samplesEntry:
		s := &decode.Sample{}
		err = json.Unmarshal(line, s)
		return s, s.Session, err
	case rejectsEntry:
		r := &decode.Rejected{}
		err = json.Unmarshal(line, r)
		return r, r.Session, err
	case eventsEntry:
		e := &flight.Event{}
		err = json.Unmarshal(line, e)
		return e, e.Session, err
	case alarmsEntry:
		a := &flight.Alarm{}
		err = json.Unmarshal(line, a)
		return a, a.Session, err
	}
	return nil, "", fmt.Errorf("%s holds nothing of the kind", name)
}

// lines calls fn for each line of an entry; the line is valid until fn returns.
func (b *Bundle) lines(name string, fn func(line []byte) error) error {
	r, err := b.zip.Open(name)
	if err != nil {
		return fmt.Errorf("%w (%s is missing)", errDamaged, name)
	}
	defer r.Close() //nolint:errcheck // only read from
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 64<<10), lineMost)
	n := 0
	for sc.Scan() {
		n++
		if err := fn(sc.Bytes()); err != nil {
			return fmt.Errorf("%w (%s, line %d: %w)", errDamaged, name, n, err)
		}
	}
	if err := sc.Err(); err != nil {
		return fmt.Errorf("%w (%s, after line %d: %w)", errDamaged, name, n, err)
	}
	return nil
}

// batch is how many entries go into one transaction.
const batch = 2000

// Import puts the session into an archive. What is there already stays as it
// is, so a second import changes nothing. The error wraps errOther if the
// archive has another session of that name. progress is as in Write.
func (b *Bundle) Import(ctx context.Context, a *sqlite.Archive, progress func(lines uint64)) error {
	if err := b.importInto(ctx, a, progress); err != nil {
		return fmt.Errorf("import session %s: %w", b.session.ID, err)
	}
	return nil
}

func (b *Bundle) importInto(ctx context.Context, a *sqlite.Archive, progress func(uint64)) error {
	s := b.session.stored()
	all, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	for _, old := range all {
		if old.ID == s.ID && (!old.Epoch.Equal(s.Epoch) || old.Station != s.Station || old.Config != s.Config) {
			return fmt.Errorf("%w, of station %q with another configuration or start; import into another folder with --data", errOther, old.Station)
		}
	}
	if err := a.StartSession(ctx, s); err != nil {
		return err
	}
	w := &unpacker{ctx: ctx, a: a, progress: progress}
	for _, c := range b.session.Changes {
		w.seq++
		w.entries = append(w.entries, storage.Entry{Seq: w.seq, Change: &storage.Change{Session: s.ID, At: c.AtNs, Info: ingest.CaptureInfo{Config: c.Config}}})
	}
	for _, name := range []string{framesEntry, samplesEntry, rejectsEntry, eventsEntry, alarmsEntry} {
		err := b.lines(name, func(line []byte) error { return w.add(name, line) })
		if err == nil {
			err = w.flush()
		}
		if err != nil {
			return w.cause(err)
		}
	}
	if err := b.importRemarks(ctx, a); err != nil {
		return err
	}
	if s.Shift != 0 || s.ShiftSource != "" {
		if err := a.SetShift(ctx, s.ID, s.Shift, s.ShiftSource); err != nil {
			return err
		}
	}
	if s.Ended.IsZero() {
		return nil
	}
	return a.EndSession(ctx, s.ID, s.Ended)
}

// unpacker gathers entries into transactions. Their numbers keep the order.
type unpacker struct {
	ctx      context.Context
	a        *sqlite.Archive
	progress func(uint64)
	seq      uint64
	entries  []storage.Entry
	failed   error // of the archive, not of the file
}

func (u *unpacker) add(name string, line []byte) error {
	v, _, err := parse(name, line)
	if err != nil {
		return err
	}
	u.seq++
	u.entries = append(u.entries, storage.NewEntry(u.seq, v))
	if len(u.entries) < batch {
		return nil
	}
	return u.flush()
}

func (u *unpacker) flush() error {
	if err := u.a.Write(u.ctx, u.entries); err != nil {
		u.failed = err
		return err
	}
	u.entries = u.entries[:0]
	if u.progress != nil {
		u.progress(u.seq)
	}
	return nil
}

// cause tells the archive's trouble from a file's that changed meanwhile.
func (u *unpacker) cause(err error) error {
	if u.failed != nil {
		return u.failed
	}
	return err
}

// importRemarks adds the notes and checks that are not there yet.
func (b *Bundle) importRemarks(ctx context.Context, a *sqlite.Archive) error {
	r, err := newRemarks(ctx, a, b.session.ID)
	if err != nil {
		return err
	}
	err = b.lines(notesEntry, func(line []byte) error {
		var n note
		if err := json.Unmarshal(line, &n); err != nil {
			return err
		}
		return r.note(n)
	})
	if err != nil {
		return err
	}
	return b.lines(checksEntry, func(line []byte) error {
		var c check
		if err := json.Unmarshal(line, &c); err != nil {
			return err
		}
		return a.AddCheckup(ctx, sqlite.Checkup{Rocket: c.Rocket, At: c.At, Verdict: c.Verdict, Version: c.Version, Report: c.Report})
	})
}
