package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"
)

// Rates of the live stream.
const (
	defaultHz    = 10
	maxHz        = 20
	heartbeat    = 250 * time.Millisecond // longest time without a message
	writeTimeout = 10 * time.Second       // a viewer that takes nothing for so long is let go
	maxViewers   = 128
	// With many rockets nobody reads the figures ten times a second, and a weak
	// phone has its hands full: then states wait a little for each other.
	crowd      = 16
	crowdEvery = 200 * time.Millisecond
)

// helloView opens every live stream.
type helloView struct {
	Now     time.Time            `json:"now"`
	Station string               `json:"station"`
	Session string               `json:"session"`
	Version string               `json:"version"`
	Replay  *replayView          `json:"replay"` // null when live
	Traces  map[string]traceView `json:"traces"`
}

// updateView is what changed since the one before it.
type updateView struct {
	Now    time.Time         `json:"now"`
	States []json.RawMessage `json:"states,omitempty"`
	Alarms []json.RawMessage `json:"alarms,omitempty"`
	Events []json.RawMessage `json:"events,omitempty"`
	Links  []json.RawMessage `json:"links,omitempty"`
	Frames []frameView       `json:"frames,omitempty"`
	// Changes stand in the place of States for who asks for them, and then links
	// are told by their changes too; Left is how many raw frames were left out.
	Changes []json.RawMessage `json:"changes,omitempty"`
	Left    int               `json:"left,omitempty"`
	// Crowded says that so many rockets are heard that nobody configured that
	// none of them is told by itself; the links say how many there are.
	Crowded bool `json:"crowded,omitempty"`
}

// appendJSON writes what json.Marshal would write, without reading again what
// is encoded already: this is the work that each viewer costs each time.
func (u *updateView) appendJSON(b []byte) []byte {
	b = append(b, `{"now":"`...)
	b = u.Now.AppendFormat(b, time.RFC3339Nano)
	b = append(b, '"')
	list := func(name string, values []json.RawMessage) {
		for i, v := range values {
			if i == 0 {
				b = append(append(append(b, `,"`...), name...), `":[`...)
			} else {
				b = append(b, ',')
			}
			b = append(b, v...)
		}
		if len(values) > 0 {
			b = append(b, ']')
		}
	}
	list("states", u.States)
	list("alarms", u.Alarms)
	list("events", u.Events)
	list("links", u.Links)
	if len(u.Frames) > 0 {
		b = append(append(b, `,"frames":`...), encode(u.Frames)...)
	}
	list("changes", u.Changes)
	if u.Left > 0 {
		b = strconv.AppendInt(append(b, `,"left":`...), int64(u.Left), 10)
	}
	if u.Crowded {
		b = append(b, `,"crowded":true`...)
	}
	return append(b, '}')
}

// frameView is one raw frame with what the decoder made of it.
type frameView struct {
	Link    string             `json:"link"`
	N       uint64             `json:"n"`
	Heard   time.Time          `json:"heard"`
	Bytes   int                `json:"bytes"`
	Hex     string             `json:"hex"`
	Text    string             `json:"text"` // printable characters, a dot for the others
	Rocket  string             `json:"rocket"`
	Seq     *int64             `json:"seq"`
	ClockUs *int64             `json:"clock_us"`
	Values  map[string]float64 `json:"channels"` // null until decoded
}

// feed is what one viewer follows: the station's hub, or a replay's own.
type feed struct {
	hub   *hub
	now   func() time.Time
	hello helloView
	link  string // also send this link's raw frames
	done  <-chan struct{}
	// changes says that the viewer keeps a picture of its own and wants to hear
	// only what is new in it.
	changes bool
}

func (s *Server) serveLive(w http.ResponseWriter, r *http.Request) error {
	session, _, _ := s.hub.status()
	return s.stream(w, r, feed{
		hub: s.hub, now: s.opt.Now, link: r.URL.Query().Get("frames"),
		hello: helloView{Station: s.opt.Station, Session: session, Version: s.opt.Version},
	})
}

// stream sends a feed as server-sent events (WHATWG HTML, section 9.2) until
// the viewer goes, the feed is done or the server stops.
func (s *Server) stream(w http.ResponseWriter, r *http.Request, f feed) error {
	hz, err := viewerRate(r)
	if err != nil {
		return err
	}
	as, _ := s.gate.who(r)
	leave, err := s.shares.enter(shareOf(r), as, addressOf(r.RemoteAddr))
	if err != nil {
		return err
	}
	defer leave()
	f.changes = r.URL.Query().Get("changes") == "1"

	out := newEventWriter(w, r)
	defer out.close()
	f.hello.Now, f.hello.Traces = f.now(), f.hub.traces()
	if err := out.event("hello", f.hello); err != nil {
		return nil // the viewer is gone; there is nobody to tell
	}
	s.follow(r.Context(), out, f, time.Second/time.Duration(hz))
	return nil
}

