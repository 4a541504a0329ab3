package ingest

import "time"

// Frame is one message as it came off a link, before anyone has interpreted
// it. A frame is immutable once sent: whoever receives it may keep Bytes and
// must not write to it.
type Frame struct {
	// Session names the run of the station that heard the frame.
	Session string `json:"session"`
	// Link names the port or socket the frame came from.
	Link string `json:"link"`
	// N counts the frames of this link in this session, from 1.
	// (Session, Link, N) is the frame's natural key.
	N uint64 `json:"n"`
	// Heard is when the last byte arrived: the session's epoch plus Mono, so
	// it never steps while a session runs, whatever the system clock does.
	Heard time.Time `json:"heard"`
	// Mono is when the last byte arrived, in ns of monotonic time since the
	// session's epoch.
	Mono int64 `json:"mono_ns"`
	// Passed is when the frame passed the station's sequencer, in ns since the
	// session's epoch. It never falls within a session, over all links, and
	// with it a replay restores the order of frames and ticks exactly.
	Passed int64 `json:"passed_ns"`
	// Wire is how many bytes the frame took on the wire, delimiters and
	// stuffing included; 0 if unknown. With Baud it gives the wire time.
	Wire int `json:"wire"`
	// Baud is the line rate in bits per second (8N1: ten bits a byte), 0 where
	// the link has none.
	Baud int `json:"baud,omitempty"`
	// RSSI is the received signal strength in dBm, nil if the link has none.
	RSSI *float64 `json:"rssi_dbm,omitempty"`
	// Bytes is the deframed message: the delimiter and any byte stuffing are
	// gone, the checksum is still there. JSON writes it in base64 (RFC 4648).
	Bytes []byte `json:"bytes"`
}

// WireTime is how long the frame's bytes took to arrive at ten bits a byte;
// zero where the link has no line rate.
func (f Frame) WireTime() time.Duration {
	if f.Baud <= 0 {
		return 0
	}
	return time.Duration(f.Wire) * 10 * time.Second / time.Duration(f.Baud)
}
