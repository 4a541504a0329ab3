package station

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"padlark/storage/journal"
)

// loadPlace reads the place of a follower that keeps it in a small file beside
// the journal; 0 if there is none.
func loadPlace(path, follower string) (int64, error) {
	var at int64
	f, err := os.Open(placePath(path, follower))
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read the place of the %s: %w", follower, err)
	}
	defer f.Close() //nolint:errcheck // it was only read from
	if _, err := fmt.Fscan(bufio.NewReader(f), &at); err != nil || at < 0 {
		return 0, nil // torn by a power cut: from the start again, which changes nothing
	}
	return at, nil
}

// savePlace keeps such a place.
func savePlace(path, follower string, at int64) error {
	to := placePath(path, follower)
	err := os.WriteFile(to+".new", fmt.Appendln(nil, at), 0o644)
	if err == nil {
		err = os.Rename(to+".new", to)
	}
	if err != nil {
		return fmt.Errorf("keep the place of the %s: %w", follower, err)
	}
	return nil
}

func placePath(path, follower string) string {
	return filepath.Join(filepath.Dir(path), journal.SessionOf(path)+"."+follower)
}
