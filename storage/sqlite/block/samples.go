package block

import (
	"fmt"
	"slices"
	"strings"
)

// Samples are the samples of one rocket over one link, column by column; all
// columns have the same length. Times are ns since the session's epoch.
type Samples struct {
	N      []int64
	Boot   []int64
	Seq    []int64 // -1 if the board sends none
	Clock  []int64 // us, -1 if none
	At     []int64 // measured
	Mono   []int64 // heard
	Passed []int64
	RSSI   Values // dBm, as the link measured it
	// Channels are those that any row has; after decoding by name.
	Channels []Channel
}

// Channel is a named column.
type Channel struct {
	Name string
	Values
}

// Rows is how many samples there are.
func (s *Samples) Rows() int { return len(s.N) }

func (s *Samples) ints() []*[]int64 {
	return []*[]int64{&s.N, &s.Boot, &s.Seq, &s.Clock, &s.At, &s.Mono, &s.Passed}
}

// Clear forgets the rows and keeps the memory, also of the channels.
func (s *Samples) Clear() {
	for _, c := range s.ints() {
		*c = (*c)[:0]
	}
	s.RSSI.clear()
	for i := range s.Channels {
		s.Channels[i].clear()
	}
}

// Channel is the column of a name, which is made if it is not there. hint is
// where it probably stands.
func (s *Samples) Channel(name string, hint int) *Channel {
	if hint < len(s.Channels) && s.Channels[hint].Name == name {
		return &s.Channels[hint]
	}
	for i := range s.Channels {
		if s.Channels[i].Name == name {
			return &s.Channels[i]
		}
	}
	s.Channels = append(s.Channels, Channel{Name: name})
	return &s.Channels[len(s.Channels)-1]
}

// Columns is how many channels have a value in some row.
func (s *Samples) Columns() int {
	n := 0
	for i := range s.Channels {
		if !s.Channels[i].none() {
			n++
		}
	}
	return n
}

// Slice are the rows from i up to k; it shares memory.
func (s *Samples) Slice(i, k int) *Samples {
	s.level()
	out := &Samples{RSSI: s.RSSI.slice(i, k)}
	for c := range s.Channels {
		out.Channels = append(out.Channels, Channel{s.Channels[c].Name, s.Channels[c].slice(i, k)})
	}
	to := out.ints()
	for c, from := range s.ints() {
		*to[c] = (*from)[i:k:k]
	}
	return out
}

// Pick are the rows with the given numbers, from 0, in that order.
func (s *Samples) Pick(rows []int) *Samples {
	s.level()
	out := &Samples{RSSI: s.RSSI.pick(rows)}
	for c := range s.Channels {
		out.Channels = append(out.Channels, Channel{s.Channels[c].Name, s.Channels[c].pick(rows)})
	}
	to := out.ints()
	for c, from := range s.ints() {
		*to[c] = pick(*from, rows)
	}
	return out
}

// Add appends the rows of another.
func (s *Samples) Add(more *Samples) {
	s.level()
	more.level()
	before, rows := s.Rows(), more.Rows()
	s.RSSI.add(before, more.RSSI, rows)
	for i, m := range more.Channels {
		s.Channel(m.Name, i).add(before, m.Values, rows)
	}
	from := more.ints()
	for c, to := range s.ints() {
		*to = append(*to, *from[c]...)
	}
	s.level()
}

// level brings all columns that any row has to the full length.
func (s *Samples) level() {
	s.RSSI.padUnlessEmpty(s.Rows())
	for i := range s.Channels {
		s.Channels[i].padUnlessEmpty(s.Rows())
	}
}

func (v *Values) padUnlessEmpty(n int) {
	if len(v.V) > 0 {
		v.pad(n)
	}
}

// EncodeSamples makes a block of at most MaxRows rows.
func (c *Codec) EncodeSamples(s *Samples) ([]byte, error) {
	if s.Rows() > maxRows {
		return nil, fmt.Errorf("encode block: %w: %d samples, at most %d are possible", ErrTooLarge, s.Rows(), maxRows)
	}
	s.level()
	w := c.writer()
	defer c.pool.Put(w)
	w.ints(idN, s.N, nil)
	w.ints(idBoot, s.Boot, nil)
	w.ints(idSeq, s.Seq, s.N)
	w.ints(idClock, s.Clock, nil)
	w.ints(idAt, s.At, nil)
	w.ints(idMono, s.Mono, s.At)
	w.ints(idPassed, s.Passed, s.Mono)
	w.floats(idRSSI, "", &s.RSSI)
	for i := range s.Channels {
		ch := &s.Channels[i]
		w.floats(idOf(ch.Name), ch.Name, &ch.Values)
	}
	if w.columns > maxColumns {
		return nil, fmt.Errorf("encode block: %w: %d columns, at most %d are possible", ErrTooLarge, w.columns, maxColumns)
	}
	if n := w.columns * s.Rows(); n > maxValues {
		return nil, fmt.Errorf("encode block: %w: %d values, at most %d are possible", ErrTooLarge, n, maxValues)
	}
	return w.finish(kindSamples, s.Rows()), nil
}

// DecodeSamples reads a block into s, whose memory is used again.
func (c *Codec) DecodeSamples(data []byte, s *Samples) error {
	v, err := c.open(data, kindSamples)
	if err != nil {
		return err
	}
	defer v.Close()
	s.N = v.ints(idN, s.N, nil)
	s.Boot = v.ints(idBoot, s.Boot, nil)
	s.Seq = v.ints(idSeq, s.Seq, s.N)
	s.Clock = v.ints(idClock, s.Clock, nil)
	s.At = v.ints(idAt, s.At, nil)
	s.Mono = v.ints(idMono, s.Mono, s.At)
	s.Passed = v.ints(idPassed, s.Passed, s.Mono)
	v.floats(idRSSI, &s.RSSI)
	old := s.Channels
	s.Channels = s.Channels[:0]
	for i := range v.dir.columns {
		col := &v.dir.columns[i]
		if col.name == "" && col.id != namedColumn {
			continue
		}
		ch := Channel{Name: col.name}
		if k := len(s.Channels); k < len(old) {
			ch.V = old[k].V
		}
		v.values(col, &ch.Values)
		s.Channels = append(s.Channels, ch)
	}
	slices.SortFunc(s.Channels, func(x, y Channel) int { return strings.Compare(x.Name, y.Name) })
	return v.err
}

// Numbers are the numbers of the frames that the samples are from.
func (s *Samples) Numbers() []int64 { return s.N }
