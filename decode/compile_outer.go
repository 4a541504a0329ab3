package decode

import (
	"cmp"
	"slices"
	"strings"
)

// compileOuter compiles a layout that carries another one.
func (c *compiler) compileOuter(others []Layout, depth int) (*Program, error) {
	l, p := c.layout, c.p
	if depth >= maxDepth {
		return nil, c.errorf("inner", "layouts are more than %d deep; does one carry itself?", maxDepth)
	}
	if l.Inner == "" {
		return nil, c.errorf("inner", "it is missing; name the layout of what the frame carries")
	}
	i := slices.IndexFunc(others, func(o Layout) bool { return o.Name == l.Inner })
	if i < 0 {
		return nil, c.errorf("inner", "there is no layout %q; the layouts are: %s", l.Inner, strings.Join(layoutNames(others), ", "))
	}
	inner := others[i]
	inner.Framing.Kind = "" // the outer frame brings it; its own framing is not used
	var err error
	if p.inner, err = compileDepth(inner, others, depth+1); err != nil {
		return nil, err
	}
	p.names = p.inner.names
	p.boot, p.seq, p.clock = p.inner.boot, p.inner.seq, p.inner.clock
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
	p.packet = packetForm{apids: l.APID, rocketAPID: l.RocketFrom == "apid", secondary: l.SecondaryHeader, ownSeq: p.inner.seq.at < 0}
	if p.packet.ownSeq {
		p.seq = counter{at: -1, wrap: packetCountWrap, conv: linear(1, 0, plainNumber)}
	}
	return nil
}
