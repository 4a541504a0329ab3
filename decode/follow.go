package decode

import (
	"math"
	"slices"
)

// follow finds the boot that a frame belongs to, moves it on, and writes boot,
// seq and clock into the sample. It gives the measuring time in ns of
// monotonic time.
//
// Two boards with the same id are kept apart as far as their clocks and
// sequences can be told apart: each gets a boot number of its own, and the
// samples alternate between the two. That is left for the alarms to see.
func (d *Decoder) follow(r *rocket, st *stream, m *ident, mono int64, s *Sample) (int64, *Reject) {
	if math.IsNaN(m.boot) && math.IsNaN(m.seq) && math.IsNaN(m.clock) {
		// The frame tells nothing of its boot: it is of the newest, or of the
		// first that is still to be heard.
		r.boot = max(r.boot, 1)
		s.Boot = r.boot
		return mono, nil
	}
	t, at := st.find(m, mono)
	if t == nil && d.isOurs(r) && r.elsewhere(st, m, mono) == nil && !st.wasSet(m, mono) {
		live := r.live(mono)
		if live || r.unsettled(mono) {
			sender, ok := r.another(st, m, mono, live)
			if !ok {
				return 0, st.program.besides()
			}
			t, at = st.begin(m, mono)
			t.sender = sender
			d.number(r, st, t, m, mono, &at)
			return d.accept(r, st, t, at, mono, s)
		}
	}
	switch {
	case t == nil && st.program.guarded(), t == nil && len(st.tracks) == 0:
		t, at = st.begin(m, mono)
		d.number(r, st, t, m, mono, &at)
	case t == nil:
		// Nothing protects the frame, so a damaged digit may look like a
		// reboot. The next frame will tell.
		st.tracks = slices.DeleteFunc(st.tracks, func(t *track) bool { return t.pending })
		t, at = st.begin(m, mono)
		t.pending = true
		t.accept(at, mono)
		return 0, st.program.reject(Corrupt, ReasonClockJump, FieldClock, -1, "clock or sequence do not follow on, and there is no checksum; the next frame decides")
	case t.pending && d.isOurs(r) && r.live(mono) && st.setFrom(t, m) == nil:
		// It seemed that the clock was set; but the board goes on by the old one.
		return 0, st.program.besides()
	case t.pending:
		t.pending = false
		d.number(r, st, t, m, mono, &at)
	default:
		r.returned(t, at, mono)
	}
	return d.accept(r, st, t, at, mono, s)
}

// accept takes a frame that belongs to a track.
func (d *Decoder) accept(r *rocket, st *stream, t *track, at place, mono int64, s *Sample) (int64, *Reject) {
	switch t.sender {
	case 0:
		r.first++
	case maxSenders:
		t.accept(at, mono)
		return 0, st.program.besides()
	}
	s.Rocket = OtherSender(r.name, t.sender+1)
	st.toFront(t)
	d.gap = t.accept(at, mono)
	s.Boot, s.Seq, s.Clock = t.boot, at.seq, at.clock
	if at.clock < 0 {
		return mono, nil
	}
	return t.cmap.at(at.clock), nil
}

// find looks for the track that the frame belongs to.
func (st *stream) find(m *ident, mono int64) (*track, place) {
	for i, t := range st.tracks {
		if i > 0 && !t.pending && mono-t.heard > lateNs {
			continue // a boot that is over
		}
		if at, ok := t.fits(st.program, m, mono); ok {
			return t, at
		}
	}
	return nil, place{}
}

// besides rejects a candidate's frame.
func (p *Program) besides() *Reject {
	if !p.guarded() {
		return p.reject(Corrupt, ReasonClockJump, FieldClock, -1, "clock or sequence do not follow on, and there is no checksum; the next frames decide")
	}
	return p.reject(Unknown, ReasonBeside, FieldRocket, -1, "the numbers are not those of the board that is being heard under this id: it has started anew, or a second board sends the same id; the next frames decide")
}

// begin starts a track at a frame, with the skew that the board had before.
func (st *stream) begin(m *ident, mono int64) (*track, place) {
	t := &track{rawBoot: m.boot, heard: mono, begun: mono, seq: -1, clock: -1}
	at := place{seq: -1, clock: -1}
	if !math.IsNaN(m.seq) {
		at.seq = int64(m.seq)
	}
	if !math.IsNaN(m.clock) {
		at.clock = clockUs(st.program, m.clock)
		t.clock = at.clock
		t.cmap = newClockMap(at.clock, mono, st.mapBefore(t))
	}
	st.makeRoom()
	st.tracks = append(st.tracks, t)
	return t, at
}

