package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"padlark/storage/bundle"
)

// bundleFormat is the export of a whole session for another station.
const bundleFormat = "bundle"

// bundle writes a session as one file.
func (c *exportCmd) bundle(ctx context.Context, cio *cmdIO) error {
	if c.Rocket != "" || c.Flight != 0 {
		return usagef("a bundle holds a whole session: leave --rocket and --flight out")
	}
	a, id, err := c.session(ctx, cio, c.Session)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	var n bundle.Counts
	p := newProgress(cio.Err, "writing", "lines", 0)
	defer p.end()
	err = writeOut(cio, c.Out, c.Force, func(w io.Writer) error {
		n, err = bundle.Write(ctx, w, a, id, p.upTo)
		return err
	})
	if err != nil {
		return err
	}
	warnLost(a, cio)
	fmt.Fprintf(cio.Err, "written: %s\n", bundleText(n))
	return nil
}

func bundleText(n bundle.Counts) string {
	return fmt.Sprintf("session %s, %d frames, %d samples, %d events, %d changes of alarms, %d notes, %d checks",
		n.Session, n.Frames, n.Samples, n.Events, n.AlarmChanges, n.Notes, n.Checks)
}

// importBundle puts a bundle into the archive of a folder.
func importBundle(ctx context.Context, path, dir string, cio *cmdIO) error {
	b, err := bundle.Open(path)
	if err != nil {
		return err
	}
	defer b.Close() //nolint:errcheck // only read from
	a, err := openArchive(ctx, dir)
	if err != nil {
		return err
	}
	p := newProgress(cio.Err, "importing", "lines", 0)
	err = b.Import(ctx, a, p.upTo)
	p.end()
	if err := errors.Join(err, a.Close()); err != nil {
		return err
	}
	fmt.Fprintf(cio.Out, "imported: %s\n", bundleText(b.Counts()))
	fmt.Fprintf(cio.Err, "Look at it with padlark flights --data %s %s\n", dir, b.Counts().Session)
	return nil
}
