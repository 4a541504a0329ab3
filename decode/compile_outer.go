package decode

import (
	"cmp"
	"slices"
	"strings"

	"padlark/ingest"
)

// compileOuter compiles a layout that carries another one.
func (c *compiler) compileOuter(others []Layout, depth int) (*Program, error) {
	p := c.p
	var err error
	if p.inner, err = c.compileInner("inner", c.layout.Inner, others, depth, ""); err != nil {
		return nil, err
	}
	p.names = p.inner.names
	p.inherit(p.inner)
	if p.form == formAX25 {
		err = c.compileAX25()
	} else {
		err = c.compilePacket()
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

// compileInner compiles a layout that another one names. framing is whether it is
// a line: its own framing is not used, the outer frame brings it.
func (c *compiler) compileInner(key, name string, others []Layout, depth int, framing string) (*Program, error) {
	if depth >= maxDepth {
		return nil, c.errorf(key, "layouts are more than %d deep; does one carry itself?", maxDepth)
	}
	if name == "" {
		return nil, c.errorf(key, "it is missing; name the layout of what the frame carries")
	}
	i := slices.IndexFunc(others, func(o Layout) bool { return o.Name == name })
	if i < 0 {
		return nil, c.errorf(key, "there is no layout %q; the layouts are: %s", name, strings.Join(layoutNames(others), ", "))
	}
	inner := others[i]
	inner.Framing = ingest.Framing{Kind: framing}
	return compileDepth(inner, others, depth+1)
}

// inherit takes over what counters another program has and p has not.
func (p *Program) inherit(from *Program) {
	for _, c := range []struct{ mine, its *counter }{{&p.boot, &from.boot}, {&p.seq, &from.seq}, {&p.clock, &from.clock}} {
		if !c.mine.is() {
			*c.mine = *c.its
			c.mine.own = false
		}
	}
}

// is says whether there is such a counter, of this program or one within it.
func (c *counter) is() bool { return c.at >= 0 || c.wrap > 0 }

func layoutNames(ls []Layout) []string {
	var names []string
	for _, l := range ls {
		names = append(names, l.Name)
	}
	return names
}

func (c *compiler) compileAX25() error {
	for name, rocket := range c.layout.Sources {
		call, err := parseCallsign(name)
		if err != nil {
			return c.errorf("sources", "%w", err)
		}
		c.p.ax25.sources = append(c.p.ax25.sources, source{call, rocket})
	}
	// A map has no order; the encoder takes the first source, so it needs one.
	slices.SortFunc(c.p.ax25.sources, func(a, b source) int { return cmp.Compare(a.call.String(), b.call.String()) })
	c.p.ax25.monitored = c.layout.Framing.Kind == ingest.FramingLine
	c.p.text.prefix = []byte(c.layout.Prefix)
	switch {
	case c.layout.Prefix != "" && !c.p.ax25.monitored:
		return c.errorf("prefix", "only frames written as lines have one; leave it out, or write framing = \"line\"")
	case c.p.ax25.monitored && c.p.check != nil:
		return c.errorf("checksum", "frames written as lines have none; leave it out")
	}
	if c.layout.Destination != "" {
		call, err := parseCallsign(c.layout.Destination)
		if err != nil {
			return c.errorf("destination", "%w", err)
		}
		c.p.ax25.destination = &call
	}
	return nil
}

func (c *compiler) compilePacket() error {
	l, p := c.layout, c.p
	for _, a := range l.APID {
		if a < 0 || a >= packetIdle {
			return c.errorf("apid", "%d is outside 0 to 2046", a)
		}
	}
	switch l.RocketFrom {
	case "", "apid":
	default:
		return c.errorf("rocket_from", "%q is not known; write apid or leave it out", l.RocketFrom)
	}
	if l.SecondaryHeader < 0 || l.SecondaryHeader > 256 {
		return c.errorf("secondary_header", "%d is outside 0 to 256 bytes", l.SecondaryHeader)
	}
	p.packet = packetForm{apids: l.APID, rocketAPID: l.RocketFrom == "apid", secondary: l.SecondaryHeader, ownSeq: !p.inner.seq.is()}
	if p.packet.ownSeq {
		p.seq = counter{at: -1, wrap: packetCountWrap, conv: linear(1, 0, plainNumber)}
	}
	return nil
}
