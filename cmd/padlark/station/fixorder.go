package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// fixOrderFile is where padlark time set leaves its order for a running
// station: who may write in the data folder may set the time, with or without
// pages.
const fixOrderFile = "time-order.json"

// fixOrder says that it was Truth when the computer's own clock showed By.
type fixOrder struct {
	Truth time.Time `json:"true_time"`
	By    time.Time `json:"by_system_clock"`
}

// age is how long the order lay there when the system clock showed now. That
// clock may have been set in between, and is seldom right where there are such
// orders: what it says counts only if it can be so, for an order is taken within
// a second or two.
func (o fixOrder) age(now time.Time) time.Duration {
	if d := now.Sub(o.By); d > 0 && d < 5*clockEvery {
		return d
	}
	return 0
}

// OrderFix leaves the order for the station that runs on a data folder; done
// tells whether it has taken it.
func OrderFix(dir string, truth time.Time) (done func() bool, err error) {
	text, err := json.Marshal(fixOrder{truth.UTC(), time.Now().UTC()})
	if err != nil {
		return nil, fmt.Errorf("order the time: %w", err)
	}
	path := filepath.Join(dir, fixOrderFile)
	// Renamed into place, so that half an order is never read.
	if err := os.WriteFile(path+".new", text, 0o644); err != nil {
		return nil, fmt.Errorf("order the time: %w", err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return nil, fmt.Errorf("order the time: %w", err)
	}
	return func() bool {
		_, err := os.Stat(path)
		return errors.Is(err, os.ErrNotExist)
	}, nil
}

// takeFixOrder reads and removes an order; nil if there is none.
func takeFixOrder(dir string) (*fixOrder, error) {
	path := filepath.Join(dir, fixOrderFile)
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read order: %w", err)
	}
	if err := os.Remove(path); err != nil {
		return nil, fmt.Errorf("remove order: %w", err) // or it would be obeyed again and again
	}
	var o fixOrder
	if err := json.Unmarshal(text, &o); err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return &o, nil
}
