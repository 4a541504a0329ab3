package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/ready"
	"padlark/cmd/padlark/station"
	"padlark/storage"
	"padlark/storage/sqlite"
)

type readyCmd struct {
	Config string `arg:"" optional:"" type:"path" help:"Configuration file; padlark.toml of this folder if not given."`
	JSON   bool   `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (readyCmd) Help() string {
	return "Example: padlark ready padlark.toml\n\n" +
		"Looks at ports and who may use them, the disk and its speed, archive, clock, bus, pages, files with secrets, sound, " +
		"power, heat and memory, and says what mends what is wrong. It opens no serial port: some boards start anew then, " +
		"and a servo may move. The exit status is 1 if something will not work."
}

// Run looks and prints.
func (c *readyCmd) Run(ctx context.Context, io *cmdIO) error {
	cfg, err := configuration(c.Config)
	if err != nil {
		return err
	}
	synced, _ := station.SystemClock()
	found := ready.Run(ctx, cfg, ready.Options{Running: running(cfg), Now: time.Now(), Synced: synced})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if c.JSON {
		err = json.NewEncoder(io.Out).Encode(found)
	} else {
		for _, f := range found {
			wrap(io.Out, fmt.Sprintf("%-5s %-18s ", f.State, f.Part), f.Found)
			if f.Mend != "" {
				wrap(io.Out, fmt.Sprintf("%24s ", ""), "To mend it: "+f.Mend)
			}
		}
	}
	if err == nil && ready.Worst(found) == ready.Bad {
		err = errBadVerdict
	}
	return err
}

// running says whether a station runs on this configuration's data.
func running(cfg *config.Config) bool {
	path := filepath.Join(cfg.Station.Data, sqlite.FileName+".lock")
	if _, err := os.Stat(path); err != nil {
		return false // and it must not be made by, say, root
	}
	lock, err := storage.LockFile(path)
	if err != nil {
		return errors.Is(err, storage.ErrLocked)
	}
	_ = lock.Unlock() // it was only tried
	return false
}
