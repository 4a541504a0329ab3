package report

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Colours that can be told apart in grey print and by most eyes.
var palette = []color.NRGBA{
	{0x1b, 0x4f, 0x8f, 0xff}, {0xb5, 0x4a, 0x12, 0xff}, {0x2a, 0x7a, 0x4b, 0xff}, {0x7a, 0x3b, 0x8f, 0xff},
	{0x8a, 0x6d, 0x00, 0xff}, {0x00, 0x7a, 0x8a, 0xff}, {0x9a, 0x2a, 0x4a, 0xff}, {0x44, 0x44, 0x44, 0xff},
}

var (
	faint = color.NRGBA{0xb4, 0xb4, 0xb4, 0xff}
	grid  = color.Gray{0xe2}
	ink   = color.NRGBA{0x30, 0x30, 0x30, 0xff}
)

// newPlot is a plot in the page's type, with a grid.
func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, s := range []*text.Style{&p.X.Label.TextStyle, &p.Y.Label.TextStyle, &p.X.Tick.Label, &p.Y.Tick.Label, &p.Legend.TextStyle, &p.Title.TextStyle} {
		s.Font.Variant = "Sans"
		s.Font.Size = vg.Points(8.5)
		s.Color = ink
	}
	p.X.Label.Padding, p.Y.Label.Padding = vg.Points(3), vg.Points(3)
	p.X.Tick.Marker, p.Y.Tick.Marker = ticks{9}, ticks{6}
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g)
	p.Legend.Top = true
	return p
}

// ticks labels at most so many values at steps of 1, 2 or 5 times a power of
// ten.
type ticks struct{ most int }

// Ticks implements plot.Ticker.
func (k ticks) Ticks(lo, hi float64) []plot.Tick {
	if !(hi > lo) {
		return []plot.Tick{{Value: lo, Label: strconv.FormatFloat(lo, 'g', 6, 64)}}
	}
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/float64(k.most))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(m*step) <= float64(k.most) {
			step *= m
			break
		}
	}
	var out []plot.Tick
	for i := math.Ceil(lo/step - 1e-9); i*step <= hi+1e-9*step; i++ {
		v := i * step
		if math.Abs(v) < 1e-9*step {
			v = 0
		}
		out = append(out, plot.Tick{Value: v, Label: strconv.FormatFloat(v, 'g', 6, 64)})
	}
	return out
}

func xys(t, v []float64) plotter.XYs {
	out := make(plotter.XYs, 0, len(t))
	for i := range t {
		if !math.IsNaN(v[i]) && !math.IsInf(v[i], 0) {
			out = append(out, plotter.XY{X: t[i], Y: v[i]})
		}
	}
	return out
}

// addLine draws a line; nothing for fewer than two points.
func addLine(p *plot.Plot, t, v []float64, c color.Color, width vg.Length) (*plotter.Line, error) {
	pts := xys(t, v)
	if len(pts) < 2 {
		return nil, nil
	}
	l, err := plotter.NewLine(pts)
	if err != nil {
		return nil, err
	}
	l.Color, l.Width = c, width
	p.Add(l)
	return l, nil
}

// addDots draws readings as small dots.
func addDots(p *plot.Plot, t, v []float64, c color.Color, radius vg.Length) (*plotter.Scatter, error) {
	s, err := plotter.NewScatter(xys(t, v))
	if err != nil {
		return nil, err
	}
	s.GlyphStyle = draw.GlyphStyle{Color: c, Radius: radius, Shape: draw.CircleGlyph{}}
	p.Add(s)
	return s, nil
}

// addBand fills between two lines.
func addBand(p *plot.Plot, t, lo, hi []float64, c color.Color) error {
	n := len(t)
	if n < 2 {
		return nil
	}
	pts := make(plotter.XYs, 0, 2*n)
	for i := range n {
		pts = append(pts, plotter.XY{X: t[i], Y: hi[i]})
	}
	for i := n - 1; i >= 0; i-- {
		pts = append(pts, plotter.XY{X: t[i], Y: lo[i]})
	}
	b, err := plotter.NewPolygon(pts)
	if err != nil {
		return err
	}
	b.Color, b.LineStyle.Width = c, 0
	p.Add(b)
	return nil
}

// mark is a moment that is drawn as a line from bottom to top with its name.
type mark struct {
	t    float64
	name string
}

// marks draws them; those close to each other get their names on other rows.
type marks struct {
	list  []mark
	named bool
}

// Plot implements plot.Plotter.
func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	trX, _ := p.Transforms(&c)
	style := draw.LineStyle{Color: color.NRGBA{0x77, 0x77, 0x77, 0xff}, Width: vg.Points(0.6), Dashes: []vg.Length{vg.Points(2.5), vg.Points(2)}}
	label := p.X.Tick.Label
	label.XAlign, label.YAlign = draw.XLeft, draw.YTop
	label.Color = ink
	row, last := 0, vg.Length(-1e6)
	for _, k := range m.list {
		if k.t < p.X.Min || k.t > p.X.Max {
			continue
		}
		x := trX(k.t)
		c.StrokeLine2(style, x, c.Min.Y, x, c.Max.Y)
		if !m.named {
			continue
		}
		if x-last < vg.Points(42) {
			row++
		} else {
			row = 0
		}
		last = x
		at := vg.Point{X: x + vg.Points(2), Y: c.Max.Y - vg.Points(1) - vg.Length(row)*vg.Points(9.5)}
		if k.t > p.X.Min+0.9*(p.X.Max-p.X.Min) {
			label.XAlign = draw.XRight
			at.X = x - vg.Points(2)
		}
		c.FillText(label, at, k.name)
	}
}

// drawn is one or more plots below each other, ready to be written.
type drawn struct {
	plots []*plot.Plot
	w, h  vg.Length
}

func (d drawn) on(c vg.CanvasSizer) {
	dc := draw.New(c)
	rows := make([][]*plot.Plot, len(d.plots))
	for i, p := range d.plots {
		rows[i] = []*plot.Plot{p}
	}
	tiles := draw.Tiles{Rows: len(d.plots), Cols: 1, PadY: vg.Points(4), PadRight: vg.Points(4), PadLeft: vg.Points(1), PadTop: vg.Points(2)}
	canvases := plot.Align(rows, tiles, dc)
	for i, p := range d.plots {
		p.Draw(canvases[i][0])
	}
}

// svg is the picture as an svg element, which a page can hold as it is.
func (d drawn) svg() ([]byte, error) {
	c := vgsvg.New(d.w, d.h)
	d.on(c)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw svg: %w", err)
	}
	out := b.Bytes()
	if i := bytes.Index(out, []byte("<svg")); i >= 0 {
		out = out[i:]
	}
	// Machines without the plot's own type use another one of the same widths.
	return bytes.ReplaceAll(out, []byte("font-family:Liberation Sans"), []byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif")), nil
}

// svgFile is the picture as a file of its own.
func (d drawn) svgFile() ([]byte, error) {
	out, err := d.svg()
	return append([]byte("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"), out...), err
}

// png is the picture at 150 dots an inch.
func (d drawn) png() ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(d.w, d.h), vgimg.UseDPI(150))
	d.on(c)
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw png: %w", err)
	}
	return b.Bytes(), nil
}
