package guess

import (
	"regexp"
	"strings"

	"padlark/decode"
)

// timeSeries reads a column of times that are written out, in the first unit in which
// nearly all of them can be read; nil if there is none.
func timeSeries(cells []string) *series {
	var found *series
	for _, unit := range decode.TimeUnits() {
		read, ok := decode.ReadTime(unit), 0
		v := make([]float64, len(cells))
		for i, c := range cells {
			x, good := read(strings.Trim(c, `"`))
			if v[i] = x; good {
				ok++
			} else {
				v[i] = nan
			}
		}
		if 20*ok < 19*len(cells) {
			continue
		}
		if found != nil { // 3/4/2026
			found.ask = "does the day stand before the month? (unit = " + found.timeUnit + ", or " + unit + ")"
			break
		}
		found = newSeries(v)
		found.timeUnit = unit
	}
	return found
}

// timeText is a time or a date, written out.
var timeText = regexp.MustCompile(`^\s*"?\d{1,4}[-/.:]\d{1,2}[-/.:][-\d:.,/TZ+_ ]*\d`)

func isTime(cell string) bool { return timeText.MatchString(cell) }

// commaNumber is a number with a comma for a point.
var commaNumber = regexp.MustCompile(`^\s*-?\d+,\d+\s*$`)

// commas says whether many cells of lines are such numbers, and none has a point.
func commas(cells [][]string) bool {
	with, all := 0, 0
	for _, row := range cells {
		for _, c := range row {
			all++
			if commaNumber.MatchString(c) {
				with++
			} else if strings.Contains(c, ".") && isNumber(c) {
				return false
			}
		}
	}
	return with > 0 && 10*with >= all
}

// pointed is such a number with its point.
func pointed(cell string) string {
	if commaNumber.MatchString(cell) {
		return strings.Replace(cell, ",", ".", 1)
	}
	return cell
}
