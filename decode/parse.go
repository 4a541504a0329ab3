package decode

import (
	"math"
	"slices"
	"strconv"
	"time"

	"padlark/ingest"
)

// Parsed is what a frame says by itself: its counters as sent and its
// channels, before anything is known of when it was heard. Decode is Parse and
// Place in one; who must read a whole log before it knows the times keeps the
// Parsed, so that each frame is read once.
type Parsed struct {
	// ID is the rocket's id, if HasID.
	ID    uint32
	HasID bool
	// Boot, Seq and ClockUs are as sent, NaN where the frame tells none;
	// ClockUs is in us.
	Boot, Seq, ClockUs float64
	// WrapUs is where the clock starts again, in us; 0 if the layout does not
	// say that it does.
	WrapUs float64
	// Values are the channels, in the order of the program's Channels. Place
	// hands them on to the sample.
	Values []float64

	readings []reading // if the frame has several

	clock   float64 // in the frame's own unit
	program int     // which of the link's
	refused refusal // the first value that its channel cannot mean
}

// Parse reads a frame of a link and keeps nothing. The values go into p.Values,
// which is used again if it has the capacity. The error is a *Reject.
func (d *Decoder) Parse(linkName string, b []byte, p *Parsed) error {
	l := d.link(linkName)
	if l == nil {
		return noLink(linkName)
	}
	var worst *Reject
	for i := range l.programs {
		r := d.parseAs(l, i, b, p)
		if r == nil {
			return nil
		}
		worst = worse(worst, r)
	}
	return worst
}

// Protected says whether every frame of a link carries a checksum.
func (d *Decoder) Protected(linkName string) bool {
	l := d.link(linkName)
	return l != nil && !slices.ContainsFunc(l.programs, func(p *Program) bool { return !p.guarded() })
}

// HasClock says whether every layout of a link has a clock.
func (d *Decoder) HasClock(linkName string) bool {
	l := d.link(linkName)
	return l != nil && !slices.ContainsFunc(l.programs, func(p *Program) bool { return !p.clock.is() })
}

// placed finds whose and of which boot a parsed frame is, and when it was
// measured. Frames must come in the order in which they were heard. The sample
// takes over p.Values.
func (d *Decoder) placed(f *ingest.Frame, p *Parsed) (Sample, *Reject) {
	d.gap, d.refused, d.isGuest, d.more = 0, refusal{}, false, nil
	l := d.link(f.Link)
	if l == nil {
		return Sample{}, noLink(f.Link)
	}
	return d.place(f, l, p)
}

// link finds a configured link; most frames are of the same as the one before.
func (d *Decoder) link(name string) *link {
	if d.last == nil || d.last.name != name {
		d.last = d.links[name]
	}
	return d.last
}

func noLink(name string) *Reject {
	return &Reject{Kind: Unknown, Reason: ReasonNoLayout, Detail: "link " + strconv.Quote(name) + " is not configured", Offset: -1}
}

// worse picks what is said of a frame that no layout of the link knows.
func worse(a, b *Reject) *Reject {
	if a == nil || a.Kind == Unknown && b.Kind == Corrupt {
		return b
	}
	return a
}

func (d *Decoder) parseAs(l *link, program int, b []byte, out *Parsed) *Reject {
	p, sc := l.programs[program], l.scratch[program]
	m := ident{boot: math.NaN(), seq: math.NaN(), clock: math.NaN()}
	r := p.parse(b, 0, sc, &m)
	if d.lesson = m.lesson; r != nil {
		return r
	}
	if m.boot > math.MaxUint32 {
		return p.reject(Corrupt, ReasonRange, FieldBoot, -1, number(m.boot)+" is no count of starts")
	}
	id := m.rocket
	if !m.hasRocket {
		id = d.ids[l.rocket]
	}
	*out = Parsed{
		Values: out.Values, ID: m.rocket, HasID: m.hasRocket, Boot: m.boot, Seq: m.seq, clock: m.clock, program: program,
		ClockUs: p.clock.conv.apply(m.clock),
	}
	if r := p.fillReadings(id, sc, out); r != nil {
		return r
	}
	if p.clock.wrap > 0 {
		out.WrapUs = p.clock.wrap * p.clock.conv.mul / p.clock.conv.div
	}
	return nil
}

func (d *Decoder) place(f *ingest.Frame, l *link, in *Parsed) (Sample, *Reject) {
	p := l.programs[in.program]
	d.refused = in.refused
	m := ident{rocket: in.ID, hasRocket: in.HasID, boot: in.Boot, seq: in.Seq, clock: in.clock}
	mono := f.Mono - int64(f.WireTime())
	rk, r := d.rocketOf(l, p, &m, mono)
	if r != nil {
		return Sample{}, r
	}
	st := rk.stream(l.name, p)
	s := Sample{
		Session: f.Session, Link: f.Link, N: f.N, Rocket: rk.name, Seq: -1, Clock: -1,
		Heard: f.Heard, Passed: f.Passed, RSSI: meantRSSI(f.RSSI),
	}
	atMono, r := d.follow(rk, st, &m, mono, &s)
	if r != nil {
		return Sample{}, r
	}
	s.At = f.Heard.Add(time.Duration(atMono - f.Mono))
	s.Values = Channels{Names: p.names, Values: in.Values}
	if !p.several {
		return s, nil
	}
	return d.spread(s, in.readings), nil
}
