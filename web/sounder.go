package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// Sounder hears what a board's sounder beeps and keeps it as a flight. May be nil.
type Sounder interface {
	// Layouts are the codes that can be read; none if the configuration has none.
	Layouts() []SounderLayout
	// Hear reads a recording. What it says of one that cannot be read is for a person.
	Hear(ctx context.Context, layout string, sound io.Reader) ([]Tone, error)
	// Again reads a strip that a link of a session heard, by the code of that session.
	Again(ctx context.Context, session, link string, strip []byte) (Tone, error)
	// Keep makes a flight of a strip that Hear has given. The error says what a person
	// is to do.
	Keep(ctx context.Context, layout, rocket string, strip []byte, at time.Time) (FlightID, error)
	// Beep is a WAV file of a number.
	Beep(layout string, number int) ([]byte, error)
}

// SounderLayout is one code.
type SounderLayout struct {
	Name string  `json:"name"`
	Unit string  `json:"unit"`
	Step float64 `json:"step"` // what the number counts, in Unit
}

// Tone is one tone of a recording and what it says.
type Tone struct {
	PitchHz int     `json:"pitch_hz"`
	Number  *int    `json:"number"` // null where there is none
	Unit    string  `json:"unit"`
	Sure    bool    `json:"sure"`
	Words   string  `json:"words"` // what was heard, and why it is not sure
	Strip   []byte  `json:"strip"` // to be sent back to keep it; base64
	StepMs  int     `json:"step_ms"`
	DB      []int   `json:"db"` // over the noise, every StepMs
	Beeps   []Beeps `json:"beeps"`
}

// Beeps is one beep, in steps, and where it belongs.
type Beeps struct {
	From   int    `json:"from"`
	To     int    `json:"to"`
	Kind   string `json:"kind"`
	Group  int    `json:"group"`
	Repeat int    `json:"repeat"`
}

const (
	// soundPath takes recordings: more bytes, and more time, than other requests.
	soundPath = "/api/v1/sounder"
	// soundMost bounds a recording: four minutes as the page sends it.
	soundMost = 8 << 20
	soundTime = 2 * time.Minute
)

// bodyMost bounds the body of a request to a route.
func bodyMost(rt route) int64 {
	if rt.pattern == soundPath {
		return soundMost
	}
	return 64 << 10
}

func (s *Server) pageSounder(w http.ResponseWriter, r *http.Request) error {
	data := struct {
		Layouts []SounderLayout
		Rockets []string
	}{}
	if s.opt.Sounder != nil {
		data.Layouts = s.opt.Sounder.Layouts()
	}
	for _, rk := range s.configured.Load().rockets {
		data.Rockets = append(data.Rockets, rk.Name)
	}
	// The page asks for the microphone when a person presses its button.
	w.Header().Set("Permissions-Policy", "camera=(), microphone=(self), geolocation=(), payment=()")
	return s.render(w, r, http.StatusOK, "sounder", "flights", "Sounder", data)
}

func (s *Server) apiHear(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Sounder == nil {
		return absent("ear for sounders")
	}
	// A recording over a slow network takes its time; none is heard for longer.
	_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(soundTime))
	ctx, cancel := context.WithTimeout(r.Context(), soundTime)
	defer cancel()
	tones, err := s.opt.Sounder.Hear(ctx, r.URL.Query().Get("layout"), r.Body)
	var tooBig *http.MaxBytesError
	if errors.As(err, &tooBig) {
		return err
	}
	if err != nil {
		return &apiError{http.StatusBadRequest, "the recording cannot be read: " + err.Error(), "send a WAV file of a minute or two"}
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, tones)
}

// apiFlightSounder gives what was heard of the sounder in a flight: none where its
// height came by radio.
func (s *Server) apiFlightSounder(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Sounder == nil {
		return absent("ear for sounders")
	}
	ctx := r.Context()
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	events, err := s.opt.Archive.Events(ctx, storage.Query{Session: id.Session, Rocket: id.Rocket})
	if err != nil {
		return fmt.Errorf("read events of %s: %w", id, err)
	}
	tones := []Tone{}
	for _, e := range events {
		if e.Flight != id.Flight || e.Kind != flight.Sounded {
			continue
		}
		strip, link, err := s.stripAt(ctx, id, e.At)
		if err != nil {
			return fmt.Errorf("read the strip of %s: %w", id, err)
		}
		if strip == nil {
			continue
		}
		t, err := s.opt.Sounder.Again(ctx, id.Session, link, strip)
		if err != nil {
			return fmt.Errorf("read the sounder of %s: %w", id, err)
		}
		tones = append(tones, t)
	}
	return writeJSON(w, r, tones)
}

// stripAt is the strip from which a rocket's height was read at an instant, and its
// link; nil where there is none.
func (s *Server) stripAt(ctx context.Context, id FlightID, at time.Time) (strip []byte, link string, err error) {
	var n uint64
	var heard time.Time
	q := storage.Query{Session: id.Session, Rocket: id.Rocket, From: at, To: at.Add(1)}
	err = s.opt.Archive.Samples(ctx, q, func(sm *decode.Sample) error {
		if _, ok := sm.Values.Get(decode.SounderM); ok {
			n, link, heard = sm.N, sm.Link, sm.Heard
		}
		return nil
	})
	if err != nil || link == "" {
		return nil, "", err
	}
	q = storage.Query{Session: id.Session, Link: link, From: heard, To: heard.Add(1)}
	err = s.opt.Archive.Frames(ctx, q, func(f ingest.Frame) error {
		if f.N == n {
			strip = slices.Clone(f.Bytes)
		}
		return nil
	})
	return strip, link, err
}

func (s *Server) apiKeepSound(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Sounder == nil {
		return absent("ear for sounders")
	}
	var in struct {
		Layout string    `json:"layout"`
		Rocket string    `json:"rocket"`
		Strip  []byte    `json:"strip"`
		At     time.Time `json:"at"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	if in.At.IsZero() {
		in.At = s.opt.Now()
	}
	id, err := s.opt.Sounder.Keep(r.Context(), in.Layout, in.Rocket, in.Strip, in.At.UTC())
	if err != nil {
		return &apiError{http.StatusBadRequest, "the height cannot be kept: " + err.Error(), "record it again, nearer to the rocket"}
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, struct {
		Flight string `json:"flight"`
		Page   string `json:"page"`
	}{id.String(), id.Path()})
}

func (s *Server) apiBeep(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Sounder == nil {
		return absent("ear for sounders")
	}
	text := r.URL.Query().Get("number")
	n, err := strconv.Atoi(text)
	if err != nil {
		return badRequest("number", short(text), "write the number to beep, such as 123")
	}
	wav, err := s.opt.Sounder.Beep(r.URL.Query().Get("layout"), n)
	if err != nil {
		return badRequest("number", short(text), err.Error())
	}
	w.Header().Set("Content-Type", "audio/wav")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`inline; filename="%d.wav"`, n))
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Length", strconv.Itoa(len(wav)))
	_, _ = w.Write(wav) // the viewer may be gone
	return nil
}

// MarshalJSON writes lists and not null.
func (t Tone) MarshalJSON() ([]byte, error) {
	type plain Tone
	p := plain(t)
	if p.DB == nil {
		p.DB = []int{}
	}
	if p.Beeps == nil {
		p.Beeps = []Beeps{}
	}
	return json.Marshal(p)
}
