package export

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/klauspost/compress/zstd"
)

// The numbers of Apache Parquet's own description (parquet.thrift of
// apache/parquet-format), as far as a flat table needs them.
const (
	parquetInt64, parquetDouble, parquetBytes         = 2, 5, 6 // Type
	parquetPlain, parquetRLE, parquetDictionary       = 0, 3, 8 // Encoding
	parquetZstd                                       = 6       // CompressionCodec
	parquetDataPage, parquetDictionaryPage            = 0, 2    // PageType
	parquetUTF8                                       = 0       // ConvertedType
	compactTrue, compactI32, compactI64, compactBytes = 1, 5, 6, 8
	compactList, compactStruct                        = 9, 12
)

// parquetColumn is one column while its row group is gathered: the page that
// fills, and the pages before it, compressed. A text is a number into dict.
type parquetColumn struct {
	name     string
	kind     int64 // one of the types
	instant  bool  // int64 that is ns since 1970, UTC
	optional bool

	values  []byte // of the page, those that are there
	present []byte // of an optional column, a bit a row
	rows    int    // of the page
	nulls   int    // of the page

	dict     map[string]uint32
	texts    []byte // the dictionary's page
	last     string
	index    uint32 // of last
	run      int    // how often last stands at the end of the page
	pages    []byte
	plain    int // bytes of the pages before compression
	inGroup  int // values
	dataPage int // offset in the file
	textPage int
	size     int // in the file
}

// parquetFile writes a file of such columns, row group by row group: some 10 MB
// of memory while writing.
type parquetFile struct {
	page, group int // rows of each

	w       io.Writer
	zip     *zstd.Encoder
	at      int // bytes written
	columns []*parquetColumn
	rows    int // of the group
	total   int
	groups  []compact
	meta    [][2]string
}

func newParquetFile(w io.Writer, columns []*parquetColumn) (*parquetFile, error) {
	zip, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(256<<10))
	if err != nil {
		return nil, fmt.Errorf("make compressor: %w", err)
	}
	f := &parquetFile{page: 8192, group: 1 << 17, w: w, zip: zip, columns: columns}
	return f, f.write([]byte("PAR1"))
}

func (f *parquetFile) write(b []byte) error {
	n, err := f.w.Write(b)
	f.at += n
	if err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}

func (c *parquetColumn) int64(v int64) { c.word(uint64(v)) }

// count writes a number that is -1 where there is none.
func (c *parquetColumn) count(v int64) {
	if v < 0 {
		c.null()
		return
	}
	c.int64(v)
}

func (c *parquetColumn) double(v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		c.null()
		return
	}
	c.word(math.Float64bits(v))
}

func (c *parquetColumn) word(v uint64) {
	c.values = binary.LittleEndian.AppendUint64(c.values, v)
	c.there(1)
}

func (c *parquetColumn) null() {
	c.nulls++
	c.there(0)
}

func (c *parquetColumn) there(bit byte) {
	if c.optional {
		if c.rows%8 == 0 {
			c.present = append(c.present, 0)
		}
		c.present[c.rows/8] |= bit << (c.rows % 8)
	}
	c.rows++
}

func (c *parquetColumn) text(s string) {
	if len(c.dict) == 0 || s != c.last {
		c.endRun()
		index, known := c.dict[s]
		if !known {
			index = uint32(len(c.dict))
			if c.dict == nil {
				c.dict = map[string]uint32{}
			}
			c.dict[s] = index
			c.texts = binary.LittleEndian.AppendUint32(c.texts, uint32(len(s)))
			c.texts = append(c.texts, s...)
		}
		c.last, c.index = s, index
	}
	c.run++
	c.rows++
}

// endRun writes how often the last text stood there: a run of the hybrid of run
// lengths and packed bits, with numbers of 32 bits.
func (c *parquetColumn) endRun() {
	if c.run > 0 {
		c.values = binary.AppendUvarint(c.values, uint64(c.run)<<1)
		c.values = binary.LittleEndian.AppendUint32(c.values, c.index)
	}
	c.run = 0
}

// endRow is called after each column has taken its value of a row.
func (f *parquetFile) endRow() error {
	f.rows++
	f.total++
	if f.rows%f.page == 0 {
		for _, c := range f.columns {
			f.endPage(c)
		}
	}
	if f.rows < f.group {
		return nil
	}
	return f.endGroup()
}

// endPage compresses a page: what is there, as a hybrid of run lengths and
// packed bits of one bit, then the values.
func (f *parquetFile) endPage(c *parquetColumn) {
	if c.rows == 0 {
		return
	}
	var page []byte
	if c.optional {
		levels := binary.AppendUvarint(nil, uint64(len(c.present))<<1|1)
		levels = append(levels, c.present...)
		if c.nulls == 0 || c.nulls == c.rows {
			levels = append(binary.AppendUvarint(nil, uint64(c.rows)<<1), byte(1-c.nulls/c.rows))
		}
		page = append(binary.LittleEndian.AppendUint32(nil, uint32(len(levels))), levels...)
	}
	encoding := int64(parquetPlain)
	if c.kind == parquetBytes {
		c.endRun()
		page, encoding = append(page, 32), parquetDictionary
	}
	page = append(page, c.values...)
	var head compact
	head.i32(1, int64(c.rows))
	head.i32(2, encoding)
	head.i32(3, parquetRLE)
	head.i32(4, parquetRLE)
	c.pages = f.appendPage(c, c.pages, parquetDataPage, 5, page, head)
	c.inGroup += c.rows
	c.values, c.present, c.rows, c.nulls = c.values[:0], c.present[:0], 0, 0
}

