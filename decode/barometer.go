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
		"bmp085": {words: bmp085Words(), build: bmp085, rates: []int{0, 1, 2, 3}},
		"bmp180": {words: bmp085Words(), build: bmp085, rates: []int{0, 1, 2, 3}}, // the same arithmetic by its datasheet
		"bmp280": {words: bmp280Words(), build: bmp280},
		"bme280": {words: bmp280Words(), build: bmp280}, // likewise, for pressure and temperature
		"bmp388": {words: bmp388Words(), build: bmp388},
		"bmp390": {words: bmp388Words(), build: bmp388}, // likewise
		"ms5611": {words: unsigned("C1", "C2", "C3", "C4", "C5", "C6"), prom: true, build: ms5611},
		"ms5607": {words: unsigned("C1", "C2", "C3", "C4", "C5", "C6"), prom: true, build: ms5607},
		"dps310": {words: dps310Words(), build: dps310, rates: dps310Rates(), both: true},
		"spl06":  {words: dps310Words(), build: dps310, rates: dps310Rates(), both: true}, // likewise
		"lps22":  {build: lps22},
		"lps25":  {build: lps25},
	}
}

type sensor struct {
	words []word // none if the sensor computes by itself
	prom  bool   // whether the words may be given as the PROM image
	rates []int  // oversampling that it can have; none if it does not matter
	both  bool   // it has one of its own for the temperature
	build func(w map[string]int64, o oversampling) compensate
}

// oversampling is how a board has set a sensor.
type oversampling struct{ pressure, temperature int }

// sensorNames lists the sensors that a layout may name.
func sensorNames() []string {
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
		return nil, fmt.Errorf("sensor = %q is not known; write one of: %s", b.Sensor, strings.Join(sensorNames(), ", "))
	}
	o, err := s.oversampling(b)
	if err != nil {
		return nil, err
	}
	if len(s.words) == 0 {
		if len(b.Words)+len(b.PROM)+len(b.Boards) > 0 {
			return nil, fmt.Errorf("sensor %s has no calibration words; leave words, prom and boards out", b.Sensor)
		}
		return &calibration{rest: s.build(nil, o)}, nil
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
		c.rest = s.build(w, o)
	}
	for _, board := range b.Boards {
		if _, twice := c.boards[board.Rocket]; twice {
			return nil, fmt.Errorf("boards: rocket %d is listed twice; keep one", board.Rocket)
		}
		w, err := calibrationWords(s, board.Words, board.PROM)
		if err != nil {
			return nil, fmt.Errorf("boards: rocket %d: %w", board.Rocket, err)
		}
		c.boards[board.Rocket] = s.build(w, o)
	}
	return c, nil
}

// oversampling checks how the sensor is set.
func (s sensor) oversampling(b *Barometer) (o oversampling, err error) {
	o = oversampling{b.Oversampling, b.OversamplingT}
	least := 0
	if len(s.rates) > 0 {
		least = s.rates[0]
	}
	for _, k := range []struct {
		key string
		v   *int
		has bool
	}{{"oversampling", &o.pressure, len(s.rates) > 0}, {"oversampling_temperature", &o.temperature, s.both}} {
		switch {
		case !k.has && *k.v != 0:
			return o, fmt.Errorf("%s = %d means nothing to this sensor; leave it out", k.key, *k.v)
		case !k.has:
		case *k.v == 0:
			*k.v = least
		case !slices.Contains(s.rates, *k.v):
			return o, fmt.Errorf("%s = %d; write one of %s", k.key, *k.v, strings.Trim(fmt.Sprint(s.rates), "[]"))
		}
	}
	return o, nil
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
