package chart

import (
	"image/color"
	"unicode/utf8"
)

// Sheet is plots below each other, the frames aligned. W and H are its size. Title,
// if not empty, is what a screen reader says of an SVG.
type Sheet struct {
	Title string
	Plots []*Plot
	W, H  float64
}

// canvas is what a sheet is drawn on.
type canvas interface {
	// fill fills polygons.
	fill(polygons [][]point, c color.NRGBA)
	// stroke draws lines.
	stroke(lines [][]point, c color.NRGBA, width float64, dashes []float64)
	// discs fills circles.
	discs(centres []point, radius float64, c color.NRGBA)
	// text writes on a base line that begins, is in the middle or ends at a point
	// (0, 0.5, 1); up is from below to above.
	text(at point, anchor float64, up bool, size float64, c color.NRGBA, s string)
}

// Of text in Helvetica and its likes: a digit is as wide as this beside its size
// (Adobe's metrics for Helvetica: 556 of 1000, from memory), and a letter is about
// so.
const digit = 0.556

func width(s string, size float64) float64 { return digit * size * float64(utf8.RuneCountInString(s)) }

// frame is where a plot's values are drawn.
type frame struct {
	p                        *Plot
	x, y                     Axis
	left, right, top, bottom float64
}

func (f *frame) at(k point) point {
	return point{f.left + f.x.part(k.x)*(f.right-f.left), f.bottom - f.y.part(k.y)*(f.bottom-f.top)}
}

func (s Sheet) on(c canvas) {
	each := s.H / float64(len(s.Plots))
	left := 0.0
	frames := make([]frame, len(s.Plots))
	for i, p := range s.Plots {
		f := frame{p: p, x: p.X.sound(), y: p.Y.sound(), right: s.W - 4, top: float64(i)*each + 4, bottom: float64(i+1)*each - 1.5*p.Size}
		if p.Title != "" {
			f.top += 2.2 * p.Size
		}
		if p.X.Label != "" {
			f.bottom -= 1.3 * p.Size
		}
		for _, t := range f.y.ticks() {
			left = max(left, 1.6*p.Size+width(t.label, p.Size)+4)
		}
		if n := f.x.ticks(); len(n) > 0 { // the last one's label is half outside
			f.right = min(f.right, s.W-2-width(n[len(n)-1].label, p.Size)/2)
		}
		frames[i] = f
	}
	for i := range frames {
		frames[i].left = left
		frames[i].draw(c)
	}
}

func (f *frame) draw(c canvas) {
	p := f.p
	if p.Title != "" {
		c.text(point{(f.left + f.right) / 2, f.top - 1.2*p.Size}, 0.5, false, 1.2*p.Size, ink, p.Title)
	}
	f.axes(c)
	for i := range p.items {
		f.item(c, &p.items[i])
	}
	f.marks(c)
	f.legend(c)
}

func (f *frame) axes(c canvas) {
	size := f.p.Size
	var net [][]point
	for _, t := range f.x.ticks() {
		x := f.at(point{t.at, f.y.Min}).x
		net = append(net, []point{{x, f.top}, {x, f.bottom}})
		c.text(point{x, f.bottom + 1.2*size}, 0.5, false, size, ink, t.label)
	}
	for _, t := range f.y.ticks() {
		y := f.at(point{f.x.Min, t.at}).y
		net = append(net, []point{{f.left, y}, {f.right, y}})
		c.text(point{f.left - 3, y + 0.35*size}, 1, false, size, ink, t.label)
	}
	c.stroke(net, grid, 0.5, nil)
	c.stroke([][]point{{{f.left, f.top}, {f.left, f.bottom}, {f.right, f.bottom}}}, ink, 0.5, nil)
	if f.p.X.Label != "" {
		c.text(point{(f.left + f.right) / 2, f.bottom + 2.5*size}, 0.5, false, size, ink, f.p.X.Label)
	}
	c.text(point{size, (f.top + f.bottom) / 2}, 0.5, true, size, ink, f.p.Y.Label)
}

