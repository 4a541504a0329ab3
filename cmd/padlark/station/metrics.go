package station

import (
	"github.com/prometheus/client_golang/prometheus"

	"padlark/storage"
)

// recording tells a monitoring program, at each scrape, how the recording is:
// the journal, the archive that follows it, the disk below both.
type recording struct{ s *station }

var (
	journalBytes = prometheus.NewDesc("padlark_journal_bytes", "Bytes in the journal of the running session.", nil, nil)
	journalWaits = prometheus.NewDesc("padlark_journal_waiting_bytes", "Bytes in memory that wait for room on the disk.", nil, nil)
	journalLost  = prometheus.NewDesc("padlark_journal_lost_records", "Records that gave way since the disk's trouble began; 0 without trouble.", nil, nil)
	behindBytes  = prometheus.NewDesc("padlark_journal_behind_bytes", "Bytes of the journal that a follower has still to take.", []string{"follower"}, nil)
	commits      = prometheus.NewDesc("padlark_archive_commits_total", "Commits of the archive since the station started.", nil, nil)
	diskFree     = prometheus.NewDesc("padlark_disk_free_bytes", "Bytes that may still be written to the data folder's disk.", nil, nil)
)

// Describe tells what there can be.
func (r recording) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{journalBytes, journalWaits, journalLost, behindBytes, commits, diskFree} {
		out <- d
	}
}

// Collect reads how it is now.
func (r recording) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	j := r.s.journal.State()
	w, _ := r.s.writer.State()
	gauge(journalBytes, float64(j.End))
	gauge(journalWaits, float64(j.Waiting))
	gauge(journalLost, float64(j.Lost))
	gauge(behindBytes, float64(max(0, j.End-w.Place)), "archive")
	out <- prometheus.MustNewConstMetric(commits, prometheus.CounterValue, float64(w.Commits))
	if free, ok := storage.Free(r.s.cfg.Station.Data); ok {
		gauge(diskFree, float64(free))
	}
}
