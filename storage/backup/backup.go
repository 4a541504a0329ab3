// Package backup copies a station's data folder to another place, also while the
// station runs, and reads back what it has written. A copy has the form of a
// data folder: each command reads it with --data, and a station started on it
// goes on.
//
// The archive is copied as the database gives it at one moment, the journals
// after it, so that a copy never holds a row whose frame it lacks. A journal
// that is being written is copied up to where it was when its turn came. What is
// there already with the right length and sum is not copied again.
//
// It imports sqlite for the archive and knows of journals only that they grow at
// their end.
package backup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"padlark/storage/sqlite"
)

// ListName is the list of what a copy holds, within it.
const ListName = "copied.json"

// File is one file of a copy.
type File struct {
	Name   string `json:"name"` // within the folder, with slashes
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hex
}

// List is what a copy holds.
type List struct {
	Made  time.Time `json:"made"` // UTC
	Files []File    `json:"files"`
}

// Bytes is the sum of all files' lengths.
func (l List) Bytes() (n int64) {
	for _, f := range l.Files {
		n += f.Bytes
	}
	return n
}

// errDiffers is returned when a file of a copy is not what was written there.
var errDiffers = errors.New("is not what was copied")

// Make copies the data folder from into the folder to, which it makes if needed,
// and reads everything back. Each file takes its place only when it is whole and
// on the disk, and the list last. made is the time that the list bears. With an
// archive that cannot be copied whole the error says so, and the journals are
// copied all the same.
func Make(ctx context.Context, from, to string, made time.Time) (List, error) {
	if inside(from, to) {
		return List{}, fmt.Errorf("back up %s: %s lies within it; name another place, best on another disk", from, to)
	}
	if err := os.MkdirAll(filepath.Join(to, "journal"), 0o750); err != nil {
		return List{}, fmt.Errorf("back up: %w", err)
	}
	before, err := readList(to)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return List{}, err
	}
	list := List{Made: made.UTC()}
	// A damaged archive must not keep the journals, from which it can be made
	// anew, from being copied.
	archive, broken := copyArchive(ctx, from, to)
	if broken == nil {
		list.Files = append(list.Files, archive)
	}
	journals, err := filepath.Glob(filepath.Join(from, "journal", "*.plarkcap*"))
	if err != nil {
		return List{}, fmt.Errorf("back up: %w", err)
	}
	for _, path := range journals {
		f, err := copyJournal(ctx, path, to, before)
		if errors.Is(err, fs.ErrNotExist) {
			continue // packed in the meantime: the next copy has it, and this one its rows
		}
		if err != nil {
			return List{}, err
		}
		list.Files = append(list.Files, f)
	}
	if err := removePacked(to, list); err != nil {
		return List{}, err
	}
	return list, errors.Join(writeList(to, list), broken)
}

// inside says whether a folder lies in another, or is it.
func inside(outer, inner string) bool {
	o, err1 := filepath.Abs(outer)
	i, err2 := filepath.Abs(inner)
	rel, err3 := filepath.Rel(o, i)
	return errors.Join(err1, err2, err3) == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// copyArchive makes a copy of the archive and reads it back.
func copyArchive(ctx context.Context, from, to string) (File, error) {
	part := filepath.Join(to, sqlite.FileName+".part")
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return File{}, fmt.Errorf("back up: %w", err)
	}
	a, err := sqlite.OpenReadOnly(filepath.Join(from, sqlite.FileName))
	if err != nil {
		return File{}, err
	}
	err = a.CopyTo(ctx, part)
	if err = errors.Join(err, a.Close()); err != nil {
		return File{}, err
	}
	// The database checks its pages and each block its sum, on what lies there.
	c, err := sqlite.OpenReadOnly(part)
	if err != nil {
		return File{}, fmt.Errorf("read back: %w", err)
	}
	err = c.Sound(ctx)
	if err = errors.Join(err, c.Close()); err != nil {
		return File{}, fmt.Errorf("read back: %w", err)
	}
	return settle(ctx, part, filepath.Join(to, sqlite.FileName), sqlite.FileName, "")
}

