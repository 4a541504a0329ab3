package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
)

// CopyTo writes a copy of the whole archive, as it is at one moment, to a path
// where nothing is yet. It is on the disk when CopyTo returns. A daemon may go on
// writing meanwhile.
func (a *Archive) CopyTo(ctx context.Context, path string) error {
	// The readers' connections may change nothing, to which SQLite counts this.
	db, err := sql.Open("sqlite", dsn(a.path, "ro", "busy_timeout(10000)"))
	if err != nil {
		return explain(a.path, "copy archive", err)
	}
	defer db.Close() //nolint:errcheck // only read from
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", path); err != nil {
		return fmt.Errorf("to %s: %w", path, explain(a.path, "copy archive", err))
	}
	return nil
}

// Sound reads the whole file. ErrDamaged says that something in it is not as it
// was written: SQLite's pages, or a block of frames or samples.
func (a *Archive) Sound(ctx context.Context) error {
	var says string
	if err := a.r.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&says); err != nil {
		return explain(a.path, "check archive", err)
	}
	if says != "ok" {
		return fmt.Errorf("check archive %s: %w: %s", a.path, ErrDamaged, says)
	}
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	for _, session := range sessions {
		if err := a.Frames(ctx, storage.Query{Session: session.ID, Recorded: true}, func(ingest.Frame) error { return nil }); err != nil {
			return err
		}
	}
	if err := a.Samples(ctx, storage.Query{}, func(*decode.Sample) error { return nil }); err != nil {
		return err
	}
	if lost := a.Lost(); len(lost) > 0 {
		return fmt.Errorf("check archive %s: %w: %v", a.path, ErrDamaged, lost[0])
	}
	return nil
}
