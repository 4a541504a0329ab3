package main

import (
	"fmt"
	"strings"
	"time"

	"padlark/ingest"
)

// refusals follows what links refuse, to say within seconds that a link is heard
// and nothing of it can be read: silence on the screen would look like a board
// that is off.
type refusals struct {
	links map[string]*refusalsOf
}

type refusalsOf struct {
	// seen are the last states of the link, oldest first: what is refused now
	// counts, not what was an hour ago.
	seen   []ingest.Health
	toldAt time.Time // zero while nothing is wrong
}

const (
	refusalsLook  = 5                // states that are looked at, one a second
	refusalsAgain = 30 * time.Second // after which it is told again
)

// take adds a link's state and says whether nearly all of what it hears is
// refused, or was until now and is read again.
func (r *refusals) take(h ingest.Health) (trouble, news, mended bool) {
	if r.links == nil {
		r.links = map[string]*refusalsOf{}
	}
	of := r.links[h.Link]
	if of == nil || h.Frames < of.seen[len(of.seen)-1].Frames { // another session
		of = &refusalsOf{seen: []ingest.Health{{Link: h.Link}}}
		r.links[h.Link] = of
	}
	of.seen = append(of.seen, h)
	if len(of.seen) > refusalsLook {
		of.seen = of.seen[1:]
	}
	refused, read := of.lately()
	trouble = len(h.Rejected) > 0 && (refused >= 2 && refused >= 9*read || h.Hint != "" && refused > 0)
	mended = !of.toldAt.IsZero() && read > 0 && !trouble
	news = trouble && (of.toldAt.IsZero() || h.At.Sub(of.toldAt) >= refusalsAgain)
	switch {
	case news:
		of.toldAt = h.At
	case mended:
		of.toldAt = time.Time{}
	}
	return trouble || !of.toldAt.IsZero(), news, mended
}

// lately counts what was refused and what was read between the states kept.
func (of *refusalsOf) lately() (refused, read uint64) {
	from, to := of.seen[0], of.seen[len(of.seen)-1]
	refused = to.BadTotal() - min(from.BadTotal(), to.BadTotal())
	read = to.Frames - to.Refused - min(from.Frames-from.Refused, to.Frames-to.Refused)
	return refused, read
}

// words are the rows that say what is refused, with the newest of it in hex and
// text, and how to mend it. Each fits beside a time of day.
func (of *refusalsOf) words(link ingest.LinkConfig) []string {
	h := of.seen[len(of.seen)-1]
	refused, read := of.lately()
	last := h.Rejected[len(h.Rejected)-1]
	why := last.Reason
	if last.Detail != "" {
		why = last.Detail
	}
	var text strings.Builder
	wrapTo(&text, columns-len("15:04:05.0  "), h.Link+"  ", fmt.Sprintf("REFUSED %d of %d: %s", refused, refused+read, why))
	shown := last.Bytes[:min(len(last.Bytes), 48)]
	for len(shown) > 0 {
		n := min(len(shown), 14)
		fmt.Fprintf(&text, "  %-42s %s\n", strings.ToLower(fmt.Sprintf("% x", []byte(shown[:n]))), printable(shown[:n]))
		shown = shown[n:]
	}
	if last.Length > 48 {
		fmt.Fprintf(&text, "  and %d bytes more\n", last.Length-48)
	}
	mend := "correct the layout in the configuration"
	if link.Layout != "" {
		mend = fmt.Sprintf("correct layout %q in the configuration", link.Layout)
	}
	if h.Hint != "" && h.Refused == 0 {
		mend = h.Hint
	}
	source := "FILE|PORT"
	if link.Serial != "" {
		source = fmt.Sprintf("%s --baud %d", link.Serial, link.Baud)
	}
	wrapTo(&text, columns-len("15:04:05.0  "), "  mend: ", mend+"; the page Links guesses one, or padlark layout "+source+" (stop this first, a port is heard by one program only)")
	return strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n")
}

// health takes a link's state.
func (l *lines) health(h ingest.Health) {
	trouble, news, mended := l.refusals.take(h)
	delete(l.refused, h.Link)
	if trouble {
		if l.refused == nil {
			l.refused = map[string][]string{}
		}
		l.refused[h.Link] = l.refusals.links[h.Link].words(l.link(h.Link))
	}
	switch {
	case l.live:
	case news:
		for _, row := range l.refused[h.Link] {
			l.print(h.At, row)
		}
	case mended:
		l.print(h.At, h.Link+"  is read again")
	}
}

// link is a link of the configuration, as far as it is known here.
func (l *lines) link(name string) ingest.LinkConfig {
	for _, c := range l.links {
		if c.Name == name {
			return c
		}
	}
	return ingest.LinkConfig{Name: name}
}
