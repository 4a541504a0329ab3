package chart

import (
	"bytes"
	"encoding/xml"
	"image"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func labels(a Axis) (out []string) {
	for _, t := range a.sound().ticks() {
		out = append(out, t.label)
	}
	return out
}

// Values at an axis are round ones, at most as many as asked for.
func TestTicks(t *testing.T) {
	for _, c := range []struct {
		axis Axis
		want string
	}{
		{Axis{Min: 0, Max: 100, Most: 6}, "0 20 40 60 80 100"},
		{Axis{Min: -2, Max: 23, Most: 9}, "0 5 10 15 20"},
		{Axis{Min: 101320, Max: 101331, Most: 4}, "101320 101325 101330"},
		{Axis{Min: -0.3, Max: 0.31, Most: 6}, "-0.2 0 0.2"},
		{Axis{Min: 3, Max: 3, Most: 6}, "1.5 2 2.5 3 3.5 4 4.5"},
		{Axis{Min: math.Inf(1), Max: math.Inf(-1), Most: 4}, "0 0.5 1"},
		{Axis{Min: 0.09, Max: 2.1, Most: 4, Log: true}, "0.1 0.2 0.5 1 2"},
		{Axis{Min: 0.09, Max: 1100, Most: 4, Log: true}, "0.1 1 10 100 1000"},
	} {
		if d := cmp.Diff(strings.Fields(c.want), labels(c.axis)); d != "" {
			t.Errorf("%v to %v (-want +got) %s", c.axis.Min, c.axis.Max, d)
		}
	}
}

func full() Sheet {
	nan := math.NaN()
	p := New("time, s", "a < b & c")
	p.Title = "both"
	p.Band([]float64{0, 1, 2}, []float64{0, 0, nan}, []float64{1, 2, 3}, Style{Name: "area", Color: BlueBand})
	p.Line([]float64{0, 1, 2, 3, 4}, []float64{0, 1, nan, 1, 0}, Style{Name: "line", Color: Palette[0], Width: 2, Dashes: []float64{4, 2}})
	for s := Disc; s <= Ring; s++ {
		p.Points([]float64{1 + float64(s)/2}, []float64{1}, Style{Color: Red, Radius: 3, Shape: s})
	}
	p.Marks = []Mark{{At: 0.1, Name: "first"}, {At: 0.2, Name: "second"}, {At: 99, Name: "outside"}}
	q := Small("s", "log")
	q.Y.Log = true
	q.Bars([]float64{1, 2, 3}, []float64{1, 10, -1}, []float64{10, 100, 5}, Style{Color: Palette[1], Width: 1})
	return Sheet{Plots: []*Plot{p, q}, W: 300, H: 300}
}

// An SVG is XML without style attributes, which the pages' policy forbids; lines
// are interrupted where there is no value, and what cannot be drawn is left out.
func TestSVG(t *testing.T) {
	out := full().SVGFile()
	for d := xml.NewDecoder(bytes.NewReader(out)); ; {
		k, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%v in %s", err, out)
		}
		if e, ok := k.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "style" || strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("<%s %s=%q>", e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
	for text, want := range map[string]int{"a &lt; b &amp; c": 1, "first": 1, "second": 1, "outside": 0, "area": 1, ">100<": 1, "stroke-dasharray=\"4 2\"": 2} {
		if n := strings.Count(string(out), text); n != want {
			t.Errorf("%d times %q, want %d", n, text, want)
		}
	}
}

// A PNG has 150 dots an inch.
func TestPNGSize(t *testing.T) {
	out, err := full().PNG()
	if err != nil {
		t.Fatal(err)
	}
	pic, err := png.Decode(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	if size := pic.Bounds().Size(); size.X != 625 || size.Y != 625 { // 300/72 * 150
		t.Errorf("it is %v", size)
	}
}

// A line in a picture is as long and as wide as it should be, whole at its bends,
// and half as long with dashes.
func TestStroke(t *testing.T) {
	for _, c := range []struct {
		dashes []float64
		want   float64 // points of 6 * 160 a side, and of the disc at the bend
	}{{nil, 1920 + 7}, {[]float64{10, 10}, 960 + 14}} {
		p := &pngCanvas{to: image.NewRGBA(image.Rect(0, 0, 200, 200)), scale: 1}
		p.stroke([][]point{{{20, 20}, {180, 20}, {180, 180}}}, Red, 6, c.dashes)
		sum := 0.0
		for y := range 200 {
			for x := range 200 {
				sum += float64(p.to.RGBAAt(x, y).A) / 255
			}
		}
		// Where two stretches meet they lie over each other by 9 points.
		if math.Abs(sum-c.want) > 12 {
			t.Errorf("dashes %v: %.1f points, want %.0f", c.dashes, sum, c.want)
		}
	}
}
