package web

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// UplinkState is how the way to an outside server is, which takes everything that
// the station hears.
type UplinkState struct {
	URL string `json:"url"`
	// State is "sending", "up to date", or "waiting" while the server takes
	// nothing; Trouble says why then, and Since when that began.
	State   string     `json:"state"`
	Trouble string     `json:"trouble"`
	Since   *time.Time `json:"since"`
	// Backlog is how much of the running session's journal is still to be sent.
	Backlog uint64 `json:"backlog_bytes"`
	// LastAt is when the server last took something; nil if it has not yet.
	LastAt *time.Time `json:"last_success_at"`
	// Frames were taken, and Failures attempts failed, since the station started.
	Frames   uint64 `json:"frames"`
	Failures uint64 `json:"failures"`
}

// Uplinker tells how the uplink is.
type Uplinker interface{ UplinkState() UplinkState }

// apiUplink gives the state of the uplink; there is no content where none is
// configured.
func (s *Server) apiUplink(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Uplink == nil {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	st := s.opt.Uplink.UplinkState()
	return writeJSON(w, r, &st)
}

// uplinkCollector reads the uplink's state at each scrape.
type uplinkCollector struct{ s *Server }

// Describe sends nothing: without an uplink there are no series.
func (c *uplinkCollector) Describe(chan<- *prometheus.Desc) {}

// Collect gives the state.
func (c *uplinkCollector) Collect(out chan<- prometheus.Metric) {
	if c.s.opt.Uplink == nil {
		return
	}
	st, now := c.s.opt.Uplink.UplinkState(), c.s.opt.Now()
	put := func(name, help string, kind prometheus.ValueType, v float64) {
		out <- prometheus.MustNewConstMetric(desc(name, help), kind, v)
	}
	waiting := 0.0
	if st.Since != nil {
		waiting = now.Sub(*st.Since).Seconds()
	}
	put("uplink_waiting_seconds", "For how long the outside server has taken nothing; 0 while it does.", prometheus.GaugeValue, waiting)
	put("uplink_backlog_bytes", "Bytes of the running session's journal that the outside server has still to be sent.", prometheus.GaugeValue, float64(st.Backlog))
	if st.LastAt != nil {
		put("uplink_last_success_age_seconds", "Time since the outside server last took something.", prometheus.GaugeValue, now.Sub(*st.LastAt).Seconds())
	}
	put("uplink_frames_total", "Frames that the outside server has taken.", prometheus.CounterValue, float64(st.Frames))
	put("uplink_failures_total", "Attempts to send to the outside server that failed.", prometheus.CounterValue, float64(st.Failures))
}
