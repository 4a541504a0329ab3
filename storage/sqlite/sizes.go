package sqlite

import (
	"context"
	"database/sql"
	"os"
)

// Size says how much of a session is stored.
type Size struct {
	Session    string
	Frames     uint64
	FrameBytes uint64 // the frames' own bytes
	Samples    uint64
	Rejects    uint64
	Events     uint64
	Alarms     uint64
	// DiskBytes is the session's share of the file, by the number of its rows in
	// each table.
	DiskBytes uint64
	// BytesPerFrame is DiskBytes over Frames; 0 if there are none.
	BytesPerFrame float64
}

// Sizes counts what each session holds, oldest first. It looks at every page of
// the file.
func (a *Archive) Sizes(ctx context.Context) ([]Size, error) {
	const query = `SELECT s.name,
	(SELECT COALESCE(SUM(count), 0) FROM frame_blocks WHERE link IN (SELECT id FROM links WHERE session = s.id)),
	(SELECT COALESCE(SUM(bytes), 0) FROM frame_blocks WHERE link IN (SELECT id FROM links WHERE session = s.id)),
	(SELECT COALESCE(SUM(count), 0) FROM sample_blocks WHERE rocket IN (SELECT id FROM rockets WHERE session = s.id)),
	(SELECT COUNT(*) FROM rejects WHERE link IN (SELECT id FROM links WHERE session = s.id)),
	(SELECT COUNT(*) FROM events WHERE session = s.id),
	(SELECT COUNT(*) FROM alarms WHERE session = s.id)
	FROM sessions s ORDER BY s.epoch_ns, s.id`
	var out []Size
	err := each(ctx, a.r, query, nil, func(rows *sql.Rows) error {
		var s Size
		err := rows.Scan(&s.Session, &s.Frames, &s.FrameBytes, &s.Samples, &s.Rejects, &s.Events, &s.Alarms)
		out = append(out, s)
		return err
	})
	if err != nil {
		return nil, explain(a.path, "count rows", err)
	}
	tables := map[string]uint64{}
	err = each(ctx, a.r, `SELECT name, SUM(pgsize) FROM dbstat GROUP BY name`, nil, func(rows *sql.Rows) error {
		var name string
		var size uint64
		err := rows.Scan(&name, &size)
		tables[name] = size
		return err
	})
	if err != nil {
		return nil, explain(a.path, "measure tables", err)
	}
	share(out, tables)
	return out, nil
}

// share gives each session its part of the tables' pages.
func share(sizes []Size, tables map[string]uint64) {
	columns := map[string]func(Size) uint64{
		"frame_blocks":  func(s Size) uint64 { return s.Frames },
		"sample_blocks": func(s Size) uint64 { return s.Samples },
		"rejects":       func(s Size) uint64 { return s.Rejects },
		"events":        func(s Size) uint64 { return s.Events },
		"alarms":        func(s Size) uint64 { return s.Alarms },
	}
	for table, rows := range columns {
		var total uint64
		for _, s := range sizes {
			total += rows(s)
		}
		for i := range sizes {
			if total > 0 {
				sizes[i].DiskBytes += uint64(float64(tables[table]+tables["sqlite_autoindex_"+table+"_1"]) * float64(rows(sizes[i])) / float64(total))
			}
		}
	}
	for i := range sizes {
		if sizes[i].Frames > 0 {
			sizes[i].BytesPerFrame = float64(sizes[i].DiskBytes) / float64(sizes[i].Frames)
		}
	}
}

// FileBytes is the size on disk of the archive with its write-ahead log.
func (a *Archive) FileBytes() (int64, error) {
	var total int64
	for _, suffix := range []string{"", "-wal"} {
		st, err := os.Stat(a.path + suffix)
		switch {
		case err == nil:
			total += st.Size()
		case suffix == "":
			return 0, err
		}
	}
	return total, nil
}
