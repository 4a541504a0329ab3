package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/alecthomas/kong"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/manual"
)

type manualCmd struct {
	Dir string `arg:"" type:"path" help:"Folder for the manual pages."`
}

// Help shows an example.
func (manualCmd) Help() string {
	return "Example: padlark manual man && man ./man/padlark-run.1"
}

// Run writes the pages.
func (c *manualCmd) Run(_ context.Context, io *cmdIO) error {
	k, err := commandLine(io.Out, io.Err)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(c.Dir, 0o755); err != nil {
		return fmt.Errorf("write manual pages: %w", err)
	}
	pages := manual.Pages(k.Model, softwareVersion(), builtOn())
	keys, err := config.Keys()
	if err != nil {
		return err
	}
	entries := make([]manual.Entry, len(keys))
	for i, key := range keys {
		entries[i] = manual.Entry(key)
	}
	pages = append(pages, manual.KeysPage(k.Model.Name, entries, softwareVersion(), builtOn()))
	for _, p := range pages {
		if err := os.WriteFile(filepath.Join(c.Dir, p.Name), []byte(p.Text), 0o644); err != nil {
			return fmt.Errorf("write manual pages: %w", err)
		}
	}
	fmt.Fprintf(io.Err, "%d pages in %s\n", len(pages), c.Dir)
	return nil
}

// builtOn is the day that stands on the pages: SOURCE_DATE_EPOCH if a package is
// being built, so that the same source gives the same pages.
func builtOn() time.Time {
	var s int64
	if _, err := fmt.Sscan(os.Getenv("SOURCE_DATE_EPOCH"), &s); err == nil {
		return time.Unix(s, 0).UTC()
	}
	return time.Now()
}

type completionCmd struct {
	Shell string `arg:"" help:"bash, zsh or fish."`
}

// Help shows an example.
func (completionCmd) Help() string {
	return "Example: padlark completion bash > ~/.local/share/bash-completion/completions/padlark\n\n" +
		"For zsh write it as _padlark into a folder of fpath, for fish as padlark.fish into ~/.config/fish/completions. The " +
		"Debian package brings all three."
}

// Run prints the script.
func (c *completionCmd) Run(_ context.Context, io *cmdIO) error {
	k, err := commandLine(io.Out, io.Err)
	if err != nil {
		return err
	}
	text, err := manual.Completion(k.Model, c.Shell)
	if err != nil {
		return usageError{err}
	}
	_, err = fmt.Fprint(io.Out, text)
	return err
}

// helpCmd is the other way to ask for a help text.
type helpCmd struct {
	Command []string `arg:"" optional:"" help:"The command."`
}

// Help shows an example.
func (helpCmd) Help() string { return "Example: padlark help run" }

// Run prints the help text of a command.
func (c *helpCmd) Run(_ context.Context, io *cmdIO) error {
	_, code, err := parse(append(c.Command, "--help"), io.Out, io.Err)
	if err == nil && code != exitOK {
		err = errors.New("there is no such help text")
	}
	if err != nil {
		return usageError{err}
	}
	return nil
}

// versionFlag prints the version like the command version.
type versionFlag bool

// BeforeReset is called by kong where the flag stands.
func (versionFlag) BeforeReset(k *kong.Kong) error {
	fmt.Fprint(k.Stdout, versionLine())
	k.Exit(exitOK)
	return nil
}
