package decode

import (
	"fmt"
	"strconv"
	"strings"
)

// RejectKind says why a frame gave no sample. A further outcome, "need more
// bytes", belongs to the framing in ingest.
type RejectKind string

const (
	// Corrupt: the frame is ours but damaged.
	Corrupt RejectKind = "corrupt"
	// Unknown: the frame is intact, or at least no worse than any other
	// text, and not one that the layout describes.
	Unknown RejectKind = "unknown"
	// Heading: the frame holds no values, it says what those of others mean, as
	// the line with the names of columns does.
	Heading RejectKind = "heading"
)

// Reasons a frame is rejected for: few and fixed, so that they can be
// counted. Detail has the particulars.
const (
	ReasonChecksum   = "checksum"
	ReasonLength     = "length"
	ReasonFieldCount = "field count"
	ReasonNumber     = "not a number"
	ReasonRange      = "out of range"
	ReasonHeader     = "header"
	ReasonNotOurs    = "not ours"
	ReasonNoLayout   = "no layout"
	ReasonNoWords    = "no calibration words"
	ReasonClockJump  = "clock jump"
	ReasonTooMany    = "too many rockets"
	ReasonBeside     = "second sender or restart"
	ReasonHeadline   = "names of columns"
	ReasonDocument   = "not readable" // as JSON, CBOR or MessagePack
	ReasonFrame      = "frame in a field"
	ReasonUnsure     = "not sure" // of a sounder's number
)

// Reject is the error of a frame that gave no sample.
type Reject struct {
	Kind   RejectKind `json:"kind"`
	Reason string     `json:"reason"`           // one of the Reason constants
	Detail string     `json:"detail,omitempty"` // the particulars, in words
	Layout string     `json:"layout,omitempty"` // the layout that was tried
	Field  string     `json:"field,omitempty"`  // the field, if one is to blame
	Offset int        `json:"offset"`           // the byte of the frame where it shows, from 0; -1 if nowhere
}

// Brief says what was wrong in a few words, without the bytes; empty if the
// reason alone says it.
func (r *Reject) Brief() string {
	switch r.Reason {
	case ReasonFieldCount:
		words, _, _ := strings.Cut(r.Detail, ": ") // the line follows
		return words
	case ReasonNumber:
		return fmt.Sprintf("field %s is no number: %s", r.Field, r.Detail)
	case ReasonRange, ReasonHeader, ReasonLength:
		return strings.TrimSpace(r.Field + " " + r.Detail)
	}
	return ""
}

// Error says all of it in one line.
func (r *Reject) Error() string {
	s := string(r.Kind) + " frame: " + r.Reason
	if r.Layout != "" {
		s += ": layout " + strconv.Quote(r.Layout)
	}
	if r.Field != "" {
		s += ": field " + strconv.Quote(r.Field)
	}
	if r.Offset >= 0 {
		s += fmt.Sprintf(": byte %d (0x%02x)", r.Offset, r.Offset)
	}
	if r.Detail != "" {
		s += ": " + r.Detail
	}
	return s
}
