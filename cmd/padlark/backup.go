package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"padlark/storage/backup"
)

type backupCmd struct {
	To string `arg:"" name:"dir" type:"path" help:"Folder for the copy, best on another disk."`
	archiveFlags
	JSON bool `name:"json" help:"Print what the copy holds as JSON."`
}

// Help shows an example.
func (backupCmd) Help() string {
	return "Example: padlark storage backup /media/stick/padlark --data /var/lib/padlark\n\n" +
		"The station may run meanwhile. All that is written is read back and compared. Journals that the copy has already " +
		"are not copied again, and nothing is removed from it but a journal that lies there packed as well. A copy is a data " +
		"folder: padlark flights --data DIR reads it, and to restore it, copy it to where station.data says."
}

// Run makes the copy.
func (c *backupCmd) Run(ctx context.Context, io *cmdIO) error {
	from, err := c.folder()
	if err != nil {
		return err
	}
	list, err := backup.Make(ctx, from, c.To, time.Now())
	if err != nil {
		return err
	}
	return printCopy(io, c.JSON, list, "copied to "+c.To+" and read back")
}

type verifyCmd struct {
	Dir  string `arg:"" name:"dir" type:"path" help:"Folder of the copy."`
	JSON bool   `name:"json" help:"Print what the copy holds as JSON."`
}

// Help shows an example.
func (verifyCmd) Help() string { return "Example: padlark storage verify /media/stick/padlark" }

// Run reads the copy.
func (c *verifyCmd) Run(ctx context.Context, io *cmdIO) error {
	list, err := backup.Verify(ctx, c.Dir)
	if err != nil {
		return err
	}
	return printCopy(io, c.JSON, list, "as copied on "+list.Made.Local().Format("2006-01-02 15:04"))
}

func printCopy(io *cmdIO, asJSON bool, l backup.List, what string) error {
	if asJSON {
		return json.NewEncoder(io.Out).Encode(l)
	}
	files := "files"
	if len(l.Files) == 1 {
		files = "file"
	}
	_, err := fmt.Fprintf(io.Out, "%d %s, %.1f MB, %s\n", len(l.Files), files, float64(l.Bytes())/1e6, what)
	return err
}
