package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// writeOut gives fn the standard output, or a new file that is there only when
// it is whole; an existing file is overwritten only if force is set.
func writeOut(cio *cmdIO, path string, force bool, fn func(io.Writer) error) (err error) {
	if path == "-" {
		w := bufio.NewWriter(raw(cio.Out))
		// Hidden: an encoder that finds a buffer flushes it, and at an error nothing that
		// is small is to be written.
		if err := fn(struct{ io.Writer }{w}); err != nil {
			return err
		}
		return w.Flush()
	}
	switch st, err := os.Stat(path); {
	case err == nil && st.IsDir():
		return usagef("%s is a folder: name a file in it", path)
	case err == nil && !st.Mode().IsRegular():
		return writeDevice(path, fn)
	case err == nil && !force:
		return usagef("%s is there already: give another name, or --force to overwrite it", path)
	}
	if st, err := os.Stat(filepath.Dir(path)); err != nil || !st.IsDir() {
		return usagef("there is no folder %s to write %s in: make it first", filepath.Dir(path), filepath.Base(path))
	}
	return replaceFile(path, fn)
}

// writeFile replaces a file whole.
func writeFile(path string, data []byte) error {
	return replaceFile(path, func(w io.Writer) error { _, err := w.Write(data); return err })
}

// replaceFile puts what fn writes in the place of a file: a reader never sees half of
// it.
func replaceFile(path string, fn func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	w := bufio.NewWriterSize(f, 1<<16)
	err = fn(w)
	if err == nil {
		err = w.Flush()
	}
	if err == nil {
		err = f.Chmod(0o644)
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // half a file is of no use
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}

// writeDevice writes to what is no file, such as a pipe with a name: a file
// must not take its place.
func writeDevice(path string, fn func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return fmt.Errorf("write: %w", err)
	}
	w := bufio.NewWriterSize(f, 1<<16)
	if err = fn(w); err == nil {
		err = w.Flush()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}
