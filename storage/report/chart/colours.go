package chart

import (
	"fmt"
	"image/color"
	"strings"
)

// colours are those of every page, printed sheet and plot, by the names that they have
// in a stylesheet. Daylight is black on white for a sunny field; dusk is amber on brown,
// because eyes that have got used to the dark lose it to white and blue light. Every
// pair of text and ground is checked for contrast on the rendered pages by a test.
// The sets tell lines apart, in grey print too.
var colours = [...]struct {
	name      string
	day, dusk uint32
}{
	{"paper", 0xffffff, 0x140e09}, {"sheet", 0xeef3f4, 0x22180f}, {"ink", 0x0b1f24, 0xf7dcb9}, {"soft", 0x43575d, 0xcfab82},
	{"line", 0x84959a, 0x8a7052}, {"grid", 0xdde4e6, 0x3a2a18}, {"sky", 0x005f7f, 0xffb45c}, {"band", 0xbcdbe4, 0x4d361d},
	{"go", 0x00623c, 0x8fce93}, {"go-ink", 0xffffff, 0x0d1a0e}, {"wait", 0xffd60a, 0xffcf3f}, {"wait-ink", 0x14110a, 0x1a1206},
	{"stop", 0xb0001c, 0xff6a55}, {"stop-ink", 0xffffff, 0x200401}, {"stop-band", 0xf2d3d0, 0x4a1f17},
	{"set1", 0x005f7f, 0xffb45c}, {"set2", 0xb0001c, 0xff6a55}, {"set3", 0x00623c, 0x8fce93}, {"set4", 0x7a4a00, 0xf7dcb9},
	{"set5", 0x6a2c91, 0xd9a6f0}, {"set6", 0x0b1f24, 0xffcf3f},
}

// Face is the type of everything that is shown, as a stylesheet has it.
const Face = "Liberation Sans,Arial,Helvetica,DejaVu Sans Condensed,system-ui,sans-serif"

// Variables are the colours and the face for a stylesheet, daylight's first.
func Variables() string {
	var day, dusk strings.Builder
	for _, c := range colours {
		fmt.Fprintf(&day, "--%s:#%06x;", c.name, c.day)
		fmt.Fprintf(&dusk, "--%s:#%06x;", c.name, c.dusk)
	}
	return ":root{--text:" + Face + ";" + day.String() + "}\n:root[data-theme=\"dusk\"]{" + dusk.String() + "}\n"
}

// named is a colour of daylight: what is printed is on white.
func named(name string) color.NRGBA {
	for _, c := range colours {
		if c.name == name {
			return color.NRGBA{uint8(c.day >> 16), uint8(c.day >> 8), uint8(c.day), 0xff}
		}
	}
	panic("no colour is called " + name) // a typing error, found by any test that draws
}

// Palette has colours that can be told apart in grey print and by most eyes.
var Palette = []color.NRGBA{named("set1"), named("set2"), named("set3"), named("set4"), named("set5"), named("set6")}

// The other colours of the plots.
var (
	Soft     = named("soft")
	Red      = named("stop")
	Faint    = named("line")
	BlueBand = named("band")
	RedBand  = named("stop-band")
	ink      = named("ink")
	grid     = named("grid")
)
