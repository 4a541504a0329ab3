package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"strconv"
)

// SVG is the sheet as an svg element, which a page can hold as it is. It has no
// style attributes, which the policy of the station's pages forbids.
func (s Sheet) SVG() []byte {
	var c svgCanvas
	fmt.Fprintf(&c.b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]gpt" height="%[2]gpt" viewBox="0 0 %[1]g %[2]g" font-family="%[3]s"`, round(s.W), round(s.H), Face)
	if s.Title != "" {
		c.b.WriteString(` role="img"><title>`)
		_ = xml.EscapeText(&c.b, []byte(s.Title)) // a buffer takes all
		c.b.WriteString("</title>")
	} else {
		c.b.WriteByte('>')
	}
	s.on(&c)
	c.b.WriteString("</svg>\n")
	return c.b.Bytes()
}

// SVGFile is SVG as a file of its own, on white.
func (s Sheet) SVGFile() []byte {
	out := s.SVG()
	end := bytes.IndexByte(out, '>') + 1
	head := append([]byte("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"), out[:end]...)
	return append(append(head, `<rect width="100%" height="100%" fill="#ffffff"/>`...), out[end:]...)
}

type svgCanvas struct{ b bytes.Buffer }

func round(v float64) float64 { return float64(int(v*100+0.5)) / 100 }

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// path writes polygons or lines as the data of a path.
func (s *svgCanvas) path(all [][]point, end string) {
	s.b.WriteString(`<path d="`)
	for _, run := range all {
		for i, k := range run {
			s.b.WriteByte("ML"[min(i, 1)])
			s.number(k.x)
			s.b.WriteByte(' ')
			s.number(k.y)
		}
		if len(run) > 0 {
			s.b.WriteString(end)
		}
	}
	s.b.WriteByte('"')
}

// number writes a tenth of a point, which is finer than a printer's dots.
func (s *svgCanvas) number(v float64) {
	b := strconv.AppendFloat(s.b.AvailableBuffer(), v, 'f', 1, 64)
	s.b.Write(bytes.TrimSuffix(b, []byte(".0")))
}

func (s *svgCanvas) fill(polygons [][]point, c color.NRGBA) {
	s.path(polygons, "Z")
	fmt.Fprintf(&s.b, ` fill="%s"/>`, hex(c))
}

func (s *svgCanvas) stroke(lines [][]point, c color.NRGBA, width float64, dashes []float64) {
	s.path(lines, "")
	fmt.Fprintf(&s.b, ` fill="none" stroke="%s" stroke-width="%g" stroke-linejoin="round"`, hex(c), width)
	for i, d := range dashes {
		if i == 0 {
			s.b.WriteString(` stroke-dasharray="`)
		} else {
			s.b.WriteByte(' ')
		}
		s.number(d)
	}
	if len(dashes) > 0 {
		s.b.WriteByte('"')
	}
	s.b.WriteString("/>")
}

// discs are lines of no length with round ends.
func (s *svgCanvas) discs(centres []point, radius float64, c color.NRGBA) {
	all := make([][]point, len(centres))
	for i := range centres {
		all[i] = centres[i : i+1]
	}
	s.path(all, "h0")
	fmt.Fprintf(&s.b, ` fill="none" stroke="%s" stroke-width="%g" stroke-linecap="round"/>`, hex(c), round(2*radius))
}

func (s *svgCanvas) text(at point, anchor float64, up bool, size float64, c color.NRGBA, text string) {
	fmt.Fprintf(&s.b, `<text x="%g" y="%g" font-size="%g" fill="%s"`, round(at.x), round(at.y), round(size), hex(c))
	switch anchor {
	case 0.5:
		s.b.WriteString(` text-anchor="middle"`)
	case 1:
		s.b.WriteString(` text-anchor="end"`)
	}
	if up {
		fmt.Fprintf(&s.b, ` transform="rotate(-90 %g %g)"`, round(at.x), round(at.y))
	}
	s.b.WriteByte('>')
	_ = xml.EscapeText(&s.b, []byte(text)) // a buffer takes all
	s.b.WriteString("</text>")
}
