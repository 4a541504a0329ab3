package decode

import "strings"

// A channel cannot mean every number that a frame can hold: 1e308 degC is no
// temperature, and whoever computes with it gets infinities that no page can
// show. The bounds here are far beyond anything that these boards measure, so
// that a sensor which is wrong, or a site which is odd, still reaches the alarms
// that say so; what is outside them is damage or malice, and the value is
// refused: it is missing in the sample, and Decoder.Refused names its field.
//
// Common practice, no source, but for: absolute zero is 0 K = -273.15 degC (SI
// Brochure, 9th edition, section 2.3.1), latitudes end at the poles, and a
// longitude is written to 180 or to 360 degrees.

// extent is what a channel can mean, both ends included, in the channel's unit.
type extent struct{ lo, hi float64 }

func (s extent) holds(v float64) bool { return v >= s.lo && v <= s.hi }

// meaningOf gives the bounds of a channel by its name, or by its unit.
func meaningOf(channel string) extent {
	switch channel {
	case PressurePa, Pressure2Pa:
		return extent{0, 1e7} // 100 bar: above any air that a barometer survives
	case TemperatureC:
		return extent{absoluteZeroC, 2000}
	case AltitudeM, GPSAltitudeM:
		return extent{-1e5, 1e6}
	case VelocityMps:
		return extent{-1e5, 1e5}
	case AccelMps2, AccelXMps2, AccelYMps2, AccelZMps2:
		return extent{-1e6, 1e6}
	case CellV:
		return extent{-1000, 1000}
	case ReleaseUs:
		return extent{-1e6, 1e6} // a pulse of a second
	case LatitudeDeg:
		return extent{-90, 90}
	case LongitudeDeg:
		return extent{-180, 360}
	case RSSIDbm:
		return extent{-1000, 1000}
	}
	for _, s := range []struct {
		suffix string
		most   float64
	}{
		{"_pa", 1e12}, {"_mps2", 1e9}, {"_mps", 1e9}, {"_dps", 1e9}, {"_dbm", 1e6}, {"_db", 1e6}, {"_deg", 1e9},
		{"_kg", 1e9}, {"_ms", 1e15}, {"_us", 1e18}, {"_s", 1e12}, {"_m", 1e9}, {"_v", 1e9}, {"_a", 1e9}, {"_hz", 1e15},
	} {
		if strings.HasSuffix(channel, s.suffix) {
			return extent{-s.most, s.most}
		}
	}
	if strings.HasSuffix(channel, "_c") {
		return extent{absoluteZeroC, 1e6}
	}
	// A plain number: whatever the widest integer of a frame can hold.
	return extent{-1 << 63, 1 << 64}
}

// refusal is a value of a frame that its channel cannot mean.
type refusal struct {
	field string
	value float64
}

// refuse notes the first such value of a frame.
func (sc *scratch) refuse(field string, v float64) {
	if sc.refused.field == "" {
		sc.refused = refusal{field, v}
	}
}

// meantRSSI is the strength that a link told, nil if it cannot be one.
func meantRSSI(p *float64) *float64 {
	if p != nil && !meaningOf(RSSIDbm).holds(*p) {
		return nil
	}
	return p
}
