package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"padlark/storage"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

type noteCmd struct {
	archiveFlags
	Flight string   `arg:"" help:"Flight: Teal-1 (the newest of that name) or SESSION~Teal~1."`
	Text   []string `arg:"" help:"What to note. Fill, pressure, mass, nozzle and wind are read from it for compare and predict."`
}

// Help shows an example.
func (noteCmd) Help() string {
	return "Example: padlark note Teal-1 \"fill 650 mL, pressure 4.0 bar, mass 152 g\"\n\n" +
		"Adds a remark to a flight, also while a station is running on the same folder."
}

// noteMost bounds a note, in bytes: it must fit on a page.
const noteMost = 2000

// Run adds the note.
func (c *noteCmd) Run(ctx context.Context, io *cmdIO) error {
	text := strings.TrimSpace(strings.Join(c.Text, " "))
	if text == "" || len(text) > noteMost {
		return usagef("a note has 1 to %d bytes, this one has %d", noteMost, len(text))
	}
	a, err := c.beside(ctx)
	if err != nil {
		return err
	}
	return errors.Join(c.add(ctx, a, text, io), a.Close())
}

func (c *noteCmd) add(ctx context.Context, a *sqlite.Archive, text string, io *cmdIO) error {
	ref, err := findFlight(ctx, a, c.Flight, io)
	if err != nil {
		return err
	}
	// The remark is of now, by the clock of this computer.
	n := storage.Note{Session: ref.Session, Rocket: ref.Rocket, Flight: ref.Flight, At: time.Now().UTC(), Text: text}
	if _, err := a.AddNote(ctx, n); err != nil {
		return err
	}
	if words := report.ReadTyped([]string{text}).Words(); words != "" {
		fmt.Fprintf(io.Err, "noted for %s; read: %s\n", ref, words)
		return nil
	}
	fmt.Fprintf(io.Err, "noted for %s; no quantity was read in it\n", ref)
	return nil
}
