package web

import (
	"context"
	"net/http"
	"slices"

	"padlark/decode"
	"padlark/flight"
)

// ConfigCheck is what a look at the station's configuration file finds, or what
// became of taking it over.
type ConfigCheck struct {
	File   string
	Wrong  []string // with place and mend; nothing is taken over then
	Doubts []string // that do not keep it from working
	Now    []string // what changes at once
	Later  []string // what takes effect at the next start
	Taken  bool
	// Mark is of the file's text: who has looked at it takes over no other.
	Mark string
}

// Configurer reads the configuration file of the running station again.
type Configurer interface {
	CheckConfig() ConfigCheck
	TakeOver(ctx context.Context, mark string) ConfigCheck
}

// configured is what the pages show of a configuration.
type configured struct {
	rockets []flight.Rocket
	site    flight.Site
}

// Reconfigure shows another configuration: other rockets, links and another site.
func (s *Server) Reconfigure(rockets []flight.Rocket, links []string, site flight.Site) {
	s.configured.Store(&configured{rockets, site})
	s.hub.reconfigure(rockets, links)
}

func (h *hub) reconfigure(rockets []flight.Rocket, links []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.version++
	before := h.configured
	h.configured = rockets
	gone := func(name string) bool {
		_, was := flight.RocketNamed(before, name)
		_, is := flight.RocketNamed(rockets, name)
		return was && !is || slices.ContainsFunc(rockets, func(r flight.Rocket) bool { return r.ID != nil && decode.GuestName(*r.ID) == name })
	}
	for name, e := range h.rockets {
		if gone(name) {
			delete(h.rockets, name)
		}
		e.guest = h.isGuest(name)
	}
	for name := range h.links {
		if !slices.Contains(links, name) {
			delete(h.links, name)
		}
	}
}

// pageConfig says what taking over the configuration file would change.
func (s *Server) pageConfig(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Config == nil {
		return s.renderConfig(w, r, http.StatusOK, ConfigCheck{Wrong: []string{"this way of running padlark reads no configuration again"}})
	}
	return s.renderConfig(w, r, http.StatusOK, s.opt.Config.CheckConfig())
}

// takeConfig takes it over.
func (s *Server) takeConfig(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	mark := r.PostFormValue("mark")
	if s.opt.Config == nil || mark == "" {
		return badRequest("mark", mark, "that of the file, as the page has it")
	}
	c := s.opt.Config.TakeOver(r.Context(), mark)
	status := http.StatusOK
	if !c.Taken {
		status = http.StatusConflict
	}
	return s.renderConfig(w, r, status, c)
}

func (s *Server) renderConfig(w http.ResponseWriter, r *http.Request, status int, c ConfigCheck) error {
	return s.render(w, r, status, "configuration", "links", "Configuration", c)
}
