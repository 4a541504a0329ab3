package export

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/parquet-go/parquet-go"

	"padlark/decode"
	"padlark/storage"
)

// parquetRows is how many rows are handed over at once, parquetGroup how many
// make a row group: some 10 MB of memory while writing.
const (
	parquetRows  = 512
	parquetGroup = 1 << 17
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
	p := newParquetTable(w, names)
	for id := range times {
		p.out.SetKeyValueMetadata("time_fixed_by:"+id, times.by(id))
	}
	if err := src.Samples(ctx, q, p.add); err != nil {
		return p.n, fmt.Errorf("export parquet: %w", err)
	}
	if err := p.close(); err != nil {
		return p.n, fmt.Errorf("export parquet: %w", err)
	}
	return p.n, nil
}

// parquetTable fills rows of values in the order of the schema's columns, which
// is the alphabet's.
type parquetTable struct {
	out   *parquet.GenericWriter[any]
	order columnOrder
	fixed struct{ n, boot, at, heard, seq, clock, rssi int } // their columns
	texts [3]columnText                                      // session, rocket, link
	chans []int                                              // column of each channel
	width int
	rows  []parquet.Row
	slab  []parquet.Value
	n     uint64
}

// columnText is a text column with the last text as bytes.
type columnText struct {
	column int
	text   string
	bytes  []byte
}

// fixedParquet are the columns that every sample has.
func fixedParquet() map[string]parquet.Node {
	text := func() parquet.Node { return parquet.Encoded(parquet.String(), &parquet.RLEDictionary) }
	return map[string]parquet.Node{
		"session": text(), "rocket": text(), "link": text(),
		"n": parquet.Int(64), "boot": parquet.Int(64),
		"at": parquet.Timestamp(parquet.Nanosecond), "heard": parquet.Timestamp(parquet.Nanosecond),
		"seq": parquet.Optional(parquet.Int(64)), "clock_us": parquet.Optional(parquet.Int(64)),
		"link_rssi_dbm": parquet.Optional(parquet.Leaf(parquet.DoubleType)),
	}
}

func newParquetTable(w io.Writer, names []string) *parquetTable {
	group := parquet.Group{}
	for name, node := range fixedParquet() {
		group[name] = parquet.Compressed(node, &parquet.Zstd)
	}
	columns := make([]string, len(names))
	for i, n := range names {
		// A channel that is called like one of our own columns gets another name.
		columns[i] = n
		if _, taken := group[n]; taken {
			columns[i] = "channel_" + n
		}
		group[columns[i]] = parquet.Compressed(parquet.Optional(parquet.Leaf(parquet.DoubleType)), &parquet.Zstd)
	}
	t := &parquetTable{order: columnOrder{names: names}, width: len(group)}
	schema := parquet.NewSchema("samples", group)
	at := map[string]int{}
	for i, path := range schema.Columns() {
		at[path[0]] = i
	}
	for _, c := range columns {
		t.chans = append(t.chans, at[c])
	}
	for i, c := range []string{"session", "rocket", "link"} {
		t.texts[i].column = at[c]
	}
	f := &t.fixed
	f.n, f.boot, f.at, f.heard = at["n"], at["boot"], at["at"], at["heard"]
	f.seq, f.clock, f.rssi = at["seq"], at["clock_us"], at["link_rssi_dbm"]
	t.out = parquet.NewGenericWriter[any](w, schema, parquet.MaxRowsPerRowGroup(parquetGroup), parquet.CreatedBy("padlark", "1", ""))
	for i, n := range names {
		if u := unit(n); u != "" {
			t.out.SetKeyValueMetadata("unit:"+columns[i], u)
		}
	}
	return t
}

func (t *parquetTable) add(s *decode.Sample) error {
	row := t.room()
	t.text(row, 0, s.Session)
	t.text(row, 1, s.Rocket)
	t.text(row, 2, s.Link)
	f := &t.fixed
	row[f.n] = parquet.Int64Value(int64(s.N)).Level(0, 0, f.n)
	row[f.boot] = parquet.Int64Value(int64(s.Boot)).Level(0, 0, f.boot)
	row[f.at] = parquet.Int64Value(s.At.UnixNano()).Level(0, 0, f.at)
	row[f.heard] = parquet.Int64Value(s.Heard.UnixNano()).Level(0, 0, f.heard)
	count(row, f.seq, s.Seq)
	count(row, f.clock, s.Clock)
	rssi := math.NaN()
	if s.RSSI != nil {
		rssi = *s.RSSI
	}
	double(row, f.rssi, rssi)
	for k, i := range t.order.of(s.Values.Names) {
		v := math.NaN()
		if i >= 0 {
			v = s.Values.Values[i]
		}
		double(row, t.chans[k], v)
	}
	t.n++
	if len(t.rows) < parquetRows {
		return nil
	}
	return t.flush()
}

// room is the next row, in memory that is used again after each flush.
func (t *parquetTable) room() parquet.Row {
	n := len(t.rows)
	if t.slab == nil {
		t.slab = make([]parquet.Value, parquetRows*t.width)
	}
	row := parquet.Row(t.slab[n*t.width : (n+1)*t.width : (n+1)*t.width])
	t.rows = append(t.rows, row)
	return row
}

// text writes one of the names; it seldom changes, and is turned into bytes
// only then.
func (t *parquetTable) text(row parquet.Row, i int, s string) {
	k := &t.texts[i]
	if k.bytes == nil || k.text != s {
		k.text, k.bytes = s, []byte(s)
	}
	row[k.column] = parquet.ByteArrayValue(k.bytes).Level(0, 0, k.column)
}

// count writes a number that is -1 where there is none.
func count(row parquet.Row, c int, v int64) {
	if v < 0 {
		row[c] = parquet.NullValue().Level(0, 0, c)
		return
	}
	row[c] = parquet.Int64Value(v).Level(0, 1, c)
}

func double(row parquet.Row, c int, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		row[c] = parquet.NullValue().Level(0, 0, c)
		return
	}
	row[c] = parquet.DoubleValue(v).Level(0, 1, c)
}

func (t *parquetTable) flush() error {
	_, err := t.out.WriteRows(t.rows)
	t.rows = t.rows[:0]
	if err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}

func (t *parquetTable) close() error {
	if err := t.flush(); err != nil {
		return err
	}
	if err := t.out.Close(); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}
