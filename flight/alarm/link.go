package alarm

import (
	"fmt"
	"math"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/phrase"
)

// linkStats sums up what the link heard of one board: losses over the last
// seconds, signal, and the tracks on which its clock runs.
type linkStats struct {
	buckets [lossSeconds]bucket
	seq     int64
	boot    uint32
	started bool
	rssi    smoothed
	gap     smoothed // mean time between frames, s
	tracks  [2]track
	newest  int // index of the track of the newest sample
	n       int // tracks in use
	// flips are the times of the last signs of a second board: changes back to
	// the other track, numbers that come twice.
	flips  [flipRing]float64
	nFlips int
	jumpS  float64 // size of the last jump, s
	jumps  int
	// ways are the newest frames of the links that carried it last.
	ways    [4]wayEnd
	nextWay int
	// recent are the numbers of the newest frames.
	recent     [16]numbered
	nextRecent int
}

// lossSeconds is over how long losses are counted, in s; flipRing how many
// changes of track are remembered.
const (
	lossSeconds = 10
	flipRing    = 4
)

// bucket counts the frames of one second.
type bucket struct {
	second      int64
	heard, lost int
}

// track is one board's clock as heard here: heard minus clock, in s.
type track struct {
	offset float64
	from   float64 // when it began, or was come back to
	at     float64 // of its newest frame
	boot   uint32
}

// add takes the sample at hand.
func (l *linkStats) add(v *view) {
	s := v.s
	if s.RSSI != nil && !math.IsNaN(*s.RSSI) {
		l.rssi.add(v.t, *s.RSSI, 2)
	} else if !math.IsNaN(v.rssi) {
		l.rssi.add(v.t, v.rssi, 2)
	}
	if !math.IsNaN(v.prior) {
		l.gap.add(v.t, v.t-v.prior, 2)
	}
	sec := int64(v.t)
	b := &l.buckets[int(sec%lossSeconds)]
	if b.second != sec {
		*b = bucket{second: sec}
	}
	b.heard++
	if s.Seq >= 0 {
		gap := s.Seq - l.seq - 1
		if l.started && s.Boot == l.boot && gap > 0 && gap < 1000 {
			l.spread(v, int(gap))
		}
		if !l.started || s.Seq > l.seq || s.Boot != l.boot {
			l.seq = s.Seq
		}
	}
	if s.Seq >= 0 && s.Clock >= 0 {
		l.doubles(v.t, s.Boot, s.Seq, s.Clock)
	}
	l.started, l.boot = true, s.Boot
	if s.Clock >= 0 {
		l.follow(v.t, v.t-float64(s.Clock)*1e-6, s.Boot, l.signs(s))
	}
}

// wayEnd is the newest frame on one link.
type wayEnd struct {
	used  bool
	link  string
	boot  uint32
	clock int64
}

// signs says how strongly a frame speaks for a second board if its clock is on
// a track that was left. Late frames do not: a link that is read late and then
// in a burst shows a clock that lags and catches up, but on one link it never
// goes back. Two boards' does at each second change, so that counts twice. The
// boot number of one board does not come back either.
func (l *linkStats) signs(s *decode.Sample) int {
	for i := range l.ways {
		w := &l.ways[i]
		if !w.used || w.link != s.Link {
			continue
		}
		old := *w
		w.boot, w.clock = s.Boot, s.Clock
		switch {
		case s.Boot != old.boot:
			return 1
		case s.Clock < old.clock:
			return 2
		}
		return 0
	}
	l.ways[l.nextWay] = wayEnd{used: true, link: s.Link, boot: s.Boot, clock: s.Clock}
	l.nextWay = (l.nextWay + 1) % len(l.ways)
	return 0
}

// spread files lost frames under the seconds in which they were lost.
func (l *linkStats) spread(v *view, gap int) {
	from := v.prior
	if math.IsNaN(from) || v.t-from > lossSeconds {
		from = v.t - lossSeconds + 1
	}
	secs := int(int64(v.t)-int64(from)) + 1
	for i := 0; i < secs; i++ {
		sec := int64(v.t) - int64(i)
		if sec < 0 {
			break
		}
		b := &l.buckets[int(sec%lossSeconds)]
		if b.second != sec {
			*b = bucket{second: sec}
		}
		share := gap / secs
		if i < gap%secs {
			share++
		}
		b.lost += share
	}
}

