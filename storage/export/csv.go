package export

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"padlark/decode"
	"padlark/storage"
)

// writeCSV writes one line a sample after a header line, as RFC 4180 describes it:
// commas, CRLF, quotes where a field needs them. A channel's header is its name
// and, in brackets, its unit; a missing value is an empty field. Times are
// ISO 8601 in UTC, with the session's shift unless q.Recorded is set; if times
// were fixed two more columns say by how much and how.
func writeCSV(ctx context.Context, w io.Writer, src Source, q storage.Query) (uint64, error) {
	names, err := channels(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export csv: %w", err)
	}
	times, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export csv: %w", err)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	line := csvHeader(nil, names, times)
	if _, err := out.Write(line); err != nil {
		return 0, fmt.Errorf("export csv: %w", err)
	}
	var n uint64
	order := columnOrder{names: names}
	err = src.Samples(ctx, q, func(s *decode.Sample) error {
		line = csvLine(line[:0], s, &order, times)
		if _, err := out.Write(line); err != nil {
			return fmt.Errorf("write: %w", err)
		}
		n++
		return nil
	})
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return n, fmt.Errorf("export csv: %w", err)
	}
	return n, nil
}

// fixedColumns stand before the channels.
var fixedColumns = []string{
	"session", "rocket", "link", "n", "at [UTC]", "heard [UTC]", "boot", "seq", "clock [us]", "link_rssi [dBm]",
}

func csvHeader(b []byte, names []string, times fixed) []byte {
	for _, c := range fixedColumns {
		b = append(csvText(b, c), ',')
	}
	for _, n := range names {
		if u := unit(n); u != "" {
			n += " [" + u + "]"
		}
		b = append(csvText(b, n), ',')
	}
	if len(times) > 0 {
		b = append(b, "time_shift [s],time_fixed_by,"...)
	}
	return append(b[:len(b)-1], '\r', '\n')
}

func csvLine(b []byte, s *decode.Sample, order *columnOrder, times fixed) []byte {
	b = append(csvText(b, s.Session), ',')
	b = append(csvText(b, s.Rocket), ',')
	b = append(csvText(b, s.Link), ',')
	b = append(strconv.AppendUint(b, s.N, 10), ',')
	b = append(csvTime(b, s.At), ',')
	b = append(csvTime(b, s.Heard), ',')
	b = append(strconv.AppendUint(b, uint64(s.Boot), 10), ',')
	b = append(csvCount(b, s.Seq), ',')
	b = append(csvCount(b, s.Clock), ',')
	if s.RSSI != nil {
		b = csvNumber(b, *s.RSSI)
	}
	for _, i := range order.of(s.Values.Names) {
		b = append(b, ',')
		if i >= 0 {
			b = csvNumber(b, s.Values.Values[i])
		}
	}
	if len(times) > 0 {
		b = append(b, ',')
		if one, ok := times[s.Session]; ok {
			b = append(b, shiftText(one)...)
			b = append(b, ',')
			b = csvText(b, one.ShiftSource)
		} else {
			b = append(b, ',')
		}
	}
	return append(b, '\r', '\n')
}

// csvText quotes a field that holds a comma, a quote or a line break.
func csvText(b []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return append(b, s...)
	}
	b = append(b, '"')
	b = append(b, strings.ReplaceAll(s, `"`, `""`)...)
	return append(b, '"')
}

func csvTime(b []byte, t time.Time) []byte {
	return t.UTC().AppendFormat(b, "2006-01-02T15:04:05.000000000Z")
}

// csvCount writes a count that is -1 where the board sends none.
func csvCount(b []byte, v int64) []byte {
	if v < 0 {
		return b
	}
	return strconv.AppendInt(b, v, 10)
}

// csvNumber writes the shortest digits that give the same number back.
func csvNumber(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

// columnOrder says where in a sample each column's value stands. Samples of one
// layout share their slice of names, so the answer seldom changes.
type columnOrder struct {
	names []string
	last  []string
	index []int
}

// of returns, for each column, the value's place or -1.
func (c *columnOrder) of(names []string) []int {
	if c.index != nil && len(names) == len(c.last) && (len(names) == 0 || &names[0] == &c.last[0]) {
		return c.index
	}
	c.last = names
	c.index = c.index[:0]
	for _, want := range c.names {
		at := -1
		for i, n := range names {
			if n == want {
				at = i
			}
		}
		c.index = append(c.index, at)
	}
	return c.index
}
