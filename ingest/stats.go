package ingest

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"sync"
	"time"
)

const (
	rejectsKept  = 16 // last rejected pieces that a link keeps
	rejectBytes  = 64 // first bytes of each that are kept
	reasonsKept  = 64 // different reasons counted apart; more go to reasonOther
	reasonOther  = "other"
	rateBucket   = 500 * time.Millisecond
	rateBuckets  = 11   // the rate is over the ten whole ones: the last 5 s
	guestsKept   = 4096 // ids that nobody configured, told apart
	guestAge     = time.Minute
	hintOutcomes = 64 // recent frames and rejects that the hint looks at
)

// Rejected is a piece of a link's bytes that was not a good frame.
type Rejected struct {
	Reason string    `json:"reason"`
	At     time.Time `json:"at"`
	// Length is how many bytes the piece had, Offset where it began in its
	// stream; -1 if the decoder rejected a frame.
	Length int   `json:"length"`
	Offset int64 `json:"offset"`
	// Bytes are the first 64 at most.
	Bytes HexBytes `json:"hex"`
	// Detail says what exactly was wrong, as the decoder told it; may be empty.
	Detail string `json:"detail,omitempty"`
}

// HexBytes are written in JSON as pairs of hex digits.
type HexBytes []byte

// MarshalJSON writes a string of hex digits.
func (h HexBytes) MarshalJSON() ([]byte, error) { return json.Marshal(hex.EncodeToString(h)) }

// UnmarshalJSON reads such a string.
func (h *HexBytes) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("read hex: %w", err)
	}
	out, err := hex.DecodeString(s)
	if err != nil {
		return fmt.Errorf("read hex: %w", err)
	}
	*h = out
	return nil
}

// Health is how a link is at one moment.
type Health struct {
	Link string    `json:"link"`
	Kind string    `json:"kind"`
	At   time.Time `json:"at"`
	// State and Words are the link's state; Hint is what padlark makes of what
	// it hears, such as a wrong baud rate, and is empty if all is well.
	State string `json:"state"`
	Words string `json:"words"`
	Hint  string `json:"hint,omitempty"`
	// Bytes and Frames count from the start of the session. Frames are those
	// that framing found, whether or not the decoder could read them.
	Bytes  uint64 `json:"bytes"`
	Frames uint64 `json:"frames"`
	// Refused are those of them that the decoder could not read.
	Refused uint64 `json:"refused"`
	// Bad counts dropped pieces and frames that the decoder rejected, by reason.
	Bad map[string]uint64 `json:"bad"`
	// Guests is how many ids that nobody configured were heard over the last
	// minute; no more than some thousands are told apart.
	Guests int `json:"guests,omitempty"`
	// Gaps is how many frames are missing in the senders' own numbering.
	Gaps uint64 `json:"gaps"`
	// RateHz is frames a second over the last 5 s.
	RateHz float64 `json:"rate_hz"`
	// LastHeard is when the last byte came, nil if none has.
	LastHeard *time.Time `json:"last_heard"`
	// Restarts is how often the link was lost and came back.
	Restarts uint64 `json:"restarts"`
	// Rejected are the last 16 pieces counted in Bad, oldest first.
	Rejected []Rejected `json:"rejected"`
}

// BadTotal is the sum of Bad.
func (h Health) BadTotal() uint64 {
	var n uint64
	for _, c := range h.Bad {
		n += c
	}
	return n
}

// Stats counts what a link does. Its methods are safe for concurrent use.
type Stats struct {
	clock  Clock
	kind   string
	name   string
	source source

	mu       sync.Mutex
	state    LinkState
	bytes    uint64
	frames   uint64
	refused  uint64
	bad      map[string]uint64
	gaps     uint64
	guests   map[uint32]time.Duration // when each was heard last
	heard    bool
	last     time.Duration
	restarts uint64
	opened   bool
	rejected [rejectsKept]Rejected
	next     uint64 // rejects ever put into the ring
	rate     rateWindow
	hint     hintWindow
}

// newStats makes the counters of one link.
func newStats(name, kind string, clock Clock, src source) *Stats {
	return &Stats{
		clock: clock, name: name, kind: kind, source: src,
		bad: map[string]uint64{}, guests: map[uint32]time.Duration{},
		state: LinkState{State: StateWaiting, Words: "not opened yet"},
	}
}

// setState notes the link's state; changed says whether the one word differs.
func (s *Stats) setState(st LinkState) (changed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	changed = st.State != s.state.State
	if changed && st.State == StateUp {
		if s.opened {
			s.restarts++
		}
		s.opened = true
	}
	s.state = st
	return changed
}

func (s *Stats) addChunk(c Chunk) {
	if len(c.Bytes) == 0 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bytes += uint64(len(c.Bytes))
	s.heard, s.last = true, max(s.last, c.Heard)
	s.hint.addBytes(c.Bytes)
}

func (s *Stats) addFrame(heard time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.frames++
	s.rate.add(heard)
	s.hint.addFrame()
}

