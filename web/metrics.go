package web

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	process "github.com/VictoriaMetrics/metrics"

	"padlark/web/scrape"
)

// metrics are the server's own counters.
type metrics struct {
	updates atomic.Uint64 // sent to live viewers

	mu       sync.Mutex
	requests map[answered]uint64
	took     map[string]*scrape.Histogram // by address pattern
}

// answered is an address pattern with a status.
type answered struct {
	route string
	code  int
}

func (m *metrics) request(pattern string, status int, took time.Duration) {
	if status == 0 {
		status = http.StatusOK
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.took == nil {
		m.requests, m.took = map[answered]uint64{}, map[string]*scrape.Histogram{}
	}
	h := m.took[pattern]
	if h == nil {
		h = scrape.NewHistogram(.001, .005, .02, .1, .2, .5, 2, 10)
		m.took[pattern] = h
	}
	h.Observe(took.Seconds())
	m.requests[answered{pattern, status}]++
}

// serveMetrics tells a monitoring program how the station is: its memory, the
// server's own counters, the picture of the hub, and what others add.
func (s *Server) serveMetrics(w http.ResponseWriter, r *http.Request) error {
	var p scrape.Page
	s.metrics.scrape(&p)
	p.Gauge("padlark_web_viewers", "Pages that follow live or a replay now.", float64(s.shares.count()))
	open, dropped := s.conns.count()
	p.Gauge("padlark_web_connections", "Connections to the pages that are open.", float64(open))
	p.Count("padlark_web_connections_dropped_total", "Connections closed to make room for others.", uint64(dropped))
	s.scrapeHub(&p)
	s.scrapeCopy(r.Context(), &p)
	s.scrapeUplink(&p)
	if s.opt.Scrape != nil {
		s.opt.Scrape(&p)
	}
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	if err := p.Write(w); err != nil {
		return err
	}
	process.WriteProcessMetrics(w)
	return nil
}

func (m *metrics) scrape(p *scrape.Page) {
	p.Count("padlark_web_updates_total", "Updates sent to live viewers.", m.updates.Load())
	m.mu.Lock()
	defer m.mu.Unlock()
	for a, n := range m.requests {
		p.Count("padlark_web_requests_total", "Requests answered, by address pattern and status.", n, "code", strconv.Itoa(a.code), "route", a.route)
	}
	for _, route := range slices.Sorted(maps.Keys(m.took)) {
		p.Histogram("padlark_web_request_seconds", "Time to answer a request, in seconds; live streams count when they end.", m.took[route], "route", route)
	}
}

// scrapeHub reads the live picture. Rocket and link names come from frames too;
// the hub bounds how many there are.
func (s *Server) scrapeHub(p *scrape.Page) {
	now := s.opt.Now()
	for _, st := range s.hub.states() {
		p.Count("padlark_rocket_frames_total", "Frames of the rocket this session.", st.Frames, "rocket", st.Rocket)
		p.Count("padlark_rocket_lost_frames_total", "Frames the rocket sent that were not heard.", st.Lost, "rocket", st.Rocket)
		p.Gauge("padlark_rocket_age_seconds", "Time since the rocket's last frame.", now.Sub(st.Heard).Seconds(), "rocket", st.Rocket)
		for _, g := range []struct {
			name, help string
			v          *float64
		}{
			{"rocket_height_metres", "Height above the pad.", st.AltitudeM},
			{"rocket_speed_metres_per_second", "Vertical speed, up positive.", st.SpeedMps},
			{"rocket_cell_volts", "Cell voltage.", st.CellV},
		} {
			if g.v != nil {
				p.Gauge("padlark_"+g.name, g.help, *g.v, "rocket", st.Rocket)
			}
		}
	}
	for _, h := range s.hub.healths() {
		p.Count("padlark_link_frames_total", "Good frames heard on the link.", h.Frames, "link", h.Link)
		p.Count("padlark_link_bytes_total", "Bytes heard on the link.", h.Bytes, "link", h.Link)
		up := 0.0
		if h.State == "up" {
			up = 1
		}
		p.Gauge("padlark_link_up", "1 while the link is open.", up, "link", h.Link)
		p.Gauge("padlark_link_unknown_ids", "Ids that nobody configured, heard over the last minute.", float64(h.Guests), "link", h.Link)
		for reason, n := range h.Bad {
			p.Count("padlark_link_bad_frames_total", "Frames refused, by reason.", n, "link", h.Link, "reason", reason)
		}
	}
	byPriority := map[int]int{1: 0, 2: 0, 3: 0}
	for _, a := range s.hub.currentAlarms() {
		byPriority[int(a.Priority)]++
	}
	for priority, n := range byPriority {
		p.Gauge("padlark_alarms", "Alarms that are active or not acknowledged, by priority (1 is the most urgent).", float64(n), "priority", strconv.Itoa(priority))
	}
	_, tally, _ := s.hub.status()
	p.Count("padlark_web_unshown_total", "Parts of the live picture that could not be written and were left out.", tally.Unshown)
	p.Count("padlark_web_page_errors_total", "Errors that open pages have reported.", s.troubles.count())
	p.Count("padlark_web_no_room_total", "Rockets or alarms that the live picture had no room for.", tally.NoRoom)
}

// serveHealth tells a supervisor whether the station works.
func (s *Server) serveHealth(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if s.opt.Healthy != nil {
		if err := s.opt.Healthy(); err != nil {
			w.WriteHeader(http.StatusServiceUnavailable)
			_, _ = fmt.Fprintf(w, "not well: %v\n", err)
			return nil
		}
	}
	_, _ = fmt.Fprintln(w, "ok")
	return nil
}
