package decode

import (
	"fmt"
	"math"
	"slices"
)

// A board may send several kinds of frame, each with a layout of its own: the
// position once a second and the air's pressure fifty times, say. They come from
// one board with one clock, so they are one program, whose channels are those of
// all kinds; what a frame does not have is missing in its sample.

// kind is one of them.
type kind struct {
	program *Program
	into    []int // where its channels are among those of all
}

// mostKinds bounds how many a layout has.
const mostKinds = 32

func (c *compiler) compileKinds(others []Layout, depth int) (*Program, error) {
	p := c.p
	if n := len(c.layout.Kinds); n < 1 || n > mostKinds {
		return nil, c.errorf("kinds", "there are %d; name 1 to %d layouts", n, mostKinds)
	}
	counts := c.layout.SeqOf
	if counts != "" && !slices.Contains(c.layout.Kinds, counts) {
		return nil, c.errorf("seq_of", "%q is not one of the kinds", counts)
	}
	for _, name := range c.layout.Kinds {
		k, err := c.compileInner("kinds", name, others, depth, c.layout.Framing.Kind)
		if err != nil {
			return nil, err
		}
		if counts != "" && counts != name {
			k.seq = counter{at: -1}
			k.uncounted = true
		}
		if err := c.sameCounters(k); err != nil {
			return nil, err
		}
		p.inherit(k)
		into := make([]int, 0, len(k.names))
		for _, ch := range k.names {
			at := slices.Index(p.names, ch)
			if at < 0 {
				at = len(p.names)
				p.names = append(p.names, ch)
			}
			into = append(into, at)
		}
		p.kinds = append(p.kinds, kind{k, into})
	}
	return p, nil
}

// sameCounters says whether a kind counts as those before it do.
func (c *compiler) sameCounters(k *Program) error {
	for _, x := range []struct {
		name     string
		ours, of *counter
	}{{FieldBoot, &c.p.boot, &k.boot}, {FieldSeq, &c.p.seq, &k.seq}, {FieldClock, &c.p.clock, &k.clock}} {
		if x.ours.is() && x.of.is() && (x.ours.wrap != x.of.wrap || x.ours.conv != x.of.conv) {
			return c.errorf("kinds", "%s in %q has another unit, or starts again elsewhere, than in the kinds before it; they are one board's and must be alike", x.name, k.name)
		}
	}
	return nil
}

func (p *Program) parseKinds(b []byte, base int, sc *scratch, m *ident) *Reject {
	var worst *Reject
	for i, k := range p.kinds {
		said := *m
		r := k.program.parse(b, base, sc.kinds[i], &said)
		if r == nil {
			if k.program.uncounted {
				said.seq = math.NaN()
			}
			*m, sc.kind = said, i
			return nil
		}
		if m.lesson = said.lesson; m.lesson != nil {
			return r
		}
		worst = worse(worst, r)
	}
	if worst.Kind == Unknown {
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("it is none of the %d kinds; of the last: %s: %s", len(p.kinds), worst.Reason, worst.Detail))
	}
	return worst
}

// fillKind computes the channels of the kind that the frame at hand is.
func (p *Program) fillKind(rocket uint32, sc *scratch) *Reject {
	for i := range sc.values {
		sc.values[i] = math.NaN()
	}
	k, from := p.kinds[sc.kind], sc.kinds[sc.kind]
	r := k.program.fill(rocket, from)
	sc.refused = from.refused
	for i, at := range k.into {
		sc.values[at] = from.values[i]
	}
	return r
}
