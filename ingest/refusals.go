package ingest

import "time"

// Refusals follows what links refuse, to say within seconds that a link is heard and
// nothing of it can be read: silence would look like a board that is off. The zero value
// is ready; it is for one goroutine.
type Refusals struct {
	links map[string]*refusalsOf
}

type refusalsOf struct {
	// seen are the last states of the link, oldest first: what is refused now
	// counts, not what was an hour ago.
	seen   []Health
	toldAt time.Time // zero while nothing is wrong
}

const (
	refusalsLook  = 5                // states that are looked at, one a second
	refusalsAgain = 30 * time.Second // after which it is told again
)

// Refusal is what a link refuses lately.
type Refusal struct {
	// Trouble says that nearly all of what it hears is refused, or was and is not read
	// again yet; News that this is to be told; Mended that it is read again.
	Trouble, News, Mended bool
	// Refused and Read are counted over the last states.
	Refused, Read uint64
}

// Take adds a link's state.
func (r *Refusals) Take(h Health) (one Refusal) {
	if r.links == nil {
		r.links = map[string]*refusalsOf{}
	}
	of := r.links[h.Link]
	if of == nil || h.Frames < of.seen[len(of.seen)-1].Frames { // another session
		of = &refusalsOf{seen: []Health{{Link: h.Link}}}
		r.links[h.Link] = of
	}
	of.seen = append(of.seen, h)
	if len(of.seen) > refusalsLook {
		of.seen = of.seen[1:]
	}
	from := of.seen[0]
	one.Refused = h.BadTotal() - min(from.BadTotal(), h.BadTotal())
	one.Read = h.Frames - h.Refused - min(from.Frames-from.Refused, h.Frames-h.Refused)
	trouble := len(h.Rejected) > 0 && (one.Refused >= 2 && one.Refused >= 9*one.Read || h.Hint != "" && one.Refused > 0)
	one.Mended = !of.toldAt.IsZero() && one.Read > 0 && !trouble
	one.News = trouble && (of.toldAt.IsZero() || h.At.Sub(of.toldAt) >= refusalsAgain)
	switch {
	case one.News:
		of.toldAt = h.At
	case one.Mended:
		of.toldAt = time.Time{}
	}
	one.Trouble = trouble || !of.toldAt.IsZero()
	return one
}
