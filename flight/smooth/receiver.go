package smooth

import (
	"math"

	"padlark/decode"
	"padlark/flight/track"
)

// When a satellite receiver's height is believed (common practice, no source).
const (
	receiverTimes = 1.5  // a height's sd is at least so many times what it scatters by on the pad
	fewestFixes   = 5    // on the pad, of other values than the one before or of a moment
	topFixes      = 4    // about the top
	beforeTopS    = 1.5  // s, of the top that is looked at
	afterTopS     = 2.5  // it lags
	receiverSDs   = 2.5  // by which it may differ from the barometer
	worthPart     = 0.85 // what it must at least make the spread of the top smaller by
)

// airByReceiver is the temperature of the air in K that makes the barometer's top that
// of a satellite receiver, with the standard deviation of both together. ok is false
// without one, where it knows less than is known already, and where the two do not agree:
// receivers lose their fix in a boost, and find it late or somewhere else.
func (a *analysis) airByReceiver(samples []decode.Sample) (kelvin, sd float64, ok bool) {
	if a.fit == nil || a.r.fixes {
		return 0, 0, false
	}
	ta, ha := a.fit.path.apex(&a.fit.q)
	ha *= 1 + a.fit.q[pScale]
	known := a.kelvinSD()
	if a.r.plain {
		known = math.Hypot(math.Hypot(known, ownKelvin), a.r.doubt)
	}
	var pad, top, level []float64
	for i := range samples {
		s := &samples[i]
		z, has := s.Values.Get(decode.GPSAltitudeM)
		if !has || !s.HasFix() || math.Abs(z) > 50000 {
			continue
		}
		switch t := s.At.Sub(a.r.ref).Seconds(); {
		case t < a.m.liftoff-restEndS:
			pad = append(pad, z)
		case t > ta-beforeTopS && t < ta+afterTopS:
			h, _ := a.fit.path.at(&a.fit.q, t)
			top, level = append(top, z-h*(1+a.fit.q[pScale])), append(level, z)
		}
	}
	if len(pad) < fewestFixes || len(top) < topFixes || same(level) {
		return 0, 0, false
	}
	off := median(top) - median(pad)
	spread := math.Hypot(track.ReceiverM, receiverTimes*math.Hypot(scatter(pad), scatter(top)))
	before := ha * known / a.r.kelv
	w := sq(before) / (sq(before) + sq(spread))
	if math.Abs(off) > receiverSDs*math.Hypot(before, spread) || math.Sqrt(1-w) > worthPart {
		return 0, 0, false
	}
	return a.r.kelv * (1 + w*off/ha), known * math.Sqrt(1-w), true
}

// same says whether all values are one: a receiver that has stuck.
func same(v []float64) bool {
	for _, x := range v {
		if x != v[0] {
			return false
		}
	}
	return true
}

// scatter is the standard deviation of values about their median, whatever a few of
// them are.
func scatter(v []float64) float64 {
	m, off := median(v), make([]float64, len(v))
	for i, x := range v {
		off[i] = math.Abs(x - m)
	}
	return 1.4826 * median(off)
}