// appendPage appends a page with its header, in which head is the field that
// belongs to the kind of page.
func (f *parquetFile) appendPage(c *parquetColumn, to []byte, kind int64, field int, page []byte, head compact) []byte {
	packed := f.zip.EncodeAll(page, nil)
	var h compact
	h.i32(1, kind)
	h.i32(2, int64(len(page)))
	h.i32(3, int64(len(packed)))
	h.inner(field, head)
	h.end()
	c.plain += len(h.b) + len(page)
	return slices.Concat(to, h.b, packed)
}

// endGroup writes the row group, column by column.
func (f *parquetFile) endGroup() error {
	if f.rows == 0 {
		return nil
	}
	var chunks []compact
	start, plain := f.at, 0
	for _, c := range f.columns {
		f.endPage(c)
		first := f.at
		if c.kind == parquetBytes {
			var head compact
			head.i32(1, int64(len(c.dict)))
			head.i32(2, parquetPlain)
			c.textPage = f.at
			if err := f.write(f.appendPage(c, nil, parquetDictionaryPage, 7, c.texts, head)); err != nil {
				return err
			}
		}
		c.dataPage = f.at
		if err := f.write(c.pages); err != nil {
			return err
		}
		c.size = f.at - first
		var chunk compact
		chunk.i64(2, int64(first))
		chunk.inner(3, c.metadata())
		chunks = append(chunks, chunk)
		plain += c.plain
		c.dict, c.texts, c.pages, c.plain, c.inGroup = nil, c.texts[:0], c.pages[:0], 0, 0
	}
	var g compact
	g.list(1, chunks)
	g.i64(2, int64(plain))
	g.i64(3, int64(f.rows))
	g.i64(5, int64(start))
	g.i64(6, int64(f.at-start))
	f.groups = append(f.groups, g)
	f.rows = 0
	return nil
}

// metadata is the ColumnMetaData of what was written.
func (c *parquetColumn) metadata() compact {
	var m compact
	m.i32(1, c.kind)
	m.head(2, compactList)
	if c.kind == parquetBytes {
		m.b = append(m.b, 3<<4|compactI32, 2*parquetPlain, 2*parquetRLE, 2*parquetDictionary)
	} else {
		m.b = append(m.b, 2<<4|compactI32, 2*parquetPlain, 2*parquetRLE)
	}
	m.head(3, compactList)
	m.b = append(m.b, 1<<4|compactBytes)
	m.raw(c.name)
	m.i32(4, parquetZstd)
	m.i64(5, int64(c.inGroup))
	m.i64(6, int64(c.plain))
	m.i64(7, int64(c.size))
	m.i64(9, int64(c.dataPage))
	if c.kind == parquetBytes {
		m.i64(11, int64(c.textPage))
	}
	return m
}

// schema is the column's SchemaElement.
func (c *parquetColumn) schema() compact {
	var s compact
	s.i32(1, c.kind)
	repetition := int64(0)
	if c.optional {
		repetition = 1
	}
	s.i32(3, repetition)
	s.bytes(4, c.name)
	var logical, is compact
	switch {
	case c.kind == parquetBytes:
		s.i32(6, parquetUTF8)
		logical.inner(1, is)
		s.inner(10, logical)
	case c.instant:
		var ns compact
		ns.inner(3, compact{})
		is.head(1, compactTrue) // in UTC
		is.inner(2, ns)
		logical.inner(8, is)
		s.inner(10, logical)
	}
	return s
}

// close writes the last rows and the description of the whole.
func (f *parquetFile) close() error {
	if err := f.endGroup(); err != nil {
		return err
	}
	var root compact
	root.bytes(4, "samples")
	root.i32(5, int64(len(f.columns)))
	schema := []compact{root}
	for _, c := range f.columns {
		schema = append(schema, c.schema())
	}
	var meta []compact
	for _, kv := range f.meta {
		var m compact
		m.bytes(1, kv[0])
		m.bytes(2, kv[1])
		meta = append(meta, m)
	}
	var m compact
	m.i32(1, 1)
	m.list(2, schema)
	m.i64(3, int64(f.total))
	m.list(4, f.groups)
	m.list(5, meta)
	m.bytes(6, "padlark version 1 (build )")
	m.end()
	return f.write(append(binary.LittleEndian.AppendUint32(m.b, uint32(len(m.b))), "PAR1"...))
}

// compact is a struct in Apache Thrift's compact protocol
// (thrift-compact-protocol.md of apache/thrift), without its end.
type compact struct {
	b    []byte
	last int
}

func (c *compact) head(field int, kind byte) {
	c.b = append(c.b, byte(field-c.last)<<4|kind)
	c.last = field
}

func (c *compact) i32(field int, v int64) {
	c.head(field, compactI32)
	c.b = binary.AppendVarint(c.b, v)
}

func (c *compact) i64(field int, v int64) {
	c.head(field, compactI64)
	c.b = binary.AppendVarint(c.b, v)
}

func (c *compact) bytes(field int, s string) {
	c.head(field, compactBytes)
	c.raw(s)
}

func (c *compact) raw(s string) {
	c.b = binary.AppendUvarint(c.b, uint64(len(s)))
	c.b = append(c.b, s...)
}

func (c *compact) inner(field int, s compact) {
	c.head(field, compactStruct)
	c.b = append(c.b, s.b...)
	c.end()
}

func (c *compact) list(field int, items []compact) {
	c.head(field, compactList)
	if len(items) < 15 {
		c.b = append(c.b, byte(len(items))<<4|compactStruct)
	} else {
		c.b = binary.AppendUvarint(append(c.b, 15<<4|compactStruct), uint64(len(items)))
	}
	for _, s := range items {
		c.b = append(c.b, s.b...)
		c.end()
	}
}

func (c *compact) end() { c.b = append(c.b, 0) }
