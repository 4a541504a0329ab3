package logimport

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// peek decodes lines without following the board's clock: a decoder judges a
// clock by when the frame was heard, and of a log that is only known from the
// clock. So clock and boot are made channels like any other.
type peek struct {
	decoder *decode.Decoder
	link    string
	clock   bool      // the layout has one
	guarded bool      // a checksum protects the lines
	wraps   []float64 // s after which a clock may begin again
	n       uint64
}

type seen struct {
	rocket      string
	clock, boot float64 // s, and a number; NaN where not told
}

const (
	peekClock = "log_clock_s"
	peekBoot  = "log_boot"
	peekMark  = "-as-log"
)

func newPeek(c Config) (*peek, ingest.Framing, error) {
	built, err := decode.Builtin()
	if err != nil {
		return nil, ingest.Framing{}, err
	}
	all := slices.Concat(built, c.Layouts)
	i := slices.IndexFunc(all, func(l decode.Layout) bool { return l.Name == c.Layout })
	if i < 0 {
		var names []string
		for _, l := range all {
			names = append(names, l.Name)
		}
		return nil, ingest.Framing{}, fmt.Errorf("there is no layout %q; known are: %s", c.Layout, strings.Join(names, ", "))
	}
	p := &peek{link: c.Link, guarded: all[i].Checksum.Kind != "" || all[i].Form == "nmea"}
	layouts := make([]decode.Layout, len(all))
	for k, l := range all {
		layouts[k] = p.plain(l, l.Name == c.Layout || l.Name == all[i].Inner)
	}
	p.wraps = append(p.wraps, usualWraps()...)
	p.decoder, err = decode.New(decode.Config{
		Layouts: layouts,
		Links:   []decode.LinkLayouts{{Link: c.Link, Layouts: []string{c.Layout + peekMark}, Rocket: c.Rocket}},
	})
	return p, all[i].Framing, err
}

// plain is the layout with clock and boot as channels; used says that the
// log's lines are in it.
func (p *peek) plain(l decode.Layout, used bool) decode.Layout {
	l.Name += peekMark
	if l.Inner != "" {
		l.Inner += peekMark
	}
	l.Fields = slices.Clone(l.Fields)
	for i := range l.Fields {
		f := &l.Fields[i]
		switch f.Name {
		case "clock":
			if used && f.WrapAt > 0 {
				p.wraps = append(p.wraps, f.WrapAt*1e-6, f.WrapAt*1e-3, f.WrapAt*1e-2, f.WrapAt)
			}
			f.Name, f.WrapAt = peekClock, 0
			p.clock = p.clock || used
		case "boot":
			f.Name, f.WrapAt = peekBoot, 0
		case "seq":
			f.Name, f.WrapAt = "log_seq", 0
		}
	}
	return l
}

// usualWraps are where clocks of 16, 24 and 32 bits in us, ms and hundredths of
// a second begin again, and the time of day; in s.
func usualWraps() []float64 {
	out := []float64{86400}
	for _, bits := range []float64{16, 24, 32} {
		for _, unit := range []float64{1e-6, 1e-3, 1e-2} {
			if w := math.Exp2(bits) * unit; w > 10 {
				out = append(out, w)
			}
		}
	}
	return out
}

// look decodes one line. The error may be a *decode.Reject.
func (p *peek) look(f ingest.Frame) (seen, error) {
	p.n++
	f.Mono = int64(p.n) * 1e6 // any that rises
	s, err := p.decoder.Decode(f)
	if err != nil {
		return seen{}, err
	}
	clock, _ := s.Values.Get(peekClock)
	boot, _ := s.Values.Get(peekBoot)
	return seen{s.Rocket, clock, boot}, nil
}
