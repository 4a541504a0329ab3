package results_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"padlark/storage"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// A session in which nothing flew has no first flight.
func ExampleResults_Result() {
	if err := askForFlight(context.Background()); err != nil {
		fmt.Println(err)
	}
	// Output: no such flight: true
}

func askForFlight(ctx context.Context) (err error) {
	dir, err := os.MkdirTemp("", "results-")
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
	_, missing := results.New(a).Result(ctx, "20260502-100000", "Teal", 1)
	fmt.Println("no such flight:", errors.Is(missing, results.ErrNoFlight))
	return nil
}
