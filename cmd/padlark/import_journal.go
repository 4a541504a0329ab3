package main

import (
	"context"
	"errors"
	"fmt"

	"padlark/cmd/padlark/station"
	"padlark/storage/journal"
)

// importJournal brings the session of a journal that was copied from another
// computer into the archive. What is there already stays as it is.
func importJournal(ctx context.Context, path, dir string, cio *cmdIO) error {
	a, err := openArchive(ctx, dir, cio)
	if err != nil {
		return err
	}
	err = station.BringIn(ctx, a, path)
	if err != nil {
		err = fmt.Errorf("import journal: %w", err)
	} else {
		fmt.Fprintf(cio.Out, "session %s is in %s\n", journal.SessionOf(path), dir)
	}
	return errors.Join(err, a.Close())
}