func (s *Stats) addReject(r Reject, at time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reject(Rejected{Reason: r.Reason, At: s.clock.At(at), Length: r.Length, Offset: r.Offset, Bytes: r.Bytes})
	s.hint.addReject()
}

// addApart counts what the link does not take whatever it holds, such as what came
// from an address that it does not know. It says nothing about what the others send,
// so no hint comes of it.
func (s *Stats) addApart(reason string, b []byte, at time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reject(Rejected{Reason: reason, At: s.clock.At(at), Length: len(b), Offset: -1, Bytes: b})
}

// AddBad counts a frame that the decoder could not read, and keeps its bytes
// to be looked at. detail says what exactly was wrong; may be empty.
func (s *Stats) AddBad(reason, detail string, f Frame) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reject(Rejected{Reason: reason, At: f.Heard, Length: len(f.Bytes), Offset: -1, Bytes: f.Bytes, Detail: detail})
	s.refused++
	s.hint.spoilFrame(detail)
}

// AddDropped counts a frame that is kept nowhere, which AddBad has counted
// already.
func (s *Stats) AddDropped(reason string, f Frame) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reject(Rejected{Reason: reason, At: f.Heard, Length: len(f.Bytes), Offset: -1, Bytes: f.Bytes})
}

// AddRefused counts a value that was refused in a frame that is good otherwise,
// under its field's name.
func (s *Stats) AddRefused(field string, f Frame) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reject(Rejected{Reason: "impossible " + field, At: f.Heard, Length: len(f.Bytes), Offset: -1, Bytes: f.Bytes})
}

// AddGuest notes an id that nobody configured.
func (s *Stats) AddGuest(id uint32) {
	now := s.clock.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, known := s.guests[id]; known || len(s.guests) < guestsKept {
		s.guests[id] = now
	}
}

// AddGap counts frames that are missing in a sender's numbering.
func (s *Stats) AddGap(missing uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.gaps += missing
}

// reject keeps a copy of the first bytes in the oldest place of the ring.
func (s *Stats) reject(r Rejected) {
	if _, known := s.bad[r.Reason]; !known && len(s.bad) >= reasonsKept {
		s.bad[reasonOther]++
	} else {
		s.bad[r.Reason]++
	}
	slot := &s.rejected[s.next%rejectsKept]
	r.Bytes = append(slot.Bytes[:0], r.Bytes[:min(len(r.Bytes), rejectBytes)]...)
	*slot = r
	s.next++
}

// Health is a snapshot that the caller owns.
func (s *Stats) Health() Health {
	now := s.clock.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	maps.DeleteFunc(s.guests, func(_ uint32, last time.Duration) bool { return now-last > guestAge })
	h := Health{
		Link: s.name, Kind: s.kind, At: s.clock.At(now), State: s.state.State, Words: s.state.Words,
		Bytes: s.bytes, Frames: s.frames, Refused: s.refused, Bad: maps.Clone(s.bad), Gaps: s.gaps,
		RateHz: s.rate.hz(now), Restarts: s.restarts, Guests: len(s.guests),
		Rejected: make([]Rejected, 0, rejectsKept),
	}
	if s.heard {
		at := s.clock.At(s.last)
		h.LastHeard = &at
	}
	if s.state.State == StateUp {
		h.Hint = s.hint.words(s.source)
	}
	for i := s.next - min(s.next, rejectsKept); i < s.next; i++ {
		r := s.rejected[i%rejectsKept]
		r.Bytes = append(HexBytes{}, r.Bytes...)
		h.Rejected = append(h.Rejected, r)
	}
	return h
}

// rateWindow counts frames in the last few half seconds.
type rateWindow struct {
	counts [rateBuckets]uint32
	bucket int64 // the number of the newest bucket
	first  int64
	begun  bool
}

func (w *rateWindow) add(at time.Duration) {
	w.turn(at)
	w.counts[w.bucket%rateBuckets]++
}

// turn makes the bucket that holds at the newest one.
func (w *rateWindow) turn(at time.Duration) {
	b := max(int64(at/rateBucket), 0)
	if !w.begun {
		w.begun, w.first, w.bucket = true, b, b
	}
	if b-w.bucket >= rateBuckets {
		w.counts = [rateBuckets]uint32{}
		w.bucket = b
	}
	for w.bucket < b {
		w.bucket++
		w.counts[w.bucket%rateBuckets] = 0
	}
}

// hz is the rate over the whole buckets before the present one, or over what
// there is if the link has only just begun.
func (w *rateWindow) hz(now time.Duration) float64 {
	if !w.begun {
		return 0
	}
	w.turn(now)
	var n uint64
	whole := min(w.bucket-w.first, rateBuckets-1)
	for b := w.bucket - whole; b < w.bucket; b++ {
		n += uint64(w.counts[b%rateBuckets])
	}
	if whole == 0 {
		return 0
	}
	return float64(n) / (float64(whole) * rateBucket.Seconds())
}
