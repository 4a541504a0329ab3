package web

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
)

// A page that asks for changes gets of each rocket and link only the fields that
// are new to it, no finer than it shows them: with eight rockets that is a tenth
// of the whole states, and a phone on the edge of the field keeps up.

// groundEvery is how often the numbers of a rocket on the ground are told: there
// they are noise. What a person waits for is told at once.
const groundEvery = 500 * time.Millisecond

// rawFrames is how many raw frames an update tells at most; who reads bytes reads
// a few a second.
const (
	rawFrames = 2
	decodedIn = 400 * time.Millisecond // a frame that has no sample by then gets none
)

// field is one member of a JSON object and the version at which it changed.
type field struct {
	name    string
	value   json.RawMessage
	version uint64
	news    bool // a person waits for it
}

// changing is a JSON object whose fields change one by one.
type changing struct {
	version uint64 // of what the fields were made from
	fields  []field
}

// set takes new values, in the order and by the names of the ones before.
func (c *changing) set(version uint64, fields []field) {
	for i := range fields {
		fields[i].version = version
		if len(c.fields) == len(fields) && string(c.fields[i].value) == string(fields[i].value) {
			fields[i].version = c.fields[i].version
		}
	}
	c.version, c.fields = version, fields
}

// since writes the fields that changed after a version, behind the one that names
// the object; nil if none has.
func (c *changing) since(after uint64, key, name string) json.RawMessage {
	var b []byte
	for i := range c.fields {
		f := &c.fields[i]
		if f.version <= after {
			continue
		}
		if b == nil {
			b = append(strconv.AppendQuote([]byte{'{'}, key), ':')
			b = append(b, encode(name)...)
		}
		b = append(strconv.AppendQuote(append(b, ','), f.name), ':')
		b = append(b, f.value...)
	}
	if b == nil {
		return nil
	}
	return append(b, '}')
}

// newsSince says whether something that a person waits for changed.
func (c *changing) newsSince(after uint64) bool {
	for i := range c.fields {
		if c.fields[i].news && c.fields[i].version > after {
			return true
		}
	}
	return false
}

// cursor is how far one viewer of changes has come.
type cursor struct {
	seen, ground uint64
	groundAt     time.Time // when the rockets on the ground were told
	frame        uint64    // number of the newest raw frame
}

// changes collects what changed since a viewer looked last. link names the one
// whose refused frames it wants to see.
func (h *hub) changes(c *cursor, link string) picture {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := picture{version: h.version, crowded: h.crowded()}
	due := time.Since(c.groundAt) >= groundEvery
	if h.version > c.seen || due && h.version > c.ground {
		for name, e := range h.rockets {
			if p.crowded && e.guest {
				continue
			}
			if e.brief.version < e.version {
				e.brief.set(e.version, h.briefState(e.state))
			}
			after := c.seen
			if e.state.Phase == flight.Waiting || e.state.Phase == flight.Landed {
				if after = c.ground; !due && !e.brief.newsSince(c.seen) {
					continue
				}
			}
			if b := e.brief.since(after, "rocket", name); b != nil {
				p.states = append(p.states, b)
			}
		}
		for name, e := range h.links {
			if e.health == nil {
				continue
			}
			if e.brief.version < e.version {
				e.brief.set(e.version, briefHealth(e.health))
			}
			if b := e.brief.since(c.seen, "link", name); b != nil {
				p.links = append(p.links, b)
			}
			if e.version > c.seen && name == link {
				p.links = append(p.links, append(append([]byte(`{"link":`), encode(name)...), append(append([]byte(`,"rejected":`), encode(e.health.Rejected)...), '}')...))
			}
		}
		h.newsSince(c.seen, &p)
	}
	if due {
		c.ground, c.groundAt = h.version, time.Now()
	}
	c.seen = h.version
	return p
}

