package station

import (
	"padlark/storage"
	"padlark/web/scrape"
)

// scrape tells a monitoring program how the recording is: the journal, the
// archive that follows it, the disk below both.
func (s *station) scrape(p *scrape.Page) {
	j := s.journal.State()
	w, _ := s.writer.State()
	p.Gauge("padlark_journal_bytes", "Bytes in the journal of the running session.", float64(j.End))
	p.Gauge("padlark_journal_waiting_bytes", "Bytes in memory that wait for room on the disk.", float64(j.Waiting))
	p.Gauge("padlark_journal_lost_records", "Records that gave way since the disk's trouble began; 0 without trouble.", float64(j.Lost))
	p.Gauge("padlark_journal_behind_bytes", "Bytes of the journal that a follower has still to take.", float64(max(0, j.End-w.Place)), "follower", "archive")
	p.Count("padlark_archive_commits_total", "Commits of the archive since the station started.", uint64(w.Commits))
	if free, ok := storage.Free(s.cfg.Station.Data); ok {
		p.Gauge("padlark_disk_free_bytes", "Bytes that may still be written to the data folder's disk.", float64(free))
	}
}
