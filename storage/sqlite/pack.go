package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"sort"
	"strings"

	"padlark/decode"
	"padlark/storage/sqlite/block"
)

// Until version 3 each frame and each sample was a row of its own. pack moves
// what is left of them into blocks, one transaction for each block, and at last
// drops the old tables; shrink then gives the room back. It may be interrupted at
// any moment: the next Open goes on. Rows that cannot be read because the file is
// damaged stop it.

// ErrOlder is returned by OpenBeside and OpenReadOnly for an archive of an older
// version, or one whose change of version was interrupted. Open brings it up to
// date.
var ErrOlder = errors.New("archive is of an older version")

// mustBePresent refuses an archive that Open has not brought to this version.
func mustBePresent(ctx context.Context, db *sql.DB, path string, version int) error {
	steps, err := migrations()
	if err != nil {
		return err
	}
	old := version < len(steps)
	if !old {
		if old, err = unpacked(ctx, db); err != nil {
			return explain(path, "open archive: read tables", err)
		}
	}
	if old {
		return fmt.Errorf("open archive %s: %w", path, ErrOlder)
	}
	return nil
}

// unpacked says whether the old tables are still there.
func unpacked(ctx context.Context, db *sql.DB) (bool, error) {
	var n int
	err := db.QueryRowContext(ctx, `SELECT COUNT(*) FROM sqlite_schema WHERE type = 'table' AND name = 'frames'`).Scan(&n)
	return n > 0, err
}

func (a *Archive) pack(ctx context.Context, t *teller) error {
	const doing = "pack rows into blocks"
	todo, err := unpacked(ctx, a.w)
	if err != nil || !todo {
		return explain(a.path, doing, err)
	}
	for _, kind := range []struct {
		name, about string // about how many there are, without counting each
		step        func(context.Context, *inserter) (moved int, err error)
	}{
		{"frames", `SELECT COALESCE(SUM(1 + (SELECT MAX(n) FROM frames WHERE link = l.id) - (SELECT MIN(n) FROM frames WHERE link = l.id)), 0) FROM links l`, packFrames},
		// Nearly every frame is a sample.
		{"samples", `SELECT (SELECT COALESCE(SUM(count), 0) FROM frame_blocks) - (SELECT COALESCE(SUM(count), 0) FROM sample_blocks)`, packSamples},
	} {
		var about int64
		if err := a.write(ctx, doing, func(in *inserter) error { return in.row(ctx, kind.about, nil, &about) }); err != nil {
			return err
		}
		t.at(kind.name+" are packed", about)
		for moved := 1; moved > 0; t.did(moved) {
			err := a.write(ctx, doing, func(in *inserter) error {
				var err error
				moved, err = kind.step(ctx, in)
				return err
			})
			if err != nil {
				return err
			}
		}
	}
	t.at("the tables of old are dropped", 0)
	return a.write(ctx, doing, func(in *inserter) error {
		for _, q := range []string{
			`DROP TABLE samples`, `DROP TABLE frames`,
			// A link's line rate was here so that its frames need not repeat it.
			`ALTER TABLE links DROP COLUMN baud`,
		} {
			if _, err := in.conn.ExecContext(ctx, q); err != nil {
				return err
			}
		}
		return nil
	})
}

// packFrames moves the first frames that are left of some link; 0 if none is.
func packFrames(ctx context.Context, in *inserter) (moved int, err error) {
	var link int64
	err = in.row(ctx, `SELECT link FROM frames LIMIT 1`, nil, &link)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	to := in.frames.batch(track{link: link})
	err = each(ctx, in.conn, `SELECT f.n, f.mono_ns, f.passed_ns, f.ord, COALESCE(f.heard_off_ns, 0), f.wire, COALESCE(f.baud, l.baud), f.rssi_dbm, f.bytes
		FROM frames f JOIN links l ON l.id = f.link WHERE f.link = ? ORDER BY f.n LIMIT ?`, []any{link, blockRows}, func(rows *sql.Rows) error {
		return scanOldFrame(rows, to)
	})
	if err != nil {
		return 0, err
	}
	_, err = in.exec(ctx, `DELETE FROM frames WHERE link = ? AND n <= ?`, link, to.N[to.Rows()-1])
	return to.Rows(), err
}