// rawSince gives the newest frames of a link that a viewer has not seen and that
// the decoder has spoken of, oldest first, at most rawFrames.
func (h *hub) rawSince(link string, c *cursor, now time.Time) (frames []frameEntry, left int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	e := h.links[link]
	if e == nil {
		return nil, 0
	}
	if n := len(e.frames); n > 0 && e.frames[n-1].frame.N < c.frame {
		c.frame = 0 // another session: its frames count anew
	}
	for _, f := range e.frames {
		if f.frame.N > c.frame && (f.sample != nil || now.Sub(f.frame.Heard) >= decodedIn) {
			frames = append(frames, f)
		}
	}
	left = max(0, len(frames)-rawFrames)
	frames = frames[left:]
	if len(frames) > 0 {
		c.frame = frames[len(frames)-1].frame.N
	}
	return frames, left
}

// briefState is what a page shows of a rocket. Its fields are always the same
// ones in one order. Times are in Unix ms.
func (h *hub) briefState(s *flight.State) []field {
	f := make([]field, 0, 26)
	put := func(name string, v json.RawMessage) { f = append(f, field{name: name, value: v}) }
	news := func(name string, v any) { f = append(f, field{name: name, value: encode(v), news: true}) }
	num := func(name string, v *float64, decimals int) { put(name, short64(v, decimals)) }
	at, heard := writable(s.At), writable(s.Heard)
	news("session", s.Session)
	news("link", s.Link)
	news("phase", s.Phase)
	news("flight", s.Flight)
	news("released", s.Released)
	news("armed", s.Armed)
	news("go", s.Go)
	put("not_yet", encode(notYetOf(s))) // its numbers are noise as well
	put("at", strconv.AppendInt(nil, at.UnixMilli(), 10))
	// How much later it was heard hardly changes, if it is not told too finely.
	put("late", strconv.AppendInt(nil, heard.Sub(at).Round(100*time.Millisecond).Milliseconds(), 10))
	num("altitude_m", s.AltitudeM, 1)
	num("speed_mps", s.SpeedMps, 1)
	num("highest_m", s.HighestM, 1)
	num("to_apogee_s", s.ToApogeeS, 1)
	num("predicted_m", s.PredictedM, 0)
	num("cell_v", s.CellV, 2)
	num("rssi_dbm", s.RSSIDbm, 0)
	num("latitude_deg", s.Latitude, 6)
	num("longitude_deg", s.Longitude, 6)
	// As a person walks to it: the last digits change with every frame.
	put("position", encode(shortPosition(s.Position, 1, 1e5)))
	put("landing", encode(shortLanding(s.Landing, 1, 1e5)))
	var fall *float64
	r, ok := flight.RocketNamed(h.configured, s.Rocket)
	if !ok {
		r = flight.Rocket{}
	}
	if s.Phase == flight.Descent || s.Phase == flight.Coast {
		fall = alarm.FallS(r, s)
	}
	num("fall_s", fall, 1)
	num("delay_s", &r.ReleaseDelayS, 1)
	return f
}

// briefHealth is what the pages show of a link, without what was refused.
func briefHealth(h *ingest.Health) []field {
	var f []field
	put := func(name string, v any) { f = append(f, field{name: name, value: encode(v)}) }
	put("state", h.State)
	put("words", h.Words)
	put("hint", h.Hint)
	put("bytes", h.Bytes)
	put("frames", h.Frames)
	put("refused", h.Refused)
	put("bad", h.Bad)
	put("guests", h.Guests)
	put("gaps", h.Gaps)
	put("restarts", h.Restarts)
	rate := math.Round(h.RateHz*10) / 10
	put("rate_hz", number(rate))
	var last *time.Time
	if h.LastHeard != nil {
		t := writable(*h.LastHeard)
		last = &t
	}
	put("last_heard", last)
	return f
}

// short64 is a number with so many decimals at most, null if there is none.
func short64(v *float64, decimals int) json.RawMessage {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) || math.Abs(*v) > 1e15 {
		return json.RawMessage("null")
	}
	scale := math.Pow(10, float64(decimals))
	return strconv.AppendFloat(nil, math.Round(*v*scale)/scale+0, 'f', -1, 64)
}
