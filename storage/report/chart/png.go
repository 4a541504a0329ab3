package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// dotsPerInch is how fine a PNG is.
const dotsPerInch = 150

// PNG is the sheet as a picture at 150 dots an inch, on white.
func (s Sheet) PNG() ([]byte, error) {
	face, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("draw png: %w", err)
	}
	const scale = dotsPerInch / 72.0
	to := image.NewRGBA(image.Rect(0, 0, int(s.W*scale), int(s.H*scale)))
	draw.Draw(to, to.Bounds(), image.White, image.Point{}, draw.Src)
	c := &pngCanvas{to: to, scale: scale, font: face}
	s.on(c)
	var b bytes.Buffer
	if c.err == nil {
		c.err = png.Encode(&b, to)
	}
	if c.err != nil {
		return nil, fmt.Errorf("draw png: %w", c.err)
	}
	return b.Bytes(), nil
}

type pngCanvas struct {
	to    *image.RGBA
	scale float64 // dots in a point
	font  *opentype.Font
	err   error
}

func (p *pngCanvas) fill(polygons [][]point, c color.NRGBA) {
	size := p.to.Bounds().Size()
	r := vector.NewRasterizer(size.X, size.Y)
	for _, run := range polygons {
		for i, k := range run {
			x, y := float32(k.x*p.scale), float32(k.y*p.scale)
			if i == 0 {
				r.MoveTo(x, y)
			} else {
				r.LineTo(x, y)
			}
		}
		r.ClosePath()
	}
	r.Draw(p.to, p.to.Bounds(), image.NewUniform(c), image.Point{})
}

// stroke fills a quadrangle for each stretch, and a disc at each bend.
func (p *pngCanvas) stroke(lines [][]point, c color.NRGBA, width float64, dashes []float64) {
	half := max(width, 1/p.scale) / 2
	var all [][]point
	for _, run := range lines {
		for _, dash := range cutDashes(run, dashes) {
			for i := 1; i < len(dash); i++ {
				a, b := dash[i-1], dash[i]
				n := math.Hypot(b.x-a.x, b.y-a.y)
				if n == 0 {
					continue
				}
				dx, dy := half*(b.y-a.y)/n, half*(b.x-a.x)/n
				all = append(all, []point{{a.x - dx, a.y + dy}, {a.x + dx, a.y - dy}, {b.x + dx, b.y - dy}, {b.x - dx, b.y + dy}})
				if i > 1 {
					all = append(all, circle(a, half))
				}
			}
		}
	}
	p.fill(all, c)
}

// cutDashes cuts a line into its dashes.
func cutDashes(run []point, dashes []float64) [][]point {
	if len(dashes) == 0 || len(run) < 2 {
		return [][]point{run}
	}
	out := [][]point{{run[0]}}
	which, left := 0, dashes[0]
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		for {
			n := math.Hypot(b.x-a.x, b.y-a.y)
			if n < left {
				left -= n
				break
			}
			a = point{a.x + (b.x-a.x)*left/n, a.y + (b.y-a.y)*left/n}
			if which%2 == 0 {
				last := &out[len(out)-1]
				*last = append(*last, a)
			} else {
				out = append(out, []point{a})
			}
			which++
			left = dashes[which%len(dashes)]
		}
		if which%2 == 0 {
			last := &out[len(out)-1]
			*last = append(*last, b)
		}
	}
	return out
}

// circle is one as a polygon that turns the same way as the stretches of a line.
func circle(centre point, radius float64) []point {
	const corners = 16
	out := make([]point, corners)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = point{centre.x + radius*cos, centre.y + radius*sin}
	}
	return out
}

func (p *pngCanvas) discs(centres []point, radius float64, c color.NRGBA) {
	all := make([][]point, len(centres))
	for i, k := range centres {
		all[i] = circle(k, radius)
	}
	p.fill(all, c)
}

func (p *pngCanvas) text(at point, anchor float64, up bool, size float64, c color.NRGBA, s string) {
	face, err := opentype.NewFace(p.font, &opentype.FaceOptions{Size: size, DPI: dotsPerInch, Hinting: font.HintingNone})
	if err != nil {
		p.err = err
		return
	}
	wide := font.MeasureString(face, s).Ceil()
	high := int(2 * size * p.scale)
	base := high * 3 / 4
	// It is written on a strip of its own, which is then turned if need be.
	strip := image.NewAlpha(image.Rect(0, 0, wide, high))
	d := font.Drawer{Dst: strip, Src: image.Opaque, Face: face, Dot: fixed.P(0, base)}
	d.DrawString(s)
	x, y := int(at.x*p.scale), int(at.y*p.scale)
	back := int(anchor * float64(wide))
	var mask image.Image = strip
	corner := image.Pt(x-back, y-base)
	if up {
		turned := image.NewAlpha(image.Rect(0, 0, high, wide))
		for i := range wide {
			for k := range high {
				turned.SetAlpha(k, wide-1-i, strip.AlphaAt(i, k))
			}
		}
		mask, corner = turned, image.Pt(x-base, y-wide+back)
	}
	draw.DrawMask(p.to, mask.Bounds().Add(corner), image.NewUniform(c), image.Point{}, mask, image.Point{}, draw.Over)
}
