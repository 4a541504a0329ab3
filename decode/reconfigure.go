package decode

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/fxamacker/cbor/v2"
)

// Reconfigure gives the decoder another configuration between two frames. Links
// whose layouts did not change go on with all that was learnt of them; others
// begin anew. A rocket keeps what is known of it by its id, under its new name.
// With an error the decoder is as it was.
func (d *Decoder) Reconfigure(cfg Config) error {
	n, err := New(cfg)
	if err != nil {
		return err
	}
	ofLinks := map[string]bool{}
	for name, l := range n.links {
		ofLinks[l.rocket] = true
		if old := d.links[name]; old != nil && old.source == l.source {
			n.links[name] = old
		}
	}
	for _, r := range d.rockets {
		name, stays := d.renamed(r, n, ofLinks)
		if !stays || n.byName[name] != nil {
			continue
		}
		r.name = name
		r.streams = slices.DeleteFunc(r.streams, func(st *stream) bool {
			l := n.links[st.link]
			return l == nil || l != d.links[st.link]
		})
		n.byName[name] = r
		n.rockets = append(n.rockets, r)
		for id, x := range d.byID {
			if x == r {
				n.byID[id] = r
			}
		}
	}
	n.guests = d.guests
	*d = *n
	return nil
}

// renamed is what a rocket is called in another configuration, and whether it can
// still be heard there.
func (d *Decoder) renamed(r *rocket, n *Decoder, ofLinks map[string]bool) (name string, stays bool) {
	for id, x := range d.byID {
		if x != r {
			continue
		}
		if name, configured := n.names[id]; configured {
			return name, true
		}
		return GuestName(id), true
	}
	return r.name, ofLinks[r.name]
}

// GuestName is what a rocket is called that nobody configured.
func GuestName(id uint32) string { return "id-" + strconv.FormatUint(uint64(id), 10) }

// sourceOf tells whether a link would be decoded in the same way: its layouts and
// all that these name, as text.
func sourceOf(lc LinkLayouts, layouts []Layout) (string, error) {
	enc, err := cbor.CanonicalEncOptions().EncMode() // maps in one order
	if err != nil {
		return "", err
	}
	out := []string{lc.Rocket}
	taken := map[string]bool{}
	for todo := slices.Clone(lc.Layouts); len(todo) > 0; todo = todo[1:] {
		i := slices.IndexFunc(layouts, func(l Layout) bool { return l.Name == todo[0] })
		if i < 0 || taken[todo[0]] {
			continue
		}
		taken[todo[0]] = true
		b, err := enc.Marshal(layouts[i]) // it has all numbers, NaN among them
		if err != nil {
			return "", fmt.Errorf("layout %q: %w", layouts[i].Name, err)
		}
		out = append(out, string(b))
		todo = append(todo, layouts[i].Inner)
		todo = append(todo, layouts[i].Kinds...)
	}
	return strings.Join(out, "\n"), nil
}