// copyJournal copies one journal, unless the copy has it.
func copyJournal(ctx context.Context, path, to string, before List) (File, error) {
	name := "journal/" + filepath.Base(path)
	st, err := os.Stat(path)
	if err != nil {
		return File{}, err
	}
	target := filepath.Join(to, filepath.FromSlash(name))
	if i := slices.IndexFunc(before.Files, func(f File) bool { return f.Name == name && f.Bytes == st.Size() }); i >= 0 {
		if f := before.Files[i]; verify(ctx, to, f) == nil {
			return f, nil
		}
	}
	src, err := os.Open(path)
	if err != nil {
		return File{}, err
	}
	defer src.Close() //nolint:errcheck // only read from
	part := target + ".part"
	dst, err := os.OpenFile(part, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o640)
	if err != nil {
		return File{}, fmt.Errorf("back up: %w", err)
	}
	sum := sha256.New()
	_, err = io.Copy(io.MultiWriter(dst, sum), &untilDone{ctx, io.LimitReader(src, st.Size())})
	if err = errors.Join(err, dst.Sync(), dst.Close()); err != nil {
		return File{}, fmt.Errorf("back up %s: %w", path, err)
	}
	return settle(ctx, part, target, name, hex.EncodeToString(sum.Sum(nil)))
}

// settle reads a written file back, compares its sum if there is one to compare
// with, and gives it its name.
func settle(ctx context.Context, part, target, name, sum string) (File, error) {
	f, err := read(ctx, part, name)
	if err != nil {
		return File{}, fmt.Errorf("read back: %w", err)
	}
	if sum != "" && f.SHA256 != sum {
		return File{}, fmt.Errorf("read back %s: it %w: the disk does not keep what it is given", part, errDiffers)
	}
	if err := os.Rename(part, target); err != nil {
		return File{}, fmt.Errorf("back up: %w", err)
	}
	return f, nil
}

// removePacked removes a journal of the copy that has since been packed: the
// packed one is the same.
func removePacked(to string, list List) error {
	for _, f := range list.Files {
		plain, packed := strings.CutSuffix(f.Name, ".zst")
		if !packed || slices.ContainsFunc(list.Files, func(o File) bool { return o.Name == plain }) {
			continue
		}
		if err := os.Remove(filepath.Join(to, filepath.FromSlash(plain))); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("back up: %w", err)
		}
	}
	return nil
}

// readList reads the list of a copy. Without one the error is fs.ErrNotExist.
func readList(dir string) (List, error) {
	data, err := os.ReadFile(filepath.Join(dir, ListName))
	if err != nil {
		return List{}, fmt.Errorf("read the list of a copy: %w", err)
	}
	var l List
	if err := json.Unmarshal(data, &l); err != nil {
		return List{}, fmt.Errorf("read the list of a copy, %s: %w; remove it, and back up again", filepath.Join(dir, ListName), err)
	}
	return l, nil
}

func writeList(dir string, l List) error {
	data, err := json.MarshalIndent(l, "", "  ")
	if err != nil {
		return fmt.Errorf("write the list of a copy: %w", err)
	}
	path := filepath.Join(dir, ListName)
	f, err := os.OpenFile(path+".part", os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o640)
	if err != nil {
		return fmt.Errorf("write the list of a copy: %w", err)
	}
	_, err = f.Write(append(data, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(path+".part", path)
	}
	if err != nil {
		return fmt.Errorf("write the list of a copy: %w", err)
	}
	return nil
}

// Verify reads a copy and compares it with its list. All that differs is in the
// error, each with errDiffers.
func Verify(ctx context.Context, dir string) (List, error) {
	l, err := readList(dir)
	if err != nil {
		return List{}, err
	}
	var errs []error
	for _, f := range l.Files {
		if err := verify(ctx, dir, f); err != nil {
			errs = append(errs, err)
		}
		if ctx.Err() != nil {
			break
		}
	}
	return l, errors.Join(errs...)
}

// verify compares one file of a copy with what the list says of it.
func verify(ctx context.Context, dir string, want File) error {
	if !filepath.IsLocal(filepath.FromSlash(want.Name)) {
		return fmt.Errorf("%s: %q is no name within the copy", ListName, want.Name)
	}
	got, err := read(ctx, filepath.Join(dir, filepath.FromSlash(want.Name)), want.Name)
	if err != nil {
		return err
	}
	if got != want {
		return fmt.Errorf("%s %w: %d bytes, sum %.12s; it was %d bytes, sum %.12s", want.Name, errDiffers, got.Bytes, got.SHA256, want.Bytes, want.SHA256)
	}
	return nil
}

// read sums a file that lies on the disk.
func read(ctx context.Context, path, name string) (File, error) {
	f, err := os.Open(path)
	if err != nil {
		return File{}, err
	}
	defer f.Close() //nolint:errcheck // only read from
	sum := sha256.New()
	n, err := io.Copy(sum, &untilDone{ctx, f})
	if err != nil {
		return File{}, fmt.Errorf("read %s: %w", path, err)
	}
	return File{Name: name, Bytes: n, SHA256: hex.EncodeToString(sum.Sum(nil))}, nil
}

// untilDone reads until a context ends.
type untilDone struct {
	ctx context.Context
	r   io.Reader
}

func (u *untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.r.Read(p)
}
