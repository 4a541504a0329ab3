package web

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are what /metrics tells: the server's own counters, and the picture
// of the hub read at each scrape.
type metrics struct {
	requests *prometheus.CounterVec
	took     *prometheus.HistogramVec
	updates  prometheus.Counter
	handler  http.Handler
}

func newMetrics(s *Server) (*metrics, error) {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "padlark_web_requests_total", Help: "Requests answered, by address pattern and status."}, []string{"route", "code"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "padlark_web_request_seconds", Help: "Time to answer a request, in seconds; live streams count when they end.",
			Buckets: []float64{.001, .005, .02, .1, .2, .5, 2, 10}}, []string{"route"}),
		updates: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "padlark_web_updates_total", Help: "Updates sent to live viewers."}),
	}
	own := []prometheus.Collector{
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), // its own memory
		m.requests, m.took, m.updates, &hubCollector{s}, &copyCollector{s}, &uplinkCollector{s},
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "padlark_web_viewers", Help: "Pages that follow live or a replay now."},
			func() float64 { return float64(s.shares.count()) }),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "padlark_web_connections", Help: "Connections to the pages that are open."},
			func() float64 { n, _ := s.conns.count(); return float64(n) }),
		prometheus.NewCounterFunc(prometheus.CounterOpts{Name: "padlark_web_connections_dropped_total", Help: "Connections closed to make room for others."},
			func() float64 { _, n := s.conns.count(); return float64(n) }),
	}
	for _, c := range own {
		if err := s.opt.Registry.Register(c); err != nil {
			return nil, fmt.Errorf("register metrics: %w", err)
		}
	}
	m.handler = promhttp.HandlerFor(s.opt.Registry, promhttp.HandlerOpts{})
	return m, nil
}

func (m *metrics) request(pattern string, status int, took time.Duration) {
	if status == 0 {
		status = http.StatusOK
	}
	m.requests.WithLabelValues(pattern, strconv.Itoa(status)).Inc()
	m.took.WithLabelValues(pattern).Observe(took.Seconds())
}

func (s *Server) serveMetrics(w http.ResponseWriter, r *http.Request) error {
	s.metrics.handler.ServeHTTP(w, r)
	return nil
}

// hubCollector reads the live picture. Rocket and link names come from frames
// too; the hub bounds how many there are.
type hubCollector struct{ s *Server }

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("padlark_"+name, help, labels, nil)
}

// Describe sends nothing: the set of series follows the rockets and links.
func (c *hubCollector) Describe(chan<- *prometheus.Desc) {}

// Collect reads the hub.
func (c *hubCollector) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	count := func(d *prometheus.Desc, v uint64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v), labels...)
	}
	now := c.s.opt.Now()
	for _, st := range c.s.hub.states() {
		count(desc("rocket_frames_total", "Frames of the rocket this session.", "rocket"), st.Frames, st.Rocket)
		count(desc("rocket_lost_frames_total", "Frames the rocket sent that were not heard.", "rocket"), st.Lost, st.Rocket)
		gauge(desc("rocket_age_seconds", "Time since the rocket's last frame.", "rocket"), now.Sub(st.Heard).Seconds(), st.Rocket)
		for _, g := range []struct {
			name, help string
			v          *float64
		}{
			{"rocket_height_metres", "Height above the pad.", st.AltitudeM},
			{"rocket_speed_metres_per_second", "Vertical speed, up positive.", st.SpeedMps},
			{"rocket_cell_volts", "Cell voltage.", st.CellV},
		} {
			if g.v != nil {
				gauge(desc(g.name, g.help, "rocket"), *g.v, st.Rocket)
			}
		}
	}
	for _, h := range c.s.hub.healths() {
		count(desc("link_frames_total", "Good frames heard on the link.", "link"), h.Frames, h.Link)
		count(desc("link_bytes_total", "Bytes heard on the link.", "link"), h.Bytes, h.Link)
		up := 0.0
		if h.State == "up" {
			up = 1
		}
		gauge(desc("link_up", "1 while the link is open.", "link"), up, h.Link)
		gauge(desc("link_unknown_ids", "Ids that nobody configured, heard over the last minute.", "link"), float64(h.Guests), h.Link)
		for reason, n := range h.Bad {
			count(desc("link_bad_frames_total", "Frames refused, by reason.", "link", "reason"), n, h.Link, reason)
		}
	}
	byPriority := map[int]int{1: 0, 2: 0, 3: 0}
	for _, a := range c.s.hub.currentAlarms() {
		byPriority[int(a.Priority)]++
	}
	for p, n := range byPriority {
		gauge(desc("alarms", "Alarms that are active or not acknowledged, by priority (1 is the most urgent).", "priority"), float64(n), strconv.Itoa(p))
	}
	_, tally, _ := c.s.hub.status()
	count(desc("web_unshown_total", "Parts of the live picture that could not be written and were left out."), tally.Unshown)
	count(desc("web_page_errors_total", "Errors that open pages have reported."), c.s.troubles.count())
	count(desc("web_no_room_total", "Rockets or alarms that the live picture had no room for."), tally.NoRoom)
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
