package decode

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// compensate turns raw counts into Pa and degC; ok is false where the counts
// cannot come from a working sensor, so that the values are missing.
type compensate func(rawPressure, rawTemperature float64) (pa, degC float64, ok bool)

// A word is one calibration word: its datasheet name and range.
type word struct {
	name     string
	min, max int64
}

func unsigned(names ...string) []word { return wordList(0, math.MaxUint16, names) }

func signed(names ...string) []word { return wordList(math.MinInt16, math.MaxInt16, names) }

func wordList(lo, hi int64, names []string) []word {
	var out []word
	for _, n := range names {
		out = append(out, word{n, lo, hi})
	}
	return out
}

// sensors lists the sensor families: their words and how their compensation
// is built from them.
func sensors() map[string]sensor {
	return map[string]sensor{
		"bmp085": {bmp085Words(), false, bmp085},
		"bmp180": {bmp085Words(), false, bmp085}, // the same arithmetic by its datasheet
		"bmp280": {bmp280Words(), false, bmp280},
		"ms5611": {unsigned("C1", "C2", "C3", "C4", "C5", "C6"), true, ms5611},
		"ms5607": {unsigned("C1", "C2", "C3", "C4", "C5", "C6"), true, ms5607},
	}
}

type sensor struct {
	words []word
	prom  bool // whether the words may be given as the PROM image
	build func(w map[string]int64, oversampling int) compensate
}

// SensorNames lists the sensors that a layout may name.
func SensorNames() []string {
	var names []string
	for n := range sensors() {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// calibration is a checked Barometer: one compensation for each board, and one
// for all others.
type calibration struct {
	boards map[uint32]compensate
	rest   compensate // nil if there is none
}

func (c *calibration) of(rocket uint32) compensate {
	if f, ok := c.boards[rocket]; ok {
		return f
	}
	return c.rest
}

// compileBarometer checks the words of every board.
func compileBarometer(b *Barometer) (*calibration, error) {
	s, ok := sensors()[strings.ToLower(b.Sensor)]
	if !ok {
		return nil, fmt.Errorf("sensor = %q is not known; write one of: %s", b.Sensor, strings.Join(SensorNames(), ", "))
	}
	if b.Oversampling < 0 || b.Oversampling > 3 {
		return nil, fmt.Errorf("oversampling = %d; write 0, 1, 2 or 3", b.Oversampling)
	}
	if len(b.Words) == 0 && len(b.PROM) == 0 && len(b.Boards) == 0 {
		return nil, fmt.Errorf("there are no calibration words; read them from the sensor and write words = {%s = …}", s.words[0].name)
	}
	c := &calibration{boards: map[uint32]compensate{}}
	if len(b.Words) > 0 || len(b.PROM) > 0 {
		w, err := calibrationWords(s, b.Words, b.PROM)
		if err != nil {
			return nil, err
		}
		c.rest = s.build(w, b.Oversampling)
	}
	for _, board := range b.Boards {
		if _, twice := c.boards[board.Rocket]; twice {
			return nil, fmt.Errorf("boards: rocket %d is listed twice; keep one", board.Rocket)
		}
		w, err := calibrationWords(s, board.Words, board.PROM)
		if err != nil {
			return nil, fmt.Errorf("boards: rocket %d: %w", board.Rocket, err)
		}
		c.boards[board.Rocket] = s.build(w, b.Oversampling)
	}
	return c, nil
}

// calibrationWords checks that the words are all there, in range, and intact
// as far as the PROM's own CRC can tell.
func calibrationWords(s sensor, words map[string]int64, prom []uint16) (map[string]int64, error) {
	if len(prom) > 0 {
		switch {
		case !s.prom:
			return nil, fmt.Errorf("this sensor has no prom image; write words = {%s = …}", s.words[0].name)
		case len(words) > 0:
			return nil, fmt.Errorf("words and prom are both given; keep one")
		case len(prom) != 8:
			return nil, fmt.Errorf("prom has %d words; it must have all 8", len(prom))
		}
		if want, got := byte(prom[7]&0xf), promCRC4(prom); want != got {
			return nil, fmt.Errorf("prom: the CRC is %X but the last word says %X; read the words from the sensor again", got, want)
		}
		words = map[string]int64{}
		for i, w := range s.words {
			words[w.name] = int64(prom[i+1])
		}
	}
	for _, w := range s.words {
		v, ok := words[w.name]
		if !ok {
			return nil, fmt.Errorf("word %s is missing; this sensor needs %s", w.name, wordNames(s.words))
		}
		if v < w.min || v > w.max {
			return nil, fmt.Errorf("word %s = %d is outside %d to %d; is its sign right?", w.name, v, w.min, w.max)
		}
	}
	for n := range words {
		if !slices.ContainsFunc(s.words, func(w word) bool { return w.name == n }) {
			return nil, fmt.Errorf("word %s is not one of this sensor; it has %s", n, wordNames(s.words))
		}
	}
	return words, nil
}

func wordNames(ws []word) string {
	var names []string
	for _, w := range ws {
		names = append(names, w.name)
	}
	return strings.Join(names, " ")
}
