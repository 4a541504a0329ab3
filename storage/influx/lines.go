package influx

import (
	"hash/fnv"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// Names of the measurements.
const (
	measureSample = "sample"
	measureEvent  = "event"
	measureAlarm  = "alarm"
	measureFlight = "flight"
	measureLink   = "link"
)

// point builds one line of line protocol: measurement,tags fields time. The
// grammar is that of the InfluxDB documentation, "Line protocol".
type point struct {
	buf    []byte
	fields int
}

// begin starts a line; tags are key, value pairs in the order of their keys.
func begin(buf []byte, measurement string, tags ...string) point {
	buf = append(buf, measurement...)
	for i := 0; i+1 < len(tags); i += 2 {
		if tags[i+1] == "" {
			continue
		}
		buf = append(append(buf, ','), tags[i]...)
		buf = appendName(append(buf, '='), tags[i+1])
	}
	return point{buf: buf}
}

func (p *point) key(name string) {
	sep := byte(',')
	if p.fields == 0 {
		sep = ' '
	}
	p.fields++
	p.buf = append(appendName(append(p.buf, sep), name), '=')
}

// float writes a field; the protocol has no way to write what is not a number.
func (p *point) float(name string, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	p.key(name)
	p.buf = strconv.AppendFloat(p.buf, v, 'g', -1, 64)
}

func (p *point) optional(name string, v *float64) {
	if v != nil {
		p.float(name, *v)
	}
}

func (p *point) integer(name string, v int64) {
	p.key(name)
	p.buf = append(strconv.AppendInt(p.buf, v, 10), 'i')
}

func (p *point) boolean(name string, v bool) {
	p.key(name)
	p.buf = strconv.AppendBool(p.buf, v)
}

func (p *point) text(name, v string) {
	if v == "" {
		return
	}
	p.key(name)
	p.buf = append(p.buf, '"')
	for i := 0; i < len(v); i++ {
		switch c := v[i]; {
		case c == '"' || c == '\\':
			p.buf = append(p.buf, '\\', c)
		case c < ' ':
			p.buf = append(p.buf, ' ') // a line break would end the line for some servers
		default:
			p.buf = append(p.buf, c)
		}
	}
	p.buf = append(p.buf, '"')
}

// moment writes a time as whole ns since 1970.
func (p *point) moment(name string, t *time.Time) {
	if t != nil {
		p.integer(name, t.UnixNano())
	}
}

// end closes the line. Of t only whole microseconds are kept; fine fills the
// nanoseconds. See the package's comment.
func (p *point) end(t time.Time, fine uint64) []byte {
	us := t.UnixMicro()
	p.buf = append(p.buf, ' ')
	p.buf = strconv.AppendInt(p.buf, us*1000+int64(fine%1000), 10)
	return append(p.buf, '\n')
}

// appendName writes a tag's value or a field's key. A backslash cannot be
// written before every character, and a line break not at all: "_" stands for
// both.
func appendName(buf []byte, s string) []byte {
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == ',' || c == '=' || c == ' ':
			buf = append(buf, '\\', c)
		case c < ' ' || c == '\\' || c == 0x7f:
			buf = append(buf, '_')
		default:
			buf = append(buf, c)
		}
	}
	return buf
}

// taken are names that a channel cannot have as a field: they are tags, fields
// of our own, or the server's.
var taken = []string{"rocket", "link", "station", "session", "kind", "n", "boot", "seq", "clock_us", "link_rssi_dbm", "time"}

// fieldName is the field of a channel: its own name, or "channel_" and its name
// if that is taken.
func fieldName(channel string) string {
	if slices.Contains(taken, channel) || strings.HasPrefix(channel, "_") || channel == "" {
		return "channel_" + channel
	}
	return channel
}

// appendSample writes a sample's point. Its times are as recorded; shift is the
// session's.
func appendSample(buf []byte, station string, s *decode.Sample, shift time.Duration) []byte {
	p := begin(buf, measureSample, "link", s.Link, "rocket", s.Rocket, "session", s.Session, "station", station)
	p.integer("n", int64(s.N))
	p.integer("boot", int64(s.Boot))
	if s.Seq >= 0 {
		p.integer("seq", s.Seq)
	}
	if s.Clock >= 0 {
		p.integer("clock_us", s.Clock)
	}
	p.optional("link_rssi_dbm", s.RSSI)
	for i, name := range s.Values.Names {
		p.float(fieldName(name), s.Values.Values[i])
	}
	return p.end(s.At.Add(shift), s.N)
}

