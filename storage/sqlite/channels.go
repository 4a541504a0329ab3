package sqlite

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strings"

	"padlark/decode"
)

// columns are the channels that have a column of their own, in the order of the
// table.
var columns = [...]string{
	decode.PressurePa, decode.TemperatureC, decode.AltitudeM, decode.VelocityMps,
	decode.AccelMps2, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2,
	decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed,
	decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSAltitudeM, decode.GPSFix,
	decode.RSSIDbm, decode.SNRDb,
}

const nColumns = len(columns)

func columnOf(name string) int {
	for i, c := range columns {
		if c == name {
			return i
		}
	}
	return -1
}

// columnList is the columns' names for a statement.
func columnList(prefix string) string {
	return prefix + strings.Join(columns[:], ", "+prefix)
}

// split puts a sample's channels into args, one for each column, and gives back
// the JSON of those that have none; nil if there are no such.
func split(c decode.Channels, args []any) (other any, err error) {
	for i := range args {
		args[i] = nil
	}
	var rest decode.Channels
	for i, name := range c.Names {
		v := c.Values[i]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		if k := columnOf(name); k >= 0 {
			args[k] = v
			continue
		}
		rest.Names = append(rest.Names, name)
		rest.Values = append(rest.Values, v)
	}
	if len(rest.Names) == 0 {
		return nil, nil
	}
	b, err := rest.MarshalJSON()
	if err != nil {
		return nil, fmt.Errorf("write channels: %w", err)
	}
	return string(b), nil
}

// joiner puts channels together again. Samples with the same set of channels
// share one slice of names.
type joiner struct {
	names map[string][]string
}

func newJoiner() *joiner { return &joiner{names: map[string][]string{}} }

// join makes the channels from the columns (nil where NULL) and the JSON of the
// others. The names are sorted, as they are when read from the bus.
func (j *joiner) join(cols *[nColumns]*float64, other *string) (decode.Channels, error) {
	if other == nil {
		return j.fromColumns(cols), nil
	}
	var m map[string]float64
	if err := json.Unmarshal([]byte(*other), &m); err != nil {
		return decode.Channels{}, fmt.Errorf("read channels: %w", err)
	}
	for i, p := range cols {
		if p != nil {
			m[columns[i]] = *p
		}
	}
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	sort.Strings(names)
	key := strings.Join(names, ",")
	if shared, ok := j.names[key]; ok {
		names = shared
	} else {
		j.names[key] = names
	}
	out := decode.Channels{Names: names, Values: make([]float64, len(names))}
	for i, n := range names {
		out.Values[i] = m[n]
	}
	return out, nil
}

func (j *joiner) fromColumns(cols *[nColumns]*float64) decode.Channels {
	var mask [nColumns]byte
	n := 0
	for i, p := range cols {
		mask[i] = '0'
		if p != nil {
			mask[i] = '1'
			n++
		}
	}
	names, ok := j.names[string(mask[:])]
	if !ok {
		names = make([]string, 0, n)
		for i, p := range cols {
			if p != nil {
				names = append(names, columns[i])
			}
		}
		sort.Strings(names)
		j.names[string(mask[:])] = names
	}
	out := decode.Channels{Names: names, Values: make([]float64, n)}
	for i, name := range names {
		out.Values[i] = *cols[columnOf(name)]
	}
	return out
}
