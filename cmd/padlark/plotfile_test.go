package main

import (
	"bytes"
	"encoding/xml"
	"image/color"
	"image/png"
	"os"
	"testing"
)

// svgHolds reads an SVG and looks for texts in it.
func svgHolds(t *testing.T, file string, texts ...string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := xml.Unmarshal(data, new(struct{})); err != nil {
		t.Errorf("the SVG is not XML: %v", err)
	}
	for _, want := range texts {
		if !bytes.Contains(data, []byte(want)) {
			t.Errorf("the SVG has no text %q", want)
		}
	}
}

// pngPoints counts the points of a picture for which is holds.
func pngPoints(t *testing.T, file string, is func(color.Color) bool) int {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			if is(img.At(x, y)) {
				n++
			}
		}
	}
	return n
}