func scanOldFrame(rows *sql.Rows, to *block.Frames) error {
	var v [7]int64
	var rssi sql.NullFloat64
	var bytes []byte
	if err := rows.Scan(&v[0], &v[1], &v[2], &v[3], &v[4], &v[5], &v[6], &rssi, &bytes); err != nil {
		return err
	}
	if rssi.Valid {
		to.RSSI.Put(to.Rows(), rssi.Float64)
	}
	for i, c := range []*[]int64{&to.N, &to.Mono, &to.Passed, &to.Ord, &to.Off, &to.Wire, &to.Baud} {
		*c = append(*c, v[i])
	}
	to.Bytes = append(to.Bytes, bytes)
	return nil
}

// oldColumns are the channels that had a column of their own.
func oldColumns() []string {
	return []string{
		decode.PressurePa, decode.TemperatureC, decode.AltitudeM, decode.VelocityMps,
		decode.AccelMps2, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2,
		decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed,
		decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSAltitudeM, decode.GPSFix,
		decode.RSSIDbm, decode.SNRDb,
	}
}

// packSamples moves the first samples that are left of some rocket and link; 0 if
// none is.
func packSamples(ctx context.Context, in *inserter) (moved int, err error) {
	var t track
	err = in.row(ctx, `SELECT rocket, link FROM samples LIMIT 1`, nil, &t.rocket, &t.link)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	to := in.samples.batch(t)
	columns := oldColumns()
	err = each(ctx, in.conn, `SELECT n, boot, COALESCE(seq, -1), COALESCE(clock_us, -1), at_ns, mono_ns, passed_ns, link_rssi_dbm, other, `+strings.Join(columns, ", ")+`
		FROM samples WHERE rocket = ? AND link = ? ORDER BY n LIMIT ?`, []any{t.rocket, t.link, blockRows}, func(rows *sql.Rows) error {
		return scanOldSample(rows, to, columns)
	})
	if err != nil {
		return 0, err
	}
	_, err = in.exec(ctx, `DELETE FROM samples WHERE rocket = ? AND link = ? AND n <= ?`, t.rocket, t.link, to.N[to.Rows()-1])
	return to.Rows(), err
}

func scanOldSample(rows *sql.Rows, to *block.Samples, columns []string) error {
	var v [7]int64
	var rssi sql.NullFloat64
	var other *string
	values := make([]sql.NullFloat64, len(columns))
	dest := []any{&v[0], &v[1], &v[2], &v[3], &v[4], &v[5], &v[6], &rssi, &other}
	for i := range values {
		dest = append(dest, &values[i])
	}
	if err := rows.Scan(dest...); err != nil {
		return err
	}
	row := to.Rows()
	if rssi.Valid {
		to.RSSI.Put(row, rssi.Float64)
	}
	for i, name := range columns {
		if values[i].Valid {
			to.Channel(name, i).Put(row, values[i].Float64)
		}
	}
	if other != nil {
		var m map[string]float64
		if err := json.Unmarshal([]byte(*other), &m); err != nil {
			return fmt.Errorf("read channels: %w", err)
		}
		names := make([]string, 0, len(m))
		for name := range m {
			names = append(names, name)
		}
		sort.Strings(names)
		for _, name := range names {
			to.Channel(name, len(columns)).Put(row, m[name])
		}
	}
	for i, c := range []*[]int64{&to.N, &to.Boot, &to.Seq, &to.Clock, &to.At, &to.Mono, &to.Passed} {
		*c = append(*c, v[i])
	}
	return nil
}
