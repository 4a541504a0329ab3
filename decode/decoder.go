package decode

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"padlark/ingest"
)

// Config is what a Decoder needs to know of the station.
type Config struct {
	// Layouts are the user's; the built-in ones are there besides.
	Layouts []Layout
	Links   []LinkLayouts
	Rockets []RocketID
}

// LinkLayouts says what comes in on a link.
type LinkLayouts struct {
	Link string
	// Layouts are tried in order; the first that knows a frame decodes it.
	Layouts []string
	// Rocket is whose frames these are where they do not say so themselves.
	Rocket string
}

// RocketID names a rocket. ID is nil if its board sends none.
type RocketID struct {
	Name string
	ID   *uint32
}

// Limits of what a Decoder remembers.
const (
	// maxTracks bounds the boots followed at a time for one rocket on one
	// link: the present one, one just before it, and doubles.
	maxTracks = 8
)

// Decoder turns frames into samples. It holds what each rocket last sent on
// each link. It is for one goroutine. Its memory is bounded.
type Decoder struct {
	links   map[string]*link
	last    *link // the one used last
	byID    map[uint32]*rocket
	byName  map[string]*rocket
	names   map[uint32]string // configured
	ids     map[string]uint32 // configured
	rockets []*rocket         // in order of first hearing
	gap     int64
	more    []Sample
	lesson  *lesson // what the frame parsed last says of others
	refused refusal
	guests  *Guests
	guest   uint32 // id of the frame decoded last, if nobody configured it
	isGuest bool
}

type link struct {
	name     string
	programs []*Program
	scratch  []*scratch
	rocket   string
	lessons  []lesson // that its frames have taught
	source   string   // see sourceOf
}

// rocket is one rocket, or two with the same id.
type rocket struct {
	name    string
	streams []*stream
	boot    uint32 // the newest of the first sender
	heard   bool
	ofLink  bool   // the link names it
	first   uint64 // frames of the first sender
}

// stream is one rocket's frames of one layout on one link.
type stream struct {
	link    string
	program *Program
	tracks  []*track // the most recently heard first
	ring    []candidate
	next    int
}

// New checks the configuration and makes a decoder.
func New(cfg Config) (*Decoder, error) {
	d := &Decoder{
		links: map[string]*link{}, byID: map[uint32]*rocket{}, byName: map[string]*rocket{},
		names: map[uint32]string{}, ids: map[string]uint32{}, guests: NewGuests(MaxGuests),
	}
	layouts, err := allLayouts(cfg.Layouts)
	if err != nil {
		return nil, err
	}
	for _, r := range cfg.Rockets {
		if r.ID == nil {
			continue
		}
		if other, taken := d.names[*r.ID]; taken {
			return nil, fmt.Errorf("rocket %q has the id %d, which is %q's already; give one board another id", r.Name, *r.ID, other)
		}
		d.names[*r.ID], d.ids[r.Name] = r.Name, *r.ID
	}
	for _, l := range cfg.Layouts {
		if _, err := Compile(l, layouts); err != nil {
			return nil, err // even if no link uses it
		}
	}
	programs := map[string]*Program{} // links with one layout share it
	for _, lc := range cfg.Links {
		l, err := newLink(lc, layouts, programs)
		if err != nil {
			return nil, fmt.Errorf("link %q: %w", lc.Link, err)
		}
		if _, twice := d.links[lc.Link]; twice {
			return nil, fmt.Errorf("link %q is there twice; give one another name", lc.Link)
		}
		d.links[lc.Link] = l
	}
	return d, nil
}

// allLayouts joins the user's layouts with the built-in ones.
func allLayouts(own []Layout) ([]Layout, error) {
	built, err := Builtin()
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, l := range own {
		if seen[l.Name] || l.Name == LarkText || l.Name == LarkBin {
			return nil, &LayoutError{Layout: l.Name, Index: -1, Key: "name", Err: errors.New("there are two of that name (lark-text and lark-bin are built in); give one another")}
		}
		seen[l.Name] = true
	}
	return Join(built, own), nil
}

// Join puts layouts behind the built-in ones; one of the same name takes the
// place of a built-in one.
func Join(built, own []Layout) []Layout {
	all := slices.DeleteFunc(slices.Clone(built), func(b Layout) bool {
		return slices.ContainsFunc(own, func(l Layout) bool { return l.Name == b.Name })
	})
	return append(all, own...)
}

func newLink(lc LinkLayouts, layouts []Layout, programs map[string]*Program) (*link, error) {
	source, err := sourceOf(lc, layouts)
	if err != nil {
		return nil, err
	}
	l := &link{name: lc.Link, rocket: lc.Rocket, source: source}
	if len(lc.Layouts) == 0 {
		return nil, fmt.Errorf("layout is missing; write one of: %s", strings.Join(layoutNames(layouts), ", "))
	}
	for _, name := range lc.Layouts {
		p, err := linkProgram(name, layouts, programs)
		if err != nil {
			return nil, err
		}
		if len(l.programs) > 0 && l.programs[0].layout.Framing.Kind != p.layout.Framing.Kind {
			return nil, fmt.Errorf("layouts %q and %q have different framing, but a link has one; use two links", l.programs[0].name, name)
		}
		if !p.knowsRocket() && lc.Rocket == "" {
			return nil, fmt.Errorf("layout %q does not say which rocket sends it; write rocket = \"…\" for the link, or for the layout", name)
		}
		l.programs = append(l.programs, p)
		l.scratch = append(l.scratch, newScratch(p))
	}
	return l, nil
}

