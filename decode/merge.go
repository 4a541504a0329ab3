package decode

import (
	"slices"
	"strings"
	"time"
)

// Merger makes one stream of samples of each rocket where several links (or
// stations) hear it. The first copy of a message wins; further ones are
// counted. It is pure and bounded, and for one goroutine.
//
// Links differ in their shortest delay, which no clock map can see, so the
// samples of each link are moved by the mean difference of `at` to those of
// the link that was heard first. Otherwise the merged stream would jump to and
// fro as the copies win in turn.
type Merger struct {
	rockets map[string]*mergedRocket
}

// Merged counts what merging made of one rocket's frames.
type Merged struct {
	Rocket string `json:"rocket"`
	// Heard counts messages, each once; Lost those that no link heard, by
	// their sequence numbers.
	Heard uint64 `json:"heard"`
	Lost  uint64 `json:"lost"`
	// Links has the same for each link alone, in order of first hearing.
	Links []Loss `json:"links"`
}

// Loss is what one link heard of a rocket, each message once, and how many numbers are
// missing from that. Twice counts further copies.
type Loss struct {
	Link   string `json:"link"`
	Rocket string `json:"rocket"`
	Heard  uint64 `json:"heard"`
	Lost   uint64 `json:"lost"`
	Twice  uint64 `json:"twice"`
}

const (
	mergeWindow  = 1024 // messages remembered for each rocket
	mergeRockets = 512
	mergeLinks   = 32 // bits of mergedMessage.heard
	mergeBoots   = 4
	// preferNs is how long a link may be silent before another one is
	// listened to, for frames that nothing identifies.
	preferNs = 2 * time.Second
	// shiftPart is how fast the difference between two links is followed.
	shiftPart = 16
)

type mergedRocket struct {
	name string
	ring []mergedMessage // it grows to mergeWindow: most ids of a stranger's send little
	// chains find a message by its key: chains through the ring, one
	// for each hash, -1 at the end. A map would do, at three times the cost, and
	// every sample goes through here.
	chains [mergeWindow]int16
	next   int
	links  []*mergedLink
	total  Numbering
	choice *mergedLink // for frames that nothing identifies
}

type messageKey struct {
	seq, clock int64
	boot       uint32
}

// mergedMessage is small, since each rocket and each stranger has up to mergeWindow.
type mergedMessage struct {
	key   messageKey
	heard uint32 // the links that had a copy, a bit each
	older int16  // the next in the chain
	link  uint8  // whose copy won
	used  bool
	at    int64 // as that link had it, ns since 1970
}

type mergedLink struct {
	name  string
	index uint8 // in the rocket's links
	count Numbering
	twice uint64
	shift time.Duration // its `at` less that of the first link
	known bool
	last  time.Time // when last heard
}

// NewMerger makes an empty merger.
func NewMerger() *Merger { return &Merger{rockets: map[string]*mergedRocket{}} }

// Add takes a sample in. It gives the sample to go on with, its At on the
// common time line, and whether it is the first copy. A sample that nothing
// identifies (no seq, no clock) goes on only if its link is the one listened
// to.
func (m *Merger) Add(s Sample) (Sample, bool) {
	first := m.Take(&s)
	return s, first
}

// Take is Add in place: it moves s.At to the common time line and says whether
// s is the first copy.
func (m *Merger) Take(s *Sample) (first bool) {
	r := m.rockets[s.Rocket]
	if r == nil {
		if len(m.rockets) >= mergeRockets {
			return true // more rockets than any field holds: let them through
		}
		r = &mergedRocket{name: s.Rocket}
		for i := range r.chains {
			r.chains[i] = -1
		}
		m.rockets[s.Rocket] = r
	}
	l := r.link(s.Link)
	if l == nil {
		return true
	}
	l.last = s.Heard
	if s.Seq < 0 && s.Clock < 0 {
		return r.choose(l, s.Heard)
	}
	key := messageKey{s.Seq, s.Clock, s.Boot}
	if m := r.find(key); m != nil {
		r.again(m, l, s)
		s.At = s.At.Add(-l.shift)
		return false
	}
	if r.total.tooOld(s.Boot, s.Seq) {
		return false // whether it is a copy is forgotten; it is of no use now
	}
	r.put(key, l, s)
	if s.Part == 0 || s.Seq >= 0 { // a message is counted once, however many readings it holds
		r.total.Add(s.Boot, s.Seq)
		l.count.Add(s.Boot, s.Seq)
	}
	s.At = s.At.Add(-l.shift)
	return true
}