// follow sends what is new, each `every`, until there is nobody or nothing left.
func (s *Server) follow(ctx context.Context, out *eventWriter, f feed, every time.Duration) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	var at cursor
	var seenFrames uint64
	last := time.Time{}
	for {
		u := updateView{Now: f.now().Truncate(time.Millisecond)}
		p := f.next(&at, time.Since(last) < crowdEvery, &u)
		if f.link != "" {
			var frames []frameEntry
			if f.changes {
				frames, u.Left = f.hub.rawSince(f.link, &at, f.now())
			} else {
				frames, seenFrames = f.hub.framesSince(f.link, seenFrames)
			}
			for _, e := range frames {
				v := viewFrame(e)
				if f.changes {
					v.Text = "" // the page reads it from the bytes
				}
				u.Frames = append(u.Frames, v)
			}
		}
		if !p.empty() || len(u.Frames) > 0 || time.Since(last) >= heartbeat {
			last = time.Now()
			if out.update(u) != nil {
				return
			}
			s.metrics.updates.Inc()
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		case <-s.stopping:
			return
		case <-f.done:
			// Whatever came in before the end still has to go out.
			u := updateView{Now: f.now()}
			at.groundAt = time.Time{}
			f.next(&at, false, &u)
			_ = out.update(u)
			_ = out.event("end", struct {
				Now time.Time `json:"now"`
			}{f.now()})
			return
		}
	}
}

// next takes what is new into an update. With many rockets states wait for each
// other while wait is true.
func (f *feed) next(at *cursor, wait bool, u *updateView) picture {
	var p picture
	if f.changes {
		before := *at
		if p = f.hub.changes(at, f.link); wait && p.onlyStates() && len(p.states) >= crowd {
			*at, p = before, picture{}
		}
		u.Changes = p.states
	} else {
		p = f.hub.since(at.seen)
		if wait && p.onlyStates() && len(p.states) >= crowd {
			p = picture{version: at.seen}
		}
		at.seen, u.States = p.version, p.states
	}
	u.Alarms, u.Events, u.Links, u.Crowded = p.alarms, p.events, p.links, p.crowded
	return p
}

func viewerRate(r *http.Request) (int, error) {
	v := r.URL.Query().Get("hz")
	if v == "" {
		return defaultHz, nil
	}
	hz, err := strconv.Atoi(v)
	if err != nil || hz < 1 || hz > maxHz {
		return 0, badRequest("hz", v, fmt.Sprintf("give a whole number from 1 to %d", maxHz))
	}
	return hz, nil
}

func viewFrame(e frameEntry) frameView {
	v := frameView{
		Link: e.frame.Link, N: e.frame.N, Heard: e.frame.Heard, Bytes: len(e.frame.Bytes),
		Hex: hex.EncodeToString(e.frame.Bytes), Text: printable(e.frame.Bytes),
	}
	if sm := e.sample; sm != nil {
		v.Rocket = sm.Rocket
		if sm.Seq >= 0 {
			v.Seq = &sm.Seq
		}
		if sm.Clock >= 0 {
			v.ClockUs = &sm.Clock
		}
		v.Values = finite(sm.Values.Names, sm.Values.Values)
	}
	return v
}

// printable shows bytes as ASCII, a middle dot for what has no glyph.
func printable(b []byte) string {
	var out bytes.Buffer
	for _, c := range b {
		if c >= 0x20 && c < 0x7f {
			out.WriteByte(c)
		} else {
			out.WriteString("·")
		}
	}
	return out.String()
}

// eventWriter writes server-sent events, compressed where the viewer takes it.
type eventWriter struct {
	w     io.Writer
	zip   *gzip.Writer
	flush *http.ResponseController
	buf   []byte // used again for each event
}

func newEventWriter(w http.ResponseWriter, r *http.Request) *eventWriter {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // a proxy in between must not collect
	e := &eventWriter{w: w, flush: http.NewResponseController(w)}
	if acceptsGzip(r) {
		h.Set("Content-Encoding", "gzip")
		h.Add("Vary", "Accept-Encoding")
		// Level 1: the same keys come again and again, more effort gains little.
		e.zip, _ = gzip.NewWriterLevel(w, gzip.BestSpeed)
		e.w = e.zip
	}
	w.WriteHeader(http.StatusOK)
	return e
}

// event writes one event and pushes it out. An error means the viewer is gone.
func (e *eventWriter) event(name string, v any) error {
	return e.push(append(e.begin(name), encode(v)...))
}

// update writes the event that comes again and again.
func (e *eventWriter) update(u updateView) error {
	return e.push(u.appendJSON(e.begin("update")))
}

// begin is the buffer with an event's first line; its data is to follow. JSON
// holds no newline.
func (e *eventWriter) begin(name string) []byte {
	return append(append(append(e.buf[:0], "event: "...), name...), "\ndata: "...)
}

func (e *eventWriter) push(event []byte) error {
	e.buf = append(event, "\n\n"...)
	if err := e.flush.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return fmt.Errorf("set write deadline: %w", err)
	}
	if _, err := e.w.Write(e.buf); err != nil {
		return fmt.Errorf("write event: %w", err)
	}
	if e.zip != nil {
		if err := e.zip.Flush(); err != nil {
			return fmt.Errorf("flush event: %w", err)
		}
	}
	if err := e.flush.Flush(); err != nil {
		return fmt.Errorf("flush event: %w", err)
	}
	return nil
}

func (e *eventWriter) close() {
	if e.zip != nil {
		_ = e.zip.Close() // the viewer may be gone already
	}
	_ = e.flush.SetWriteDeadline(time.Time{})
}