// loss is the share of frames lost over the last seconds, and how many were
// sent.
func (l *linkStats) loss(t float64) (share float64, sent int) {
	lost := 0
	for _, b := range l.buckets {
		if int64(t)-b.second < lossSeconds {
			lost += b.lost
			sent += b.lost + b.heard
		}
	}
	if sent == 0 {
		return 0, 0
	}
	return float64(lost) / float64(sent), sent
}

// Clocks of one board agree within sameTrack, s: jitter of the way and of
// merged links. Beyond that it is a jump, a new start, or another board.
const sameTrack = 0.2

// steady is how long a clock must have run before a jump forward is believed, in
// s: longer than a burst of frames that were read late.
const steady = 2

// follow files the sample under the track of clock that it continues; signs
// says what it means if that is one that was left.
func (l *linkStats) follow(t, offset float64, boot uint32, signs int) {
	near := func(i int) bool { return i < l.n && math.Abs(l.tracks[i].offset-offset) < sameTrack }
	cur := &l.tracks[l.newest]
	switch other := 1 - l.newest; {
	case near(l.newest):
		cur.offset += (offset - cur.offset) * 0.05
		cur.at, cur.boot = t, boot
	case l.n == 2 && near(other) && t-l.tracks[other].at < 10:
		// Back on a track that was left: no start and no jump does that.
		back := &l.tracks[other]
		back.from, back.at, back.boot = t, t, boot
		l.newest = other
		for range signs {
			l.flip(t)
		}
	default:
		if l.n > 0 && boot == cur.boot {
			// A clock that gains was perhaps only heard late before, unless it
			// was heard so for a while.
			if l.jumpS = cur.offset - offset; l.jumpS < 0 || cur.at-cur.from > steady {
				l.jumps++
			}
		}
		if l.n > 0 {
			l.newest = other
		}
		l.tracks[l.newest] = track{offset: offset, from: t, at: t, boot: boot}
		l.n = min(2, l.n+1)
	}
}

// doubles notices a number that was heard before with another clock: two boards
// that were switched on together run on one track, but each counts for itself.
func (l *linkStats) doubles(t float64, boot uint32, seq, clock int64) {
	for i := range l.recent {
		if r := &l.recent[i]; r.used && r.boot == boot && r.seq == seq && r.clock != clock {
			l.flip(t)
			break
		}
	}
	l.recent[l.nextRecent] = numbered{used: true, boot: boot, seq: seq, clock: clock}
	l.nextRecent = (l.nextRecent + 1) % len(l.recent)
}

// numbered is a frame by its own numbers.
type numbered struct {
	used       bool
	boot       uint32
	seq, clock int64
}

// flip notes one sign of a second board.
func (l *linkStats) flip(t float64) {
	copy(l.flips[1:], l.flips[:flipRing-1])
	l.flips[0] = t
	l.nFlips++
}

// twins says whether the clock has gone back and forth between two tracks
// often enough within 10 s to be that of two boards.
func (l *linkStats) twins(t float64) bool {
	return l.nFlips >= flipRing && t-l.flips[flipRing-1] < 10
}

// losses: many frames are lost.
type losses struct {
	gate  gate
	share float64
}

func (r *losses) check(v *view) cond {
	if !v.fresh || v.t-v.first < 5 {
		return unsure
	}
	share, sent := v.self.link.loss(v.t)
	if v.self.link.twins(v.t) {
		return unsure // two boards' numbers: the gaps mean nothing
	}
	r.share = share
	limit := v.limits.LossShare
	if r.gate.state {
		limit *= 0.7
	}
	return r.gate.step(v.t, sent >= 30 && share > limit, 1, 3)
}

func (r *losses) words(v *view) words {
	return words{prioKnow, v.tell("losses.say"), v.tell("losses", percent("share", r.share), seconds("within", lossSeconds, 0), phrase.Word("link", v.link))}
}

// weakSignal: the signal is so weak that losses are near.
type weakSignal struct{ gate gate }

func (r *weakSignal) check(v *view) cond {
	l := &v.self.link
	if !v.fresh || !l.rssi.started {
		return unsure
	}
	limit := v.limits.WeakDbm
	if r.gate.state {
		limit += 3
	}
	return r.gate.step(v.t, l.rssi.value < limit, 2, 3)
}

func (r *weakSignal) words(v *view) words {
	return words{prioKnow, v.tell("weak-signal.say"), v.tell("weak-signal", phrase.Qty("signal", v.self.link.rssi.value, 0, "dBm"),
		phrase.Word("link", v.link), phrase.Qty("limit", v.limits.WeakDbm, 0, "dBm"))}
}

// collision: two boards on one link both lose frames while their signals are
// strong: they send over each other.
type collision struct {
	gate  gate
	other string
	mine  float64
	their float64
}