// Forget drops what is remembered of a rocket.
func (m *Merger) Forget(rocket string) { delete(m.rockets, rocket) }

// Counts lists every rocket, in order of name.
func (m *Merger) Counts() []Merged {
	var out []Merged
	for _, r := range m.rockets {
		c := Merged{Rocket: r.name, Heard: r.total.Heard(), Lost: r.total.Lost()}
		for _, l := range r.links {
			c.Links = append(c.Links, Loss{Link: l.name, Rocket: r.name, Heard: l.count.Heard(), Lost: l.count.Lost(), Twice: l.twice})
		}
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Merged) int { return strings.Compare(a.Rocket, b.Rocket) })
	return out
}

// link finds or adds a link; nil if there are too many.
func (r *mergedRocket) link(name string) *mergedLink {
	for _, l := range r.links {
		if l.name == name {
			return l
		}
	}
	if len(r.links) >= mergeLinks {
		return nil
	}
	l := &mergedLink{name: name, index: uint8(len(r.links)), known: len(r.links) == 0}
	r.links = append(r.links, l)
	return l
}

// chain is the hash of a key: neighbours in sequence fall into different ones.
func (k messageKey) chain() int {
	h := uint64(k.seq)*0x9E3779B97F4A7C15 ^ uint64(k.clock)*0xC2B2AE3D27D4EB4F ^ uint64(k.boot)
	return int((h >> 32) % mergeWindow)
}

// find gives the message of a key, nil if it is not remembered.
func (r *mergedRocket) find(key messageKey) *mergedMessage {
	for i := r.chains[key.chain()]; i >= 0; i = r.ring[i].older {
		if r.ring[i].key == key {
			return &r.ring[i]
		}
	}
	return nil
}

// put remembers a message in place of the oldest.
func (r *mergedRocket) put(key messageKey, l *mergedLink, s *Sample) {
	at := int16(r.next)
	if r.next == len(r.ring) {
		r.ring = append(r.ring, mergedMessage{})
	}
	m := &r.ring[at]
	if m.used {
		// The oldest is the last of its chain.
		i := &r.chains[m.key.chain()]
		for *i != at {
			i = &r.ring[*i].older
		}
		*i = -1
	}
	chain := &r.chains[key.chain()]
	*m = mergedMessage{key: key, used: true, older: *chain, link: l.index, heard: 1 << l.index, at: s.At.UnixNano()}
	*chain = at
	r.next = (r.next + 1) % mergeWindow
}

// again notes a further copy of a message.
func (r *mergedRocket) again(m *mergedMessage, l *mergedLink, s *Sample) {
	if m.heard&(1<<l.index) != 0 {
		l.twice++
		return
	}
	m.heard |= 1 << l.index
	if s.Part == 0 || s.Seq >= 0 {
		l.count.Add(s.Boot, s.Seq)
	}
	switch won := r.links[m.link]; r.links[0] {
	case won:
		l.learnShift(time.Duration(s.At.UnixNano() - m.at))
	case l:
		won.learnShift(time.Duration(m.at - s.At.UnixNano()))
	}
}

func (l *mergedLink) learnShift(d time.Duration) {
	if !l.known {
		l.known, l.shift = true, d
		return
	}
	l.shift += (d - l.shift) / shiftPart
}

// choose says whether to listen to a link's frames that nothing identifies:
// one link at a time, another one only when that is silent.
func (r *mergedRocket) choose(l *mergedLink, heard time.Time) bool {
	if r.choice == nil || r.choice != l && heard.Sub(r.choice.last) > preferNs {
		r.choice = l
	}
	return r.choice == l
}
