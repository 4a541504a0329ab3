package sqlite_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"padlark/storage"
	"padlark/storage/sqlite"
)

// An archive is made, and a session in it told by its epoch.
func ExampleOpen() {
	if err := keepSession(context.Background()); err != nil {
		fmt.Println(err)
	}
	// Output: 20260502-100000 of field since 10:00 UTC
}

func keepSession(ctx context.Context) (err error) {
	dir, err := os.MkdirTemp("", "archive-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	a, err := sqlite.Open(ctx, filepath.Join(dir, sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if err := a.StartSession(ctx, storage.Session{ID: "20260502-100000", Station: "field", Epoch: time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)}); err != nil {
		return err
	}
	sessions, err := a.Sessions(ctx)
	for _, s := range sessions {
		fmt.Printf("%s of %s since %s UTC\n", s.ID, s.Station, s.Epoch.Format("15:04"))
	}
	return err
}