func (r *collision) check(v *view) cond {
	if !v.fresh {
		return unsure
	}
	limit := v.limits.CollisionShare
	if r.gate.state {
		limit *= 0.6
	}
	mine, sent := v.self.link.loss(v.t)
	found := false
	if sent >= 30 && mine > limit && !v.weak() {
		for _, e := range v.book.order {
			if e == v.self || e.view.link != v.link || v.t-e.view.heard > 5 || e.view.weak() {
				continue
			}
			if share, n := e.link.loss(v.t); n >= 30 && share > limit {
				r.other, r.mine, r.their, found = e.name, mine, share, true
				break
			}
		}
	}
	return r.gate.step(v.t, found, 2, 5)
}

// weak says whether the signal explains losses by itself.
func (v *view) weak() bool {
	l := &v.self.link
	return l.rssi.started && l.rssi.value < v.limits.WeakDbm+5
}

func (r *collision) words(v *view) words {
	other := phrase.Word("other", r.other)
	return words{prioAct, v.tell("collision.say", other), v.tell("collision", percent("mine", r.mine), other, percent("theirs", r.their), phrase.Word("link", v.link))}
}

// duplicateID: two boards send under one id.
type duplicateID struct{ until float64 }

func (r *duplicateID) check(v *view) cond {
	if v.fresh && v.self.link.twins(v.t) || v.t-v.self.besideAt < 1 {
		r.until = v.t + 5
	}
	return asCond(v.t < r.until)
}

func (r *duplicateID) words(v *view) words {
	l := &v.self.link
	id := phrase.Word("id", "")
	if v.rocket.ID != nil {
		id.Text = fmt.Sprintf(" %d", *v.rocket.ID)
	}
	say := v.tell("duplicate-id.say")
	if v.t-v.self.besideAt < 1 {
		return words{prioAct, say, v.tell("duplicate-id.apart", id)}
	}
	sign := phrase.Of("duplicate-id.numbers")
	if l.n == 2 {
		sign = phrase.Of("duplicate-id.clocks", seconds("apart", math.Abs(l.tracks[0].offset-l.tracks[1].offset), 1))
	}
	return words{prioAct, say, v.tell("duplicate-id", id, phrase.In("sign", sign))}
}

// clockJump: the board's clock jumped without a new start.
type clockJump struct {
	seen     int
	until    float64
	by       float64
	at       float64 // of the newest jump
	frames   int     // since then
	from, to float64 // offset before the first of them, and the least since, s
	due      bool
}

func (r *clockJump) check(v *view) cond {
	l := &v.self.link
	if v.fresh && v.s.Clock >= 0 {
		r.look(l, v.t, v.t-float64(v.s.Clock)*1e-6)
	}
	// Wait a little: a second board under the same id shows as flips.
	if r.due && v.fresh && r.stands(v.t) {
		r.due = false
		by := r.from - r.to
		if math.Abs(by) >= v.limits.ClockJumpS && (l.nFlips == 0 || v.t-l.flips[0] > 10) {
			r.until, r.by = v.t+10, by
		}
	}
	return asCond(v.t < r.until)
}

// look notes how far the clock has gone from where it was before the first of
// the jumps that are not judged yet. Frames that are read late look like a jump
// back and are soon followed by some that are not: the earliest counts.
func (r *clockJump) look(l *linkStats, t, offset float64) {
	fresh := l.jumps != r.seen
	if fresh && !r.due {
		r.due, r.from, r.to = true, l.tracks[l.newest].offset+l.jumpS, offset
	}
	if fresh {
		r.seen, r.at, r.frames = l.jumps, t, 0
	}
	r.frames++
	r.to = math.Min(r.to, offset)
}

// stands says whether a jump has stood for long enough. Frames that are late look
// like a jump back, never like one forward.
func (r *clockJump) stands(t float64) bool {
	if r.from < r.to {
		return t-r.at > 2 && r.frames > 5
	}
	return t-r.at > 0.3
}

func (r *clockJump) words(v *view) words {
	way := "clock-jump.forward"
	if r.by < 0 {
		way = "clock-jump.back"
	}
	reason := v.tell("clock-jump", phrase.In("way", phrase.Of(way)), seconds("by", math.Abs(r.by), 2))
	if v.phase == flight.Boost || v.phase == flight.Coast || v.phase == flight.Descent {
		reason.Args = append(reason.Args, phrase.In("flying", phrase.Of("clock-jump.flying")))
	}
	return words{prioKnow, v.tell("clock-jump.say"), reason}
}
