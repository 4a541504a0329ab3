package export

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/storage"
)

// writeParquet writes one row a sample (Apache Parquet, compressed with Zstandard).
// Times are timestamps in ns, UTC; texts are dictionaries; channels are
// optional doubles, null where not measured. The file's metadata has each
// channel's unit under "unit:NAME", and under "time_fixed_by:SESSION" how the
// times were fixed if they were.
func writeParquet(ctx context.Context, w io.Writer, src Source, q storage.Query) (uint64, error) {
	names, err := channels(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export parquet: %w", err)
	}
	times, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export parquet: %w", err)
	}
	p, err := newParquetTable(w, names)
	if err != nil {
		return 0, fmt.Errorf("export parquet: %w", err)
	}
	for id := range times {
		p.out.meta = append(p.out.meta, [2]string{"time_fixed_by:" + id, times.by(id)})
	}
	if err := src.Samples(ctx, q, p.add); err != nil {
		return p.n, fmt.Errorf("export parquet: %w", err)
	}
	if err := p.out.close(); err != nil {
		return p.n, fmt.Errorf("export parquet: %w", err)
	}
	return p.n, nil
}

// parquetTable fills the columns, which stand in the alphabet's order.
type parquetTable struct {
	out                   *parquetFile
	order                 columnOrder
	session, rocket, link *parquetColumn
	n                     uint64

	frame, boot, at, heard, seq, clock, rssi *parquetColumn

	channels []*parquetColumn
}

func newParquetTable(w io.Writer, names []string) (*parquetTable, error) {
	var columns []*parquetColumn
	column := func(name string, kind int64, optional bool) *parquetColumn {
		c := &parquetColumn{name: name, kind: kind, optional: optional}
		columns = append(columns, c)
		return c
	}
	t := &parquetTable{
		order:   columnOrder{names: names},
		session: column("session", parquetBytes, false), rocket: column("rocket", parquetBytes, false), link: column("link", parquetBytes, false),
		frame: column("n", parquetInt64, false), boot: column("boot", parquetInt64, false),
		at: column("at", parquetInt64, false), heard: column("heard", parquetInt64, false),
		seq: column("seq", parquetInt64, true), clock: column("clock_us", parquetInt64, true),
		rssi: column("link_rssi_dbm", parquetDouble, true),
	}
	t.at.instant, t.heard.instant = true, true
	own := columns
	var units [][2]string
	for _, n := range names {
		// A channel that is called like one of our own columns gets another name.
		name := n
		if slices.ContainsFunc(own, func(c *parquetColumn) bool { return c.name == n }) {
			name = "channel_" + n
		}
		t.channels = append(t.channels, column(name, parquetDouble, true))
		if u := unit(n); u != "" {
			units = append(units, [2]string{"unit:" + name, u})
		}
	}
	slices.SortFunc(columns, func(a, b *parquetColumn) int { return strings.Compare(a.name, b.name) })
	var err error
	if t.out, err = newParquetFile(w, columns); err != nil {
		return nil, err
	}
	t.out.meta = units
	return t, nil
}

func (t *parquetTable) add(s *decode.Sample) error {
	t.session.text(s.Session)
	t.rocket.text(s.Rocket)
	t.link.text(s.Link)
	t.frame.int64(int64(s.N))
	t.boot.int64(int64(s.Boot))
	t.at.int64(s.At.UnixNano())
	t.heard.int64(s.Heard.UnixNano())
	t.seq.count(s.Seq)
	t.clock.count(s.Clock)
	rssi := math.NaN()
	if s.RSSI != nil {
		rssi = *s.RSSI
	}
	t.rssi.double(rssi)
	for k, i := range t.order.of(s.Values.Names) {
		v := math.NaN()
		if i >= 0 {
			v = s.Values.Values[i]
		}
		t.channels[k].double(v)
	}
	t.n++
	return t.out.endRow()
}
