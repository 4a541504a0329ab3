package decode

import (
	"bytes"
	"fmt"
	"math"
)

// In a line of text the readings are columns,
//
//	120,1013.2,1013.1,1013.0,4.01
//
// or stand in one column between separators of their own:
//
//	t=120 p=1013.2/1013.1/1013.0 cell=4.01

// seriesColumns gives each field the column of its first reading, and notes where all
// are. It is for lines whose fields stand in the layout's order.
func (p *Program) seriesColumns(line []byte, from, base int, sc *scratch) *Reject {
	s := p.series
	sc.spans = p.split(line, from, sc.spans[:0], len(p.fields)+len(s.fields)*mostReadings)
	once := len(p.fields) - len(s.fields)
	rows := s.count
	if rows == 0 {
		rows = (len(sc.spans) - once) / len(s.fields)
	}
	need := once + rows*len(s.fields)
	if rows < 1 || rows > mostReadings || len(sc.spans) < need || len(sc.spans) > need && !p.text.more {
		return p.reject(Corrupt, ReasonFieldCount, "", base+len(line),
			fmt.Sprintf("%d fields, which is no number of readings of the layout: %.80q", len(sc.spans), line))
	}
	sc.rows, sc.places = rows, sc.places[:0]
	for range rows * len(s.fields) {
		sc.places = append(sc.places, span{})
	}
	sc.cells = sc.cells[:0]
	at := 0
	for i := range p.fields {
		sc.cells = append(sc.cells, sc.spans[at])
		n := s.nth(i)
		switch {
		case n < 0:
			at++
		case !s.together:
			for k := range rows {
				sc.places[k*len(s.fields)+n] = sc.spans[at+k]
			}
			at += rows
		default:
			for k := range rows {
				sc.places[k*len(s.fields)+n] = sc.spans[at+k*len(s.fields)]
			}
			if at++; n == len(s.fields)-1 { // behind the first record
				at += (rows - 1) * len(s.fields)
			}
		}
	}
	return nil
}

// nth is which of the fields with readings a field is; -1 if it has one alone.
func (s *seriesForm) nth(field int) int {
	for n, i := range s.fields {
		if i == field {
			return n
		}
	}
	return -1
}

// seriesCells splits the columns that hold several readings, and leaves the first
// of them in its cell.
func (p *Program) seriesCells(line []byte, base int, cells []span, sc *scratch) *Reject {
	s := p.series
	sc.rows, sc.places = 0, sc.places[:0]
	for n, i := range s.fields {
		f, all := &p.fields[i], cells[i]
		count := 1 + bytes.Count(line[all.from:all.to], s.separator)
		if n == 0 {
			sc.rows = count
			for range min(count, mostReadings) * len(s.fields) {
				sc.places = append(sc.places, span{})
			}
		}
		if count != sc.rows || count > mostReadings || s.count > 0 && count != s.count {
			return p.reject(Corrupt, ReasonFieldCount, f.name, base+all.from, fmt.Sprintf("%d readings, which is not what the layout or the other lists have", count))
		}
		at := all.from
		for k := range count {
			end := all.to
			if n := bytes.Index(line[at:all.to], s.separator); n >= 0 {
				end = at + n
			}
			sc.places[k*len(s.fields)+n] = span{at, end}
			at = min(end+len(s.separator), all.to)
		}
		cells[i] = sc.places[n]
	}
	return nil
}

// readPlaces reads all readings of a line from where they stand.
func (p *Program) readPlaces(line []byte, base int, sc *scratch) *Reject {
	s := p.series
	sc.readings = sc.readings[:0]
	for k, at := range sc.places {
		i := s.fields[k%len(s.fields)]
		v, ok := p.fields[i].readText(trimSpaces(line[at.from:at.to]))
		if !ok {
			return p.reject(Corrupt, ReasonNumber, p.fields[i].name, base+at.from, fmt.Sprintf("%q", line[at.from:at.to]))
		}
		if k >= len(s.fields) && p.layout.Fields[i].Delta != "" {
			v += sc.readings[k-len(s.fields)]
		}
		if math.IsInf(v, 0) {
			v = math.NaN()
		}
		sc.readings = append(sc.readings, v)
	}
	return nil
}

// readSeriesLine reads a line whose readings have columns of their own.
func (p *Program) readSeriesLine(line []byte, from, base int, sc *scratch) *Reject {
	if r := p.seriesColumns(line, from, base, sc); r != nil {
		return r
	}
	if r := p.ours(line, base, sc.cells); r != nil {
		return r
	}
	return p.readSpans(line, base, sc.cells, sc)
}
