package model

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// thrustLines bounds a thrust curve; published ones have 10 to 40 points.
const thrustLines = 1000

// ReadThrust reads lines of "seconds,newtons". Empty lines, lines that begin
// with # and one line of headings are passed over.
func ReadThrust(r io.Reader) ([]Thrust, error) {
	var curve []Thrust
	sc := bufio.NewScanner(r)
	for n := 1; sc.Scan(); n++ {
		line := strings.TrimSpace(sc.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		a, b, two := strings.Cut(line, ",")
		t, errT := strconv.ParseFloat(strings.TrimSpace(a), 64)
		f, errF := strconv.ParseFloat(strings.TrimSpace(b), 64)
		if !two || errT != nil || errF != nil {
			if len(curve) == 0 && two && errT != nil && errF != nil {
				continue // headings
			}
			return nil, fmt.Errorf("line %d is %.40q: write seconds,newtons with a decimal point", n, line)
		}
		if len(curve) == thrustLines {
			return nil, fmt.Errorf("line %d: more than %d points", n, thrustLines)
		}
		curve = append(curve, Thrust{T: t, N: f})
	}
	return curve, sc.Err()
}
