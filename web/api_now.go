package web

import (
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"net/http"
	"time"

	"padlark/flight"
)

// rocketView is a rocket on the board: as configured, and its state as far as
// anything was heard.
type rocketView struct {
	Rocket string        `json:"rocket"`
	Config flight.Rocket `json:"config"`
	State  *flight.State `json:"state"` // null until heard
	AgeS   *float64      `json:"age_s"` // since the last frame
}

// rocketViews lists the configured rockets in their order, then strangers.
func (s *Server) rocketViews() []rocketView {
	now := s.opt.Now()
	heard := map[string]*flight.State{}
	states := s.hub.states()
	for _, st := range states {
		heard[st.Rocket] = st
	}
	views := make([]rocketView, 0, len(states))
	add := func(cfg flight.Rocket) {
		v := rocketView{Rocket: cfg.Name, Config: cfg}
		if st := heard[cfg.Name]; st != nil {
			age := now.Sub(st.Heard).Seconds()
			v.State, v.AgeS = shortState(st), rounded(&age, 1e3)
			delete(heard, cfg.Name)
		}
		views = append(views, v)
	}
	for _, cfg := range s.configured.Load().rockets {
		add(cfg)
	}
	for _, st := range states {
		if heard[st.Rocket] != nil {
			cfg, _ := flight.RocketNamed(s.configured.Load().rockets, st.Rocket)
			add(cfg)
		}
	}
	return views
}

func (s *Server) apiRockets(w http.ResponseWriter, r *http.Request) error {
	return writeJSON(w, r, eachJSON(s.hub, s.rocketViews()))
}

func (s *Server) apiLinks(w http.ResponseWriter, r *http.Request) error {
	return writeJSON(w, r, eachJSON(s.hub, s.hub.healths()))
}

// apiLinkFrames gives the newest raw frames of a link beside their decoding.
func (s *Server) apiLinkFrames(w http.ResponseWriter, r *http.Request) error {
	link := r.PathValue("link")
	entries, version := s.hub.framesSince(link, 0)
	if len(entries) == 0 && !s.knowsLink(link) {
		return notFound("link", link, "see /api/v1/links for the links there are")
	}
	out := struct {
		Version uint64      `json:"version"`
		Frames  []frameView `json:"frames"`
	}{version, make([]frameView, 0, len(entries))}
	for _, e := range entries {
		out.Frames = append(out.Frames, viewFrame(e))
	}
	return writeJSON(w, r, out)
}

func (s *Server) knowsLink(name string) bool {
	for _, h := range s.hub.healths() {
		if h.Link == name {
			return true
		}
	}
	return false
}

func (s *Server) apiAlarms(w http.ResponseWriter, r *http.Request) error {
	return writeJSON(w, r, eachJSON(s.hub, s.hub.currentAlarms()))
}

// apiAck acknowledges an alarm. The changed alarm comes by the live stream.
func (s *Server) apiAck(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Acker == nil {
		return absent("alarm book")
	}
	var in struct {
		ID string `json:"id"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	a := s.hub.alarm(in.ID)
	if a == nil {
		return notFound("alarm", in.ID, "see /api/v1/alarms for those that wait")
	}
	if err := s.opt.Acker.Ack(r.Context(), a.Session, a.ID); err != nil {
		return fmt.Errorf("acknowledge alarm %s: %w", a.ID, err)
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// apiTime tells the station's time. The page asks a few times and takes the
// answer with the shortest round trip (F. Cristian, "Probabilistic clock
// synchronization", Distributed Computing 3, 1989).
func (s *Server) apiTime(w http.ResponseWriter, r *http.Request) error {
	st, err := s.clockStatus(r)
	if err != nil {
		return err
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, st)
}

func (s *Server) clockStatus(r *http.Request) (ClockStatus, error) {
	if s.opt.Clock == nil {
		return ClockStatus{Now: s.opt.Now(), How: "this way of running padlark does not look after the clock"}, nil
	}
	st, err := s.opt.Clock.ClockStatus(r.Context())
	if err != nil {
		return st, fmt.Errorf("ask the clock: %w", err)
	}
	return st, nil
}

// longestOffer bounds how uncertain an offered time may be, shortestOffer how
// certain.
const (
	longestOffer  = 5 * time.Second
	shortestOffer = time.Microsecond
)

// apiFixTime takes the time that a person's browser offers.
func (s *Server) apiFixTime(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Clock == nil {
		return absent("clock to mend")
	}
	var in struct {
		// Session is a time that the station told, Truth what the browser's
		// clock showed at that instant, give or take SDS seconds.
		Session time.Time `json:"session_time"`
		Truth   time.Time `json:"true_time"`
		SDS     float64   `json:"sd_s"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	if in.Session.IsZero() {
		return badRequest("session_time", in.Session.String(), "send the station's time as /api/v1/time tells it")
	}
	if in.Truth.Year() < 2020 || in.Truth.Year() > 2200 {
		return badRequest("true_time", in.Truth.Format(time.RFC3339), "the browser's clock looks wrong itself: set it first")
	}
	if !(in.SDS > 0) || in.SDS > longestOffer.Seconds() {
		return badRequest("sd_s", fmt.Sprint(in.SDS), fmt.Sprintf("give an uncertainty over 0 and up to %g s", longestOffer.Seconds()))
	}
	// No browser's clock is better than that, and 1e-300 s would be 0.
	sd := max(shortestOffer, time.Duration(in.SDS*float64(time.Second)))
	if err := s.opt.Clock.FixClock(r.Context(), in.Session, in.Truth, sd, "the clock of a browser, offered by a person on the page"); err != nil {
		return fmt.Errorf("fix the clock: %w", err)
	}
	st, err := s.clockStatus(r)
	if err != nil {
		return err
	}
	return writeJSON(w, r, st)
}

// readJSON reads a small JSON object strictly.
func readJSON(r *http.Request, v any) error {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return &apiError{http.StatusUnsupportedMediaType, "the request is not JSON", "send Content-Type: application/json"}
	}
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var tooBig *http.MaxBytesError
		if asTooBig(err, &tooBig) {
			return err
		}
		return &apiError{http.StatusBadRequest, "the request's JSON cannot be used: " + err.Error(), "see /api/v1/openapi.json for what is expected"}
	}
	if _, err := d.Token(); err != io.EOF {
		return &apiError{http.StatusBadRequest, "the request has something after its JSON", "send one JSON object"}
	}
	return nil
}
