package alarm

import (
	"math"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Short names for what the rules write all the time.
const (
	prioLookUp = flight.LookUp
	prioAct    = flight.Act
	prioKnow   = flight.Know
)

// prioIf gives yes or no by a condition.
func prioIf(c bool, yes, no flight.Priority) flight.Priority {
	if c {
		return yes
	}
	return no
}

// tell makes a phrase about the rocket.
func (v *view) tell(key string, args ...phrase.Arg) phrase.Phrase {
	return phrase.Of(key, append([]phrase.Arg{phrase.Word("rocket", v.name())}, args...)...)
}

// Quantities of a phrase with so many decimals.
func metres(name string, m float64, digits int) phrase.Arg  { return phrase.Qty(name, m, digits, "m") }
func mps(name string, v float64, digits int) phrase.Arg     { return phrase.Qty(name, v, digits, "m/s") }
func seconds(name string, s float64, digits int) phrase.Arg { return phrase.Qty(name, s, digits, "s") }
func volts(name string, v float64) phrase.Arg               { return phrase.Qty(name, v, 2, "V") }

// hPa is a pressure in Pa for a sentence.
func hPa(name string, pa float64) phrase.Arg { return phrase.Qty(name, pa/100, 0, "hPa") }

// percent is a share for a sentence.
func percent(name string, share float64) phrase.Arg { return phrase.Qty(name, 100*share, 0, "%") }

// count is a whole number for a sentence.
func count(name string, n int) phrase.Arg { return phrase.Qty(name, float64(n), 0, "") }

// heightAt is the height of a rocket for a sentence.
func heightAt(m float64) phrase.Arg {
	digits := 0
	switch {
	case math.IsNaN(m):
		return phrase.In("height", phrase.Of("height.unknown"))
	case math.Abs(m) < 10:
		digits = 1
	}
	return metres("height", m, digits)
}

// motion is how fast and which way.
func motion(speed float64) phrase.Arg {
	p := phrase.Of("motion.still")
	switch {
	case math.IsNaN(speed):
		p.Key = "motion.unknown"
	case speed > 1:
		p = phrase.Of("motion.up", mps("speed", speed, 0))
	case speed < -1:
		p = phrase.Of("motion.down", mps("speed", -speed, 0))
	}
	return phrase.In("motion", p)
}

// clock writes a time of day for a sentence.
func clock(name string, t time.Time) phrase.Arg {
	return phrase.Word(name, t.UTC().Format("15:04:05")+" UTC")
}

// later is a moment some seconds after another.
func later(t time.Time, s float64) time.Time { return t.Add(time.Duration(s * float64(time.Second))) }