// number gives a new track its boot number: that of the same boot heard on
// another link, or what the board says, or one more than the newest.
func (d *Decoder) number(r *rocket, st *stream, t *track, m *ident, mono int64, at *place) {
	if boot, ok := r.adopt(st, t, m, mono, at); ok {
		t.boot = boot
		return
	}
	if before := st.setFrom(t, m); before != nil {
		t.boot = before.boot
		return
	}
	boot := r.boot + 1
	if !r.heard {
		boot = 1
	}
	if !math.IsNaN(m.boot) {
		if told, ok := st.told(t, m.boot); ok && (!r.heard || told > r.boot) {
			boot = told
		}
	}
	t.boot = boot
	r.heard = true
	if t.sender == 0 {
		r.boot = max(r.boot, boot)
	}
}

// leastSetUs is how far ahead a clock must leap to be taken for one that was
// set, as by a first GPS fix: a start of the board only takes it back.
const leastSetUs = int64(3600e6)

// setFrom is the track that a new one goes on with after the board's clock was
// set; nil if it is none. The frames must come on, and their numbers, if they
// have any.
func (st *stream) setFrom(t *track, m *ident) *track {
	if t.clock < 0 {
		return nil
	}
	for _, b := range st.tracks {
		if b == t || b.pending || b.clock < 0 {
			continue
		}
		same := b.rawBoot == m.boot || math.IsNaN(b.rawBoot) && math.IsNaN(m.boot)
		if !same || t.clock-b.clock < leastSetUs || t.heard-b.heard > lateNs || b.heard > t.begun {
			return nil
		}
		if t.seq >= 0 && b.seq >= 0 {
			step := t.seq + b.seqBase - b.seq
			if w := int64(st.program.seq.wrap); w > 0 {
				step = modulo(step, w)
			}
			if step < 1 || step > contiguous {
				return nil
			}
		}
		return b
	}
	return nil
}

// wasSet says whether a frame that belongs to no track may be of a board whose
// clock has just been set.
func (st *stream) wasSet(m *ident, mono int64) bool {
	if math.IsNaN(m.clock) {
		return false
	}
	t := &track{rawBoot: m.boot, heard: mono, begun: mono, seq: -1, clock: clockUs(st.program, m.clock)}
	if !math.IsNaN(m.seq) {
		t.seq = int64(m.seq)
	}
	return st.setFrom(t, m) != nil
}

// told is the boot number that the board's counter means, if that is a step
// forward from the boot before.
func (st *stream) told(t *track, raw float64) (uint32, bool) {
	w := st.program.boot.wrap
	for _, before := range st.tracks {
		if before == t || before.pending {
			continue
		}
		step := raw - before.rawBoot
		if w > 0 && step < 0 {
			step += w
		}
		boot := float64(before.boot) + step
		return uint32(min(boot, math.MaxUint32)), step > 0 && (w == 0 || step <= w/2)
	}
	return uint32(raw), true
}

// adopt looks whether another link hears the same boot already, and takes over
// its number, its turns of the clock and, for the same layout, of the
// sequence.
func (r *rocket) adopt(st *stream, t *track, m *ident, mono int64, at *place) (uint32, bool) {
	for _, other := range r.streams {
		if other == st || !other.program.clock.is() && other.program != st.program {
			continue
		}
		for i, o := range other.tracks {
			if o.pending || i > 0 && mono-o.heard > lateNs {
				continue
			}
			there, ok := o.fits(st.program, m, mono)
			if !ok || st.uses(o.boot, t) {
				continue
			}
			if there.clock >= 0 && at.clock >= 0 {
				turns := there.clock - at.clock
				t.cmap.clock0 += turns
				t.clock += turns
				at.clock = there.clock
			}
			if other.program == st.program && there.seq >= 0 {
				if t.seq >= 0 {
					t.seq += there.seq - at.seq
				}
				at.seq, at.base = there.seq, there.base
			}
			t.sender = o.sender
			return o.boot, true
		}
	}
	return 0, false
}

// uses says whether another track of the stream has the boot number.
func (st *stream) uses(boot uint32, t *track) bool {
	return slices.ContainsFunc(st.tracks, func(x *track) bool { return x != t && !x.pending && x.boot == boot })
}

// mapBefore is the clock map of the boot heard last before t.
func (st *stream) mapBefore(t *track) *clockMap {
	for _, b := range st.tracks {
		if b != t && b.clock >= 0 && !b.pending {
			return &b.cmap
		}
	}
	return nil
}

func (st *stream) toFront(t *track) {
	i := slices.Index(st.tracks, t)
	copy(st.tracks[1:i+1], st.tracks[:i])
	st.tracks[0] = t
}
