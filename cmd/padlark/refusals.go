package main

import (
	"fmt"
	"strings"

	"padlark/ingest"
)

// refusedRows are the rows that say what is refused, with the newest of it in hex and
// text, and how to mend it. Each fits beside a time of day.
func refusedRows(link ingest.LinkConfig, h ingest.Health, r ingest.Refusal) []string {
	last := h.Rejected[len(h.Rejected)-1]
	why := last.Reason
	if last.Detail != "" {
		why = last.Detail
	}
	var text strings.Builder
	wrapTo(&text, columns-len("15:04:05.0  "), h.Link+"  ", fmt.Sprintf("REFUSED %d of %d: %s", r.Refused, r.Refused+r.Read, why))
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
	r := l.refusals.Take(h)
	delete(l.refused, h.Link)
	if r.Trouble {
		if l.refused == nil {
			l.refused = map[string][]string{}
		}
		l.refused[h.Link] = refusedRows(l.link(h.Link), h, r)
	}
	switch {
	case l.live:
	case r.News:
		for _, row := range l.refused[h.Link] {
			l.print(h.At, row)
		}
	case r.Mended:
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