func appendEvent(buf []byte, station string, e *flight.Event, shift time.Duration) []byte {
	p := begin(buf, measureEvent, "kind", string(e.Kind), "rocket", e.Rocket, "session", e.Session, "station", station)
	p.text("id", e.ID)
	p.integer("flight", int64(e.Flight))
	p.float("called_late_s", e.CalledAt.Sub(e.At).Seconds())
	p.optional("at_sd_s", e.AtSD)
	p.optional("altitude_m", e.AltitudeM)
	p.optional("altitude_sd_m", e.AltitudeSD)
	p.optional("speed_mps", e.SpeedMps)
	p.text("note", e.Note)
	return p.end(e.At.Add(shift), hash(e.ID))
}

func appendAlarm(buf []byte, station string, a *flight.Alarm, shift time.Duration) []byte {
	p := begin(buf, measureAlarm, "kind", a.Kind, "link", a.Link, "rocket", a.Rocket, "session", a.Session, "station", station)
	p.text("id", a.ID)
	p.integer("change", int64(a.Change))
	p.integer("flight", int64(a.Flight))
	p.integer("priority", int64(a.Priority))
	p.boolean("active", a.Active)
	p.boolean("acked", a.Acked)
	p.text("say", a.Say)
	p.text("reason", a.Reason)
	return p.end(a.ChangedAt.Add(shift), hash(a.ID)+uint64(a.Change))
}

// appendFlight writes the results of a flight at its liftoff as the live event
// gave it, which does not move when the flight is worked out anew.
func appendFlight(buf []byte, station string, r *flight.Result, liftoff time.Time) []byte {
	p := begin(buf, measureFlight, "rocket", r.Rocket, "session", r.Session, "station", station)
	p.integer("flight", int64(r.Flight))
	p.moment("launched_at_ns", r.LaunchedAt)
	p.moment("apogee_at_ns", r.ApogeeAt)
	p.moment("release_at_ns", r.ReleaseAt)
	p.moment("touchdown_at_ns", r.TouchdownAt)
	for _, f := range []struct {
		name string
		v    *float64
	}{
		{"time_to_apogee_s", r.TimeToApogeeS}, {"time_to_apogee_sd_s", r.TimeToApogeeSD},
		{"apogee_m", r.ApogeeM}, {"apogee_sd_m", r.ApogeeSD}, {"apogee_called_s_late", r.ApogeeCalledLate},
		{"max_speed_mps", r.MaxSpeedMps}, {"max_speed_sd_mps", r.MaxSpeedSD},
		{"max_accel_mps2", r.MaxAccelMps2}, {"max_accel_sd_mps2", r.MaxAccelSD},
		{"burnout_s", r.BurnoutS}, {"burnout_sd_s", r.BurnoutSD},
		{"release_lag_s", r.ReleaseLagS}, {"release_lag_sd_s", r.ReleaseLagSD},
		{"descent_mps", r.DescentMps}, {"descent_sd_mps", r.DescentSD}, {"duration_s", r.DurationS},
	} {
		p.optional(f.name, f.v)
	}
	p.integer("frames", int64(r.Frames))
	p.integer("lost_frames", int64(r.LostFrames))
	p.text("verdict", r.Verdict)
	p.text("alarms", strings.Join(r.Alarms, ", "))
	return p.end(liftoff, uint64(r.Flight))
}

// linkCount is what a session heard on one link.
type linkCount struct {
	link    string
	frames  uint64            // the number of the last frame
	rejects map[string]uint64 // by reason
}

func appendLink(buf []byte, station, session string, c linkCount, start time.Time) []byte {
	p := begin(buf, measureLink, "link", c.link, "session", session, "station", station)
	p.integer("frames", int64(c.frames))
	sum := uint64(0)
	reasons := make([]string, 0, len(c.rejects))
	for r, n := range c.rejects {
		sum += n
		reasons = append(reasons, r)
	}
	p.integer("rejects", int64(sum))
	slices.Sort(reasons)
	for _, r := range reasons {
		p.integer("reject_"+strings.ReplaceAll(r, " ", "_"), int64(c.rejects[r]))
	}
	return p.end(start, 0)
}

// hash spreads natural keys over the nanoseconds (FNV-1a).
func hash(key string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key)) // a hash takes everything
	return h.Sum64() >> 1
}
