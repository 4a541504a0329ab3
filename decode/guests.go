package decode

import "slices"

// MaxGuests is how many rockets that nobody configured are followed at a time.
// Configured ones have a place of their own everywhere.
const MaxGuests = 64

const (
	// A guest that was heard less often than knownFrames is forgotten after
	// passingNs, any other after forgetNs: ids made up by damage or by malice come
	// and go, and a board that really sends stays.
	knownFrames = 3
	passingNs   = int64(2e9)
)

// Guests is a bounded table of the rockets that nobody configured. It decides
// who is followed, from names and times alone, so that every table built on the
// same samples decides the same. It is for one goroutine.
type Guests struct {
	max  int
	list []guest
}

type guest struct {
	name   string
	frames int
	heard  int64 // ns
}

// NewGuests makes a table for at most n.
func NewGuests(n int) *Guests { return &Guests{max: n} }

// Admit notes that a guest is heard at a time in ns, and says whether it is
// followed. If it takes the place of one that is to be forgotten, gone names that.
func (g *Guests) Admit(name string, now int64) (gone string, ok bool) {
	if i := slices.IndexFunc(g.list, func(x guest) bool { return x.name == name }); i >= 0 {
		g.list[i].frames++
		g.list[i].heard = max(g.list[i].heard, now)
		return "", true
	}
	entry := guest{name, 1, now}
	if len(g.list) < g.max {
		g.list = append(g.list, entry)
		return "", true
	}
	best := -1
	for i, x := range g.list {
		passing := x.frames < knownFrames && now-x.heard >= passingNs
		if !passing && now-x.heard < forgetNs {
			continue
		}
		if best < 0 || x.heard < g.list[best].heard || x.heard == g.list[best].heard && x.name < g.list[best].name {
			best = i
		}
	}
	if best < 0 {
		return "", false
	}
	gone = g.list[best].name
	g.list[best] = entry
	return gone, true
}
