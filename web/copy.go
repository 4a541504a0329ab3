package web

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// CopyState is how the copy to a time-series server is.
type CopyState struct {
	URL string `json:"url"`
	// State is "sending", "up to date", or "waiting" while the server takes
	// nothing; Trouble says why then, and Since when that began.
	State   string     `json:"state"`
	Trouble string     `json:"trouble"`
	Since   *time.Time `json:"since"`
	// Backlog is how many bytes of the journal are still to be sent.
	Backlog int64 `json:"backlog_bytes"`
	// LastAt is when the server last took something; nil if it has not yet.
	LastAt *time.Time `json:"last_success_at"`
	// Points were taken since the station started, and Aside refused for good:
	// these are in the file AsideFile, with the reason.
	Points    uint64 `json:"points"`
	Aside     uint64 `json:"set_aside"`
	AsideFile string `json:"set_aside_file"`
	Requests  uint64 `json:"requests"`
	Failures  uint64 `json:"failed_requests"`
}

// Copier tells how the copy to a time-series server is.
type Copier interface {
	CopyState(ctx context.Context) (CopyState, error)
}

// apiCopy gives the state of the copy; there is no content where none is
// configured.
func (s *Server) apiCopy(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Copier == nil {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	st, err := s.opt.Copier.CopyState(r.Context())
	if err != nil {
		return err
	}
	return writeJSON(w, r, &st)
}

// copyCollector reads the copy's state at each scrape.
type copyCollector struct{ s *Server }

// scrapeMost bounds how long a scrape waits for the bus to count the backlog.
const scrapeMost = 2 * time.Second

// Describe sends nothing: without a copy there are no series.
func (c *copyCollector) Describe(chan<- *prometheus.Desc) {}

// Collect gives the state. If the bus does not answer, the backlog is left out
// and the rest is there.
func (c *copyCollector) Collect(out chan<- prometheus.Metric) {
	if c.s.opt.Copier == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), scrapeMost)
	defer cancel()
	st, err := c.s.opt.Copier.CopyState(ctx)
	gauge := func(name, help string, v float64, labels ...string) {
		names := []string{"state"}[:len(labels)]
		out <- prometheus.MustNewConstMetric(desc(name, help, names...), prometheus.GaugeValue, v, labels...)
	}
	count := func(name, help string, v uint64) {
		out <- prometheus.MustNewConstMetric(desc(name, help), prometheus.CounterValue, float64(v))
	}
	if err == nil {
		gauge("copy_backlog_bytes", "Bytes of the journal that the time-series server has still to be sent.", float64(st.Backlog))
		for _, name := range []string{"sending", "up to date", "waiting"} {
			on := 0.0
			if st.State == name {
				on = 1
			}
			gauge("copy_state", "1 for the state that the copy to the time-series server is in; waiting means that the server takes nothing.", on, name)
		}
	}
	now := c.s.opt.Now()
	waiting := 0.0
	if st.Since != nil {
		waiting = now.Sub(*st.Since).Seconds()
	}
	gauge("copy_waiting_seconds", "For how long the time-series server has taken nothing; 0 while it does.", waiting)
	if st.LastAt != nil {
		gauge("copy_last_success_age_seconds", "Time since the time-series server last took something.", now.Sub(*st.LastAt).Seconds())
	}
	count("copy_points_total", "Points that the time-series server has taken.", st.Points)
	count("copy_set_aside_points_total", "Points that the time-series server refused for good; a file has them with the reason.", st.Aside)
	count("copy_requests_total", "Requests to the time-series server.", st.Requests)
	count("copy_failed_requests_total", "Requests to the time-series server that failed.", st.Failures)
}
