package track

import (
	"math"
	"slices"

	"padlark/decode"
)

// source is what height is measured with.
type source uint8

const (
	byPressure source = iota
	byAltitude        // in m, by the board
	byReceiver        // in m, of a satellite receiver
)

// heightChannel picks what height is measured with: pressure if there is any, and a
// satellite receiver only where the board sends nothing else. It lags by some tenths
// of a second and wanders by metres.
func heightChannel(s *decode.Sample) (raw float64, by source, ok bool) {
	if p, has := s.Values.Get(decode.PressurePa); has {
		return p, byPressure, p > 1000 && p < 120000
	}
	if a, has := s.Values.Get(decode.AltitudeM); has {
		return a, byAltitude, math.Abs(a) < 50000
	}
	a, has := s.Values.Get(decode.GPSAltitudeM)
	if !has || slices.Contains(s.Values.Names, decode.PressurePa) || slices.Contains(s.Values.Names, decode.AltitudeM) {
		return 0, 0, false
	}
	return a, byReceiver, math.Abs(a) < 50000 && s.HasFix()
}

// What a receiver's height is worth beside what it scatters by on the pad, in m and s
// (common practice, no source): it wanders by some metres within seconds and comes 0.1
// to 1 s late, in a way that nobody knows.
const ReceiverM, ReceiverS = 4.0, 0.3

// receiver is m or s of these where a receiver is what height is measured with, else 0.
func (t *Tracker) receiver(sd float64) float64 {
	if t.last.by == byReceiver {
		return sd
	}
	return 0
}

// changeSource begins anew on the ground when a barometer is heard of a rocket that
// sent only a receiver's height before.
func (t *Tracker) changeSource(by source) {
	t.pad, t.last.heard = newPad(), false
	t.last.quantum, t.last.repeats, t.last.held = 0, 0, 0
	t.hist.clear()
}

// receiverClimbM is what a receiver's height must rise by within the readings that are
// looked at, besides its greatest step: it leaps by tens of metres when it finds other
// satellites, and wanders by some in a second or two (common practice, no source). With
// less a leap becomes a flight now and then; with this, flights below 40 m are not seen.
const receiverClimbM = 30.0

// climbsOver says whether the newest n readings rise by more than a receiver leaps and
// wanders on the ground.
func (t *Tracker) climbsOver(n int) bool {
	step, low := 0.0, math.Inf(1)
	for i := range n {
		low = min(low, t.hist.at(i).z)
		if i > 0 {
			step = max(step, t.hist.at(i-1).z-t.hist.at(i).z)
		}
	}
	return t.hist.at(0).z-low-step > receiverClimbM
}
