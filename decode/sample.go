package decode

import (
	"fmt"
	"math"
	"sort"
	"time"

	"github.com/segmentio/encoding/json"
)

// Sample is one decoded frame: a set of channels in SI units and the three
// times that belong to it. A Sample is immutable once sent.
type Sample struct {
	// Session, Link and N are the natural key; they name the frame it is from.
	Session string `json:"session"`
	Link    string `json:"link"`
	N       uint64 `json:"n"`
	// Part tells the samples of a frame apart that holds several readings, from 1
	// on; it belongs to the key then. 0 where a frame is one sample.
	Part uint16 `json:"part,omitempty"`
	// Rocket is the configured name, or "id-<n>" for a board nobody configured.
	Rocket string `json:"rocket"`
	// Boot counts the board's starts, as told by the board or recognised from
	// clock and sequence falling back. It only rises within a session, unless
	// two boards send the same id: then it alternates between theirs.
	Boot uint32 `json:"boot"`
	// Seq is the board's own frame number, unwrapped; -1 if it sends none.
	Seq int64 `json:"seq"`
	// Clock is the device time since its boot in us, unwrapped; -1 if none.
	Clock int64 `json:"clock_us"`
	// Heard is when the frame's last byte arrived (UTC, never steps).
	Heard time.Time `json:"heard"`
	// At is the best estimate of when the values were measured (UTC).
	At time.Time `json:"at"`
	// Passed is the frame's, in ns since the session's epoch: the order in
	// which every consumer sees samples and ticks.
	Passed int64 `json:"passed_ns"`
	// RSSI in dBm as the link measured it, nil if it has none.
	RSSI *float64 `json:"rssi_dbm,omitempty"`
	// Values are the channels. See Channels.
	Values Channels `json:"channels"`
}

// Names of the channels that padlark itself understands (SI units, the unit
// is in the name). A layout may define any others.
const (
	PressurePa   = "pressure_pa"
	TemperatureC = "temperature_c"
	Pressure2Pa  = "pressure_2_pa" // of a second barometer
	AltitudeM    = "altitude_m"    // as computed by the board, above its own zero
	VelocityMps  = "velocity_mps"
	AccelMps2    = "accel_mps2" // along the rocket, 9.81 at rest on the pad
	AccelXMps2   = "accel_x_mps2"
	AccelYMps2   = "accel_y_mps2"
	AccelZMps2   = "accel_z_mps2"
	CellV        = "cell_v"
	ReleaseUs    = "release_us" // servo pulse width
	ReleaseOn    = "release_on" // 1 once the board commanded the release
	Armed        = "armed"      // 1 while the board's apogee rule is armed
	LatitudeDeg  = "latitude_deg"
	LongitudeDeg = "longitude_deg"
	GPSAltitudeM = "gps_altitude_m" // above mean sea level
	GPSFix       = "gps_fix"        // the quality of NMEA 0183 GGA: 0 no fix, 1 and more a fix
	RSSIDbm      = "rssi_dbm"
	SNRDb        = "snr_db"
)

// Channels is an ordered set of named values. The names are shared between
// all samples of one layout and must not be written to; a missing value is
// NaN. As JSON it is an object that leaves missing values out.
type Channels struct {
	Names  []string
	Values []float64
}

// Get returns the channel's value; ok is false when it is absent or missing.
func (c Channels) Get(name string) (v float64, ok bool) {
	for i, n := range c.Names {
		if n == name {
			v = c.Values[i]
			return v, !math.IsNaN(v)
		}
	}
	return math.NaN(), false
}

// MarshalJSON writes an object in the layout's order, without missing values.
func (c Channels) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 24*len(c.Names)+2)
	out = append(out, '{')
	for i, n := range c.Names {
		v := c.Values[i]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		var err error
		if out, err = json.Append(out, n, json.EscapeHTML); err != nil {
			return nil, fmt.Errorf("write channel name %q: %w", n, err)
		}
		if out, err = json.Append(append(out, ':'), v, 0); err != nil {
			return nil, fmt.Errorf("write channel %s: %w", n, err)
		}
	}
	return append(out, '}'), nil
}

// UnmarshalJSON reads such an object; the names come out sorted.
func (c *Channels) UnmarshalJSON(b []byte) error {
	var m map[string]float64
	if err := json.Unmarshal(b, &m); err != nil {
		return fmt.Errorf("read channels: %w", err)
	}
	c.Names = make([]string, 0, len(m))
	for n := range m {
		c.Names = append(c.Names, n)
	}
	sort.Strings(c.Names)
	c.Values = make([]float64, len(c.Names))
	for i, n := range c.Names {
		c.Values[i] = m[n]
	}
	return nil
}

// HasFix says whether the place and height of the sample's receiver are measured: its
// board does not say that it has no fix.
func (s *Sample) HasFix() bool {
	quality, told := s.Values.Get(GPSFix)
	return !told || quality != 0
}