func (f *frame) item(c canvas, it *item) {
	all := make([][]point, len(it.lines))
	for i, run := range it.lines {
		for _, k := range run {
			all[i] = append(all[i], f.at(k))
		}
	}
	it.draw(c, all)
}

// draw draws an item at places of the sheet.
func (it *item) draw(c canvas, all [][]point) {
	s := &it.style
	switch it.kind {
	case area:
		c.fill(all, s.Color)
		for i, run := range all {
			if len(run) > 0 {
				all[i] = append(run, run[0])
			}
		}
		c.stroke(all, edge(s.Color), 0.5, nil)
	case lines:
		c.stroke(all, s.Color, s.Width, s.Dashes)
	case points:
		var centres []point
		for _, run := range all {
			centres = append(centres, run...)
		}
		s.glyphs(c, centres)
	}
}

// edge is the colour of an area's rim, dark enough to be seen on paper where the
// area is too pale: a contrast of 3 and more (WCAG 2.2, success criterion 1.4.11).
func edge(c color.NRGBA) color.NRGBA {
	return color.NRGBA{uint8(int(c.R) * 5 / 9), uint8(int(c.G) * 5 / 9), uint8(int(c.B) * 5 / 9), c.A}
}

func (s *Style) glyphs(c canvas, centres []point) {
	r := s.Radius
	shape := []point{{-r, -r}, {r, -r}, {r, r}, {-r, r}}
	switch s.Shape {
	case Disc:
		c.discs(centres, r, s.Color)
		return
	case Ring:
		shape = circle(point{}, r)
		shape = append(shape, shape[0])
	case Triangle:
		shape = []point{{0, -1.2 * r}, {1.1 * r, 0.8 * r}, {-1.1 * r, 0.8 * r}}
	case Square:
	}
	all := make([][]point, len(centres))
	for i, k := range centres {
		for _, corner := range shape {
			all[i] = append(all[i], point{k.x + corner.x, k.y + corner.y})
		}
	}
	if s.Shape == Ring {
		c.stroke(all, s.Color, 1, nil)
	} else {
		c.fill(all, s.Color)
	}
}

// marks draws the moments; those close to each other have their names in other
// rows.
func (f *frame) marks(c canvas) {
	size := f.p.Size
	row, last := 0, -1e6
	for _, m := range f.p.Marks {
		if m.At < f.x.Min || m.At > f.x.Max {
			continue
		}
		x := f.at(point{m.At, f.y.Min}).x
		c.stroke([][]point{{{x, f.top}, {x, f.bottom}}}, Soft, 0.6, []float64{2.5, 2})
		if m.Name == "" {
			continue
		}
		if x-last < 5*size {
			row++
		} else {
			row = 0
		}
		last = x
		at, anchor := point{x + 2, f.top + size*(0.9+1.1*float64(row))}, 0.0
		if x+width(m.Name, size) > f.right {
			at.x, anchor = x-2, 1
		}
		c.text(at, anchor, false, size, ink, m.Name)
	}
}

// legend names what is drawn, in the upper right corner.
func (f *frame) legend(c canvas) {
	size := f.p.Size
	right, y := f.right-4, f.top+f.p.LegendDown+size
	for i := range f.p.items {
		it := &f.p.items[i]
		if it.style.Name == "" {
			continue
		}
		c.text(point{right - 20, y}, 1, false, size, ink, it.style.Name)
		mid := y - 0.35*size
		sample := [][]point{{{right - 16, mid}, {right, mid}}}
		switch it.kind {
		case points:
			sample = [][]point{{{right - 8, mid}}}
		case area:
			sample = [][]point{{{right - 16, mid - 3}, {right, mid - 3}, {right, mid + 3}, {right - 16, mid + 3}}}
		case lines:
		}
		it.draw(c, sample)
		y += 1.3 * size
	}
}
