package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"padlark/storage/report/chart"
)

// plotFormat is the format that a file's name asks for, "" for no file.
func plotFormat(file string) (string, error) {
	switch ext := strings.ToLower(filepath.Ext(file)); {
	case file == "":
		return "", nil
	case ext == ".svg" || ext == ".png":
		return ext[1:], nil
	}
	return "", fmt.Errorf("--plot %s: give a file name that ends in .svg or .png", file)
}

// savePlot writes a plot into file, 18 cm wide and so high, in points.
func savePlot(p *chart.Plot, high float64, file, format string) error {
	s := chart.Sheet{Plots: []*chart.Plot{p}, W: 18 * chart.CM, H: high}
	out, err := s.SVGFile(), error(nil)
	if format == "png" {
		out, err = s.PNG()
	}
	if err != nil {
		return err
	}
	return os.WriteFile(file, out, 0o644)
}
