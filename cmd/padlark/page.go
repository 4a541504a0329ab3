package main

import (
	"encoding/json"
	"io"
	"path/filepath"
	"strings"

	"padlark/flight/phrase"
	"padlark/storage/report"
)

// pageFlags are those of commands that make a page.
type pageFlags struct {
	Out string `short:"o" help:"Write to FILE.html, .svg, .png or .json; - prints the HTML page. Default: the numbers as text." placeholder:"FILE"`
	unitFlags
	Force bool `help:"Overwrite FILE."`
	JSON  bool `name:"json" help:"Print as JSON, with the whole series."`
}

// reader is whom the page is for: JSON is in SI units for everybody.
func (f *pageFlags) reader() phrase.Reader {
	if f.JSON || filepath.Ext(f.Out) == ".json" {
		return phrase.Reader{}
	}
	return f.unitFlags.reader()
}

// check refuses what cannot be written, before anything is computed.
func (f *pageFlags) check() error {
	if f.Out != "" && f.Out != "-" {
		if err := report.CheckTarget(f.Out, f.Force, ".html", ".svg", ".png", ".json"); err != nil {
			return usageError{err}
		}
	}
	if f.Out == "-" && f.JSON {
		return usagef("-o - prints the HTML page and --json prints JSON: choose one")
	}
	return nil
}

// page knows its forms: .html, .svg, .png and .json.
type page interface {
	Write(ext string) ([]byte, error)
}

// write puts a page where it is wanted; text prints its numbers.
func (f *pageFlags) write(p page, cio *cmdIO, text func(io.Writer) error) error {
	switch f.Out {
	case "":
	case "-":
		html, err := p.Write(".html")
		if err != nil {
			return err
		}
		_, err = cio.Out.Write(html)
		return err
	default:
		out, err := p.Write(strings.ToLower(filepath.Ext(f.Out)))
		if err == nil {
			err = writeFile(f.Out, out)
		}
		if err != nil {
			return err
		}
	}
	switch {
	case f.JSON:
		return json.NewEncoder(cio.Out).Encode(p)
	case f.Out == "":
		return text(cio.Out)
	}
	return nil
}
