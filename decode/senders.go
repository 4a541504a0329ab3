package decode

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// Two senders under one configured id, by accident or not, must not hide each
// other: each that is heard steadily, with a clock or numbers of its own, is
// followed by itself. The one that was there first keeps the rocket's name, a
// second one is called "Teal (2)" and is watched with the same configuration.
//
// A board that starts anew looks the same at first. The difference is that its
// old numbers are over: so while they still come, what has new ones waits as a
// candidate, and its first frames give no samples.

const (
	// maxSenders bounds the senders followed under one id.
	maxSenders = 4
	// steadyFrames are how many frames a candidate must have sent in one run of
	// numbers, meanwhile frames of the others have come, to be a second sender.
	steadyFrames = 3
	meanwhile    = 2
	// candidates are remembered of each stream: half a second of 500 a second.
	candidates = 256
	// Between two frames of one board its clock runs as long as ours does, but for
	// the jitter of the way and a poor oscillator.
	chainSlackNs = 60e6
	chainPart    = 0.03
	// settledFrames make a track one that others cannot push aside.
	settledFrames = 5
	// A sender has fallen silent when it was not heard for two and a half of its
	// usual gaps, but for leastSilence at least and mostSilence at most. A board
	// that starts anew in less loses the samples of the time between.
	leastSilence = int64(250e6)
	mostSilence  = int64(3e9)
	silentGaps   = 5 // halves of a gap
	// forgetNs is how long a sender is unheard before its number is given to
	// another one.
	forgetNs = int64(60e9)
	// onTimeUs is how late a frame may be to speak for its sender's presence.
	onTimeUs = 250e3
)

// OtherSender makes the name under which the n-th sender of a rocket's id is
// followed; the first has the rocket's own.
func OtherSender(rocket string, n int) string {
	if n <= 1 {
		return rocket
	}
	return rocket + " (" + strconv.Itoa(n) + ")"
}

// SenderOf takes such a name apart: the rocket whose id it is, and which sender
// under it. n is 1 where the name is no such name.
func SenderOf(name string) (rocket string, n int) {
	at := strings.LastIndex(name, " (")
	if at <= 0 || !strings.HasSuffix(name, ")") {
		return name, 1
	}
	k, err := strconv.Atoi(name[at+2 : len(name)-1])
	if err != nil || k < 2 || k > maxSenders {
		return name, 1
	}
	return name[:at], k
}

// isOurs says whether a rocket is configured: by its id, or by the link's name
// for it. Of strangers' ids nobody knows how many boards there should be.
func (d *Decoder) isOurs(r *rocket) bool {
	_, byID := d.ids[r.name]
	return byID || r.ofLink
}

// live says whether a settled track of the first sender is being heard.
func (r *rocket) live(mono int64) bool {
	for _, st := range r.streams {
		for _, t := range st.tracks {
			if t.isLive(mono) && t.sender == 0 {
				return true
			}
		}
	}
	return false
}

func (t *track) isLive(mono int64) bool {
	return !t.pending && t.frames >= settledFrames && mono-t.heard <= min(max(silentGaps*t.gap/2, leastSilence), mostSilence)
}

// elsewhere is the track of another link on which the same boot is heard: then
// a frame is that board's, by another way. Nil if there is none.
func (r *rocket) elsewhere(st *stream, m *ident, mono int64) *track {
	for _, other := range r.streams {
		if other == st || !other.program.clock.is() && other.program != st.program {
			continue
		}
		for _, o := range other.tracks {
			if o.pending || mono-o.heard > lateNs {
				continue
			}
			if _, ok := o.fits(st.program, m, mono); ok {
				return o
			}
		}
	}
	return nil
}

// unsettled says whether a sender that was just begun is not known well yet.
func (r *rocket) unsettled(mono int64) bool {
	for _, st := range r.streams {
		for _, t := range st.tracks {
			if !t.pending && t.sender == 0 && t.frames < settledFrames && mono-t.heard < passingNs {
				return true
			}
		}
	}
	return false
}

// candidate is a frame that belongs to no track.
type candidate struct {
	used             bool
	boot, seq, clock float64 // as sent, NaN if not
	mono             int64
	first            uint64 // frames of the first sender before it
}

