package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

// archiveFlags say which archive a command reads.
type archiveFlags struct {
	Data   string `help:"Folder that a station keeps its data in." placeholder:"DIR" xor:"where"`
	Config string `short:"c" type:"path" help:"Configuration file that names the folder." placeholder:"FILE" xor:"where"`
}

// folder is the chosen data folder; that of the default configuration if none
// was chosen.
func (f archiveFlags) folder() (string, error) {
	switch {
	case f.Data != "":
		return f.Data, nil
	case f.Config != "":
		c, err := config.Load(f.Config)
		if err != nil {
			return "", usageError{err}
		}
		return c.Station.Data, nil
	}
	dirs := []string{"padlark-data", "padlark-demo"}
	if here := orHere(""); here != "" {
		c, err := config.Load(here)
		if err != nil {
			return "", usageError{err}
		}
		dirs = append([]string{c.Station.Data}, dirs...)
	}
	for _, dir := range dirs {
		if _, err := os.Stat(filepath.Join(dir, sqlite.FileName)); err == nil {
			return dir, nil
		}
	}
	return "", usagef("which archive? Give --data DIR (the folder of a station) or --config FILE")
}

// orHere is a configuration file that was named, or padlark.toml if it is in this
// folder; else "".
func orHere(named string) string {
	if st, err := os.Stat("padlark.toml"); named == "" && err == nil && st.Mode().IsRegular() {
		return "padlark.toml"
	}
	return named
}

// configuration loads the file that was named, or the one of this folder.
func configuration(named string) (*config.Config, error) {
	path := orHere(named)
	if path == "" {
		return nil, usagef("which configuration? Name the file, or go to the folder with your padlark.toml; padlark check --example prints one to start from")
	}
	cfg, err := config.Load(path)
	if err != nil {
		return nil, usageError{err}
	}
	return cfg, nil
}

// namedRocket is the rocket of a name in the configuration of a path.
func namedRocket(cfg *config.Config, path, name string) (flight.Rocket, error) {
	var names []string
	for _, r := range cfg.Rockets {
		if r.Name == name {
			return r, nil
		}
		names = append(names, r.Name)
	}
	return flight.Rocket{}, fmt.Errorf("--rocket %s: %s has no such [[rocket]]; it has %s", name, path, strings.Join(names, ", "))
}

// openArchive opens the archive of a folder for writing.
func openArchive(ctx context.Context, dir string) (*sqlite.Archive, error) {
	return sqlite.Open(ctx, filepath.Join(dir, sqlite.FileName), sqlite.Options{})
}

// open opens the archive for reading, also while a daemon writes to it.
func (f archiveFlags) open(ctx context.Context, io *cmdIO) (*sqlite.Archive, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, sqlite.FileName)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, usagef("there is no archive in %s: name the folder that padlark run or padlark demo keeps its data in", dir)
	}
	a, err := sqlite.OpenReadOnly(path)
	if errors.Is(err, sqlite.ErrOlder) {
		// Bring it up to date as a daemon would, then read it.
		w, err := openArchive(ctx, dir)
		if err != nil {
			return nil, err
		}
		if err := w.Close(); err != nil {
			return nil, err
		}
		return sqlite.OpenReadOnly(path)
	}
	return a, err
}

// session opens the archive for reading, and finds the session that is meant.
func (f archiveFlags) session(ctx context.Context, io *cmdIO, said string) (*sqlite.Archive, string, error) {
	a, err := f.open(ctx, io)
	if err != nil {
		return nil, "", err
	}
	name, err := report.FindSession(ctx, a, said)
	if err != nil {
		return nil, "", errors.Join(err, a.Close())
	}
	return a, name, nil
}

// beside opens the archive for a small addition, also while a daemon writes to it.
func (f archiveFlags) beside(ctx context.Context) (*sqlite.Archive, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	a, err := sqlite.OpenBeside(filepath.Join(dir, sqlite.FileName))
	if errors.Is(err, sqlite.ErrOlder) {
		return openArchive(ctx, dir)
	}
	return a, err
}

// warnLost says on errw what a damaged archive could not give.
func warnLost(a *sqlite.Archive, io *cmdIO) {
	for _, l := range a.Lost() {
		fmt.Fprintf(io.Err, "padlark: the archive is damaged: %v\n", l)
	}
}
