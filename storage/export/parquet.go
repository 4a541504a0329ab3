package export

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/parquet-go/parquet-go"

	"padlark/decode"
	"padlark/storage/sqlite"
)

// parquetRows is how many rows are handed over at once, parquetGroup how many
// make a row group: some 10 MB of memory while writing.
const (
	parquetRows  = 512
	parquetGroup = 1 << 17
)

// Parquet writes one row a sample (Apache Parquet, compressed with Zstandard).
// Times are timestamps in ns, UTC; texts are dictionaries; channels are
// optional doubles, null where not measured. The file's metadata has each
// channel's unit under "unit:NAME".
func Parquet(ctx context.Context, w io.Writer, src Source, q sqlite.Query) (uint64, error) {
	names, err := channels(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export parquet: %w", err)
	}
	p := newParquetTable(w, names)
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
	at    map[string]int // column of each fixed name
	chans []int          // column of each channel
	width int
	rows  []parquet.Row
	n     uint64
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
	t := &parquetTable{order: columnOrder{names: names}, at: map[string]int{}, width: len(group)}
	schema := parquet.NewSchema("samples", group)
	for i, path := range schema.Columns() {
		t.at[path[0]] = i
	}
	for _, c := range columns {
		t.chans = append(t.chans, t.at[c])
	}
	t.out = parquet.NewGenericWriter[any](w, schema, parquet.MaxRowsPerRowGroup(parquetGroup), parquet.CreatedBy("padlark", "1", ""))
	for i, n := range names {
		if u := unit(n); u != "" {
			t.out.SetKeyValueMetadata("unit:"+columns[i], u)
		}
	}
	return t
}

func (t *parquetTable) add(s *decode.Sample) error {
	row := make(parquet.Row, t.width)
	put := func(name string, v parquet.Value) { row[t.at[name]] = v.Level(0, 0, t.at[name]) }
	put("session", parquet.ByteArrayValue([]byte(s.Session)))
	put("rocket", parquet.ByteArrayValue([]byte(s.Rocket)))
	put("link", parquet.ByteArrayValue([]byte(s.Link)))
	put("n", parquet.Int64Value(int64(s.N)))
	put("boot", parquet.Int64Value(int64(s.Boot)))
	put("at", parquet.Int64Value(s.At.UnixNano()))
	put("heard", parquet.Int64Value(s.Heard.UnixNano()))
	t.count(row, "seq", s.Seq)
	t.count(row, "clock_us", s.Clock)
	rssi := math.NaN()
	if s.RSSI != nil {
		rssi = *s.RSSI
	}
	double(row, t.at["link_rssi_dbm"], rssi)
	for k, i := range t.order.of(s.Values.Names) {
		v := math.NaN()
		if i >= 0 {
			v = s.Values.Values[i]
		}
		double(row, t.chans[k], v)
	}
	t.n++
	t.rows = append(t.rows, row)
	if len(t.rows) < parquetRows {
		return nil
	}
	return t.flush()
}

// count writes a number that is -1 where there is none.
func (t *parquetTable) count(row parquet.Row, name string, v int64) {
	c := t.at[name]
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
	t.rows = slices.Delete(t.rows, 0, len(t.rows))
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