// chain notes a frame that belongs to no track, and gives how many before it its
// numbers go on from, and the earliest of those. One board's clock runs as ours
// does, and its numbers rise; what is drawn by chance does neither.
func (st *stream) chain(m *ident, mono int64, first uint64) (n int, from candidate) {
	if st.ring == nil {
		st.ring = make([]candidate, candidates)
	}
	now := candidate{true, m.boot, m.seq, m.clock, mono, first}
	for _, c := range st.ring {
		if !c.used || !c.leads(&now, st.program) {
			continue
		}
		if n == 0 || c.mono < from.mono {
			from = c
		}
		n++
	}
	st.ring[st.next] = now
	st.next = (st.next + 1) % candidates
	return n, from
}

// leads says whether a later frame can be of the same board.
func (c *candidate) leads(to *candidate, p *Program) bool {
	elapsed := float64(to.mono - c.mono)
	if elapsed <= 0 || elapsed > float64(lateNs) || c.boot != to.boot && !math.IsNaN(c.boot+to.boot) {
		return false
	}
	step := func(a, b float64, wrap float64) float64 {
		if d := b - a; d >= 0 || wrap <= 0 {
			return d
		}
		return b - a + wrap
	}
	if !math.IsNaN(c.seq + to.seq) {
		if d := step(c.seq, to.seq, p.seq.wrap); d <= 0 || d > seqSlack+elapsed*1e-9*maxRateHz {
			return false
		}
	}
	if math.IsNaN(c.clock + to.clock) {
		return true
	}
	ran := p.clock.conv.apply(step(c.clock, to.clock, p.clock.wrap)) * 1e3
	return math.Abs(ran-elapsed) < chainSlackNs+chainPart*elapsed
}

// another judges a frame that belongs to no track while the first sender is
// heard, or nobody is known yet: whether it may be taken now, and for whom.
func (r *rocket) another(st *stream, m *ident, mono int64, live bool) (sender int, ok bool) {
	n, from := st.chain(m, mono, r.first)
	switch {
	case n < steadyFrames-1:
		return 0, false
	case !live:
		return 0, true
	case r.first-from.first < meanwhile:
		return 0, false
	}
	sender = r.freeSender(mono)
	return sender, sender > 0 // or there are too many already
}

// returned looks whether a boot that was thought over goes on beside one that
// was taken for its successor: then the later of the two is another sender, and
// gets a name of its own.
func (r *rocket) returned(t *track, at place, mono int64) {
	if t.sender != 0 || t.boot == r.boot || at.clock >= 0 && t.cmap.deviceAt(mono)-float64(at.clock) > onTimeUs {
		t.back = 0
		return
	}
	if t.back++; t.back < steadyFrames || t.frames < settledFrames {
		return
	}
	t.back = 0
	boot, at0 := t.boot, t.begun
	for _, st := range r.streams {
		for _, u := range st.tracks {
			if u.sender == 0 && u.isLive(mono) && (u.begun < at0 || u.begun == at0 && u.boot < boot) {
				boot, at0 = u.boot, u.begun
			}
		}
	}
	// All that are heard beside the first of them are others, boot by boot.
	names := map[uint32]int{}
	for _, st := range r.streams {
		for _, u := range st.tracks {
			if u.sender != 0 || u.boot == boot || u != t && !u.isLive(mono) {
				continue
			}
			n, ok := names[u.boot]
			if !ok {
				if n = r.freeSender(mono); n == 0 {
					n = maxSenders // nobody's
				}
				names[u.boot] = n
			}
			u.sender = n
		}
	}
	r.boot = boot
}

// freeSender is the number of a sender that is not heard, 0 if all are.
func (r *rocket) freeSender(mono int64) int {
	var taken [maxSenders + 1]bool
	for _, st := range r.streams {
		for _, t := range st.tracks {
			if !t.pending && mono-t.heard < forgetNs {
				taken[t.sender] = true
			}
		}
	}
	for n := 1; n < maxSenders; n++ {
		if !taken[n] {
			return n
		}
	}
	return 0
}

// makeRoom takes the track away that can best be spared: a candidate, or else
// the one longest unheard.
func (st *stream) makeRoom() {
	if len(st.tracks) < maxTracks {
		return
	}
	last := len(st.tracks) - 1
	for i := last; i >= 0; i-- {
		if st.tracks[i].pending {
			last = i
			break
		}
	}
	st.tracks = slices.Delete(st.tracks, last, last+1)
}
