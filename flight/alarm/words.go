package alarm

import (
	"fmt"
	"math"
	"time"

	"padlark/flight"
)

// Short names for what the rules write all the time.
const (
	prioLookUp = flight.LookUp
	prioAct    = flight.Act
	prioKnow   = flight.Know
)

// sprintf formats as fmt does, but a number that is not known is "?": whatever a
// board sends, no sentence says NaN or Inf.
func sprintf(format string, args ...any) string {
	for i, a := range args {
		if x, ok := a.(float64); ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
			args[i] = unknownNumber{}
		}
	}
	return fmt.Sprintf(format, args...)
}

// unknownNumber is written as "?" by every verb.
type unknownNumber struct{}

// Format writes it.
func (unknownNumber) Format(s fmt.State, _ rune) { _, _ = s.Write([]byte("?")) }

// prioIf gives yes or no by a condition.
func prioIf(c bool, yes, no flight.Priority) flight.Priority {
	if c {
		return yes
	}
	return no
}

// metres writes a height for a sentence.
func metres(m float64) string {
	if math.IsNaN(m) {
		return "an unknown height"
	}
	if math.Abs(m) < 10 {
		return sprintf("%.1f m", m)
	}
	return sprintf("%.0f m", m)
}

// motion says how fast and which way in words.
func motion(speed float64) string {
	switch {
	case math.IsNaN(speed):
		return "speed unknown"
	case speed > 1:
		return sprintf("climbing at %.0f m/s", speed)
	case speed < -1:
		return sprintf("sinking at %.0f m/s", -speed)
	default:
		return "hardly moving"
	}
}

// clock writes a time of day for a sentence.
func clock(t time.Time) string { return t.UTC().Format("15:04:05") + " UTC" }

// later is a moment some seconds after another.
func later(t time.Time, s float64) time.Time { return t.Add(time.Duration(s * float64(time.Second))) }