// linkProgram compiles a layout that a link names, once.
func linkProgram(name string, layouts []Layout, programs map[string]*Program) (*Program, error) {
	if p, ok := programs[name]; ok {
		return p, nil
	}
	i := slices.IndexFunc(layouts, func(x Layout) bool { return x.Name == name })
	if i < 0 {
		return nil, fmt.Errorf("layout = %q does not exist; write one of: %s", name, strings.Join(layoutNames(layouts), ", "))
	}
	if err := layouts[i].Framing.Validate(); err != nil {
		return nil, &LayoutError{Layout: name, Index: -1, Err: err}
	}
	p, err := Compile(layouts[i], layouts)
	if err != nil {
		return nil, err
	}
	p.others = layouts
	programs[name] = p
	return p, nil
}

// knowsRocket says whether every frame says whose it is.
func (p *Program) knowsRocket() bool {
	return p.rocketAt >= 0 || p.layout.Rocket != nil || p.packet.rocketAPID || len(p.ax25.sources) > 0 ||
		p.inner != nil && p.inner.knowsRocket() ||
		len(p.kinds) > 0 && !slices.ContainsFunc(p.kinds, func(k kind) bool { return !k.program.knowsRocket() })
}

// Programs are the compiled layouts that the decoder's links use, by link and name:
// what a link has been told makes its program another than that of a second link.
func (d *Decoder) Programs() map[string]*Program {
	out := map[string]*Program{}
	for _, l := range d.links {
		for _, p := range l.programs {
			out[l.name+" "+p.name] = p
		}
	}
	return out
}

// guarded says whether a checksum of some layer protects the frame.
func (p *Program) guarded() bool {
	return p.check != nil || p.inner != nil && p.inner.guarded() ||
		len(p.kinds) > 0 && !slices.ContainsFunc(p.kinds, func(k kind) bool { return !k.program.guarded() })
}

// Decode turns a frame into a sample. The error is a *Reject. The sample's
// Names are shared and its Values are its own; nothing refers to f.Bytes.
func (d *Decoder) Decode(f ingest.Frame) (Sample, error) {
	s, rej := d.decode(&f)
	if rej != nil {
		return s, rej
	}
	return s, nil
}

func (d *Decoder) decode(f *ingest.Frame) (Sample, *Reject) {
	d.gap, d.refused, d.isGuest, d.more = 0, refusal{}, false, nil
	l := d.link(f.Link)
	if l == nil {
		return Sample{}, noLink(f.Link)
	}
	var worst *Reject
	for i := range l.programs {
		var p Parsed
		r := d.parseAs(l, i, f.Bytes, &p)
		if r == nil {
			var s Sample
			if s, r = d.place(f, l, &p); r == nil {
				return s, nil
			}
		}
		if d.lesson != nil {
			return Sample{}, d.learn(l, i, r)
		}
		worst = worse(worst, r)
	}
	return Sample{}, worst
}

// rocketOf finds whose frame it is.
func (d *Decoder) rocketOf(l *link, p *Program, m *ident, mono int64) (*rocket, *Reject) {
	if m.hasRocket {
		if _, configured := d.names[m.rocket]; !configured {
			return d.guestOf(p, m.rocket, mono)
		}
		if r, ok := d.byID[m.rocket]; ok {
			return r, nil
		}
	} else if r, ok := d.byName[l.rocket]; ok {
		return r, nil
	}
	name := l.rocket
	if m.hasRocket {
		name = d.names[m.rocket]
	}
	r, ok := d.byName[name]
	if !ok {
		r = &rocket{name: name, ofLink: !m.hasRocket}
		d.byName[name] = r
		d.rockets = append(d.rockets, r)
	}
	if m.hasRocket {
		d.byID[m.rocket] = r
	}
	return r, nil
}

// guestOf finds or makes a rocket that nobody configured, in the place of one
// that is forgotten if there is no other.
func (d *Decoder) guestOf(p *Program, id uint32, mono int64) (*rocket, *Reject) {
	d.guest, d.isGuest = id, true
	r, known := d.byID[id]
	name := ""
	if known {
		name = r.name
	} else {
		name = GuestName(id)
	}
	gone, ok := d.guests.Admit(name, mono)
	if !ok {
		return nil, p.reject(Unknown, ReasonTooMany, FieldRocket, -1, fmt.Sprintf(
			"%s is not configured, and %d others that are not are heard already; is the id damaged, for want of a checksum?", name, MaxGuests))
	}
	if gone != "" {
		old := d.byName[gone]
		delete(d.byName, gone)
		d.rockets = slices.DeleteFunc(d.rockets, func(x *rocket) bool { return x == old })
		for k, x := range d.byID {
			if x == old {
				delete(d.byID, k)
			}
		}
	}
	if !known {
		r = &rocket{name: name}
		d.byName[name], d.byID[id] = r, r
		d.rockets = append(d.rockets, r)
	}
	return r, nil
}

// stream finds or makes the rocket's stream.
func (r *rocket) stream(linkName string, p *Program) *stream {
	for _, st := range r.streams {
		if st.program == p && st.link == linkName {
			return st
		}
	}
	st := &stream{link: linkName, program: p}
	r.streams = append(r.streams, st)
	return st
}
