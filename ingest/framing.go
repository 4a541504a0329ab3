package ingest

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// The kinds of framing.
const (
	FramingLine     = "line"     // text lines ended by CR, LF or both
	FramingCOBS     = "cobs"     // consistent overhead byte stuffing, delimiter 0x00
	FramingSLIP     = "slip"     // RFC 1055
	FramingKISS     = "kiss"     // TNC frames on SLIP's stuffing
	FramingSync     = "sync"     // sync word, then a length field or a fixed length
	FramingDatagram = "datagram" // each datagram is one message
	FramingBeeps    = "beeps"    // sound: each message is the course of one tone
)

// defaultFrameLimit is the most bytes that a message may have if nothing else
// is configured.
const defaultFrameLimit = 1024

// maxFrameLimit bounds what a configuration may ask for: a UDP datagram.
const maxFrameLimit = 65535

// Framing is how messages are cut out of the bytes. In a configuration it is
// either the kind alone (framing = "cobs") or a table
// (framing = {kind = "sync", sync = "AA 55", size = 24}).
type Framing struct {
	// Kind is line, cobs, slip, kiss, sync or datagram.
	Kind string `toml:"kind" json:"kind"`

	// Ends says what ends a line: "any" (default: CR, LF or CR LF), "lf", "cr",
	// or "crlf" (LF, and one CR before it is dropped). Line only.
	Ends string `toml:"ends" json:"ends,omitempty"`

	// Port takes only the data frames of this TNC port (0 to 15); nil takes
	// those of every port. KISS only.
	Port *int `toml:"port" json:"port,omitempty"`

	// The rest is for kind "sync" only. Such a message is
	//
	//	sync | ... length_at bytes ... | length field | the rest
	//
	// and offsets count from the first byte after the sync word.

	// Sync is the sync word in hex, 1 to 8 bytes; spaces are allowed. Without one,
	// messages with a length field follow each other directly, as space packets
	// over TCP do; after garbage they are found again by their checksum, the sooner
	// the lower frame_limit is.
	Sync string `toml:"sync" json:"sync,omitempty"`
	// KeepSync leaves the sync word on the message, for layouts whose checksum
	// covers it.
	KeepSync bool `toml:"keep_sync" json:"keep_sync,omitempty"`
	// Size is the fixed number of bytes after the sync word; 0 if there is a
	// length field.
	Size int `toml:"size" json:"size,omitempty"`
	// LengthAt is where the length field starts.
	LengthAt int `toml:"length_at" json:"length_at,omitempty"`
	// LengthBytes is how wide the field is: 1 to 4 bytes; 0 if there is none.
	LengthBytes int `toml:"length_bytes" json:"length_bytes,omitempty"`
	// LengthEndian is "little" (default) or "big".
	LengthEndian string `toml:"length_endian" json:"length_endian,omitempty"`
	// LengthAdd is added to the field's value to give the number of bytes that
	// follow the field: 2 if the value leaves out a 16-bit checksum, negative
	// if the value counts the field itself or what is before it.
	LengthAdd int `toml:"length_add" json:"length_add,omitempty"`
	// LengthAgain says that the message ends with the same length field once
	// more, counted among the bytes that follow the first; it must agree.
	LengthAgain bool `toml:"length_again" json:"length_again,omitempty"`

	// Rate (samples a second, 48000 if not given), Channels (1) and Bits (16) say
	// how sound is written: linear, little-endian. A WAV header says it by itself.
	// Beeps only.
	Rate     int `toml:"rate" json:"rate,omitempty"`
	Channels int `toml:"channels" json:"channels,omitempty"`
	Bits     int `toml:"bits" json:"bits,omitempty"`
}

// UnmarshalText reads the short form, the kind alone.
func (f *Framing) UnmarshalText(text []byte) error {
	*f = Framing{Kind: string(text)}
	return nil
}

// ConfigError is a configuration that cannot work: where, which field, with
// what value, why, and what to write instead.
type ConfigError struct {
	Where   string // such as: link "pad-radio"
	Field   string // the key in the configuration
	Value   string // as given; empty if the key is missing
	Problem string
	Mend    string
}

func (e *ConfigError) Error() string {
	var b strings.Builder
	if e.Where != "" {
		b.WriteString(e.Where + ": ")
	}
	b.WriteString(e.Field)
	if e.Value != "" {
		b.WriteString(" = " + e.Value)
	}
	b.WriteString(": " + e.Problem)
	if e.Mend != "" {
		b.WriteString("; " + e.Mend)
	}
	return b.String()
}

func framingError(field string, value any, problem, mend string) error {
	return &ConfigError{Where: "framing", Field: field, Value: fmt.Sprint(value), Problem: problem, Mend: mend}
}

// Validate says what is wrong with the framing, as a *ConfigError, or nil.
func (f Framing) Validate() error {
	switch f.Kind {
	case FramingLine, FramingCOBS, FramingSLIP, FramingKISS, FramingSync, FramingDatagram, FramingBeeps:
	case "":
		return framingError("kind", "", "is missing", `write one of line, cobs, slip, kiss, sync, datagram, beeps`)
	default:
		return framingError("kind", quote(f.Kind), "is not known", `write one of line, cobs, slip, kiss, sync, datagram, beeps`)
	}
	switch {
	case f.Kind != FramingLine && f.Ends != "":
		return framingError("ends", quote(f.Ends), "is for line framing only", "leave it out")
	case f.Kind == FramingLine && !oneOf(f.Ends, "", "any", "lf", "cr", "crlf"):
		return framingError("ends", quote(f.Ends), "is not known", `write "any", "lf", "cr" or "crlf"`)
	case f.Kind != FramingKISS && f.Port != nil:
		return framingError("port", *f.Port, "is for kiss framing only", "leave it out")
	case f.Port != nil && (*f.Port < 0 || *f.Port > 15):
		return framingError("port", *f.Port, "is not a TNC port", "write 0 to 15, or leave it out to take every port")
	}
	switch sound := f.Rate != 0 || f.Channels != 0 || f.Bits != 0; {
	case f.Kind != FramingBeeps && sound:
		return framingError("rate", f.Rate, "and channels and bits are for beeps framing only", "leave them out")
	case f.Kind == FramingBeeps:
		if err := f.SoundFormat().Validate(); err != nil {
			return framingError("rate", f.Rate, "does not go with channels and bits: "+err.Error(), "write what arecord -f S16_LE -c 1 -r 48000 gives: rate = 48000, channels = 1, bits = 16")
		}
	}
	if f.Kind != FramingSync {
		return f.validateNotSync()
	}
	return f.validateSync()
}

func (f Framing) validateNotSync() error {
	given := []struct {
		field string
		set   bool
	}{
		{"sync", f.Sync != ""}, {"keep_sync", f.KeepSync}, {"size", f.Size != 0},
		{"length_at", f.LengthAt != 0}, {"length_bytes", f.LengthBytes != 0}, {"length_endian", f.LengthEndian != ""},
		{"length_add", f.LengthAdd != 0}, {"length_again", f.LengthAgain},
	}
	for _, g := range given {
		if g.set {
			return framingError(g.field, "", "is for sync framing only, and the kind is "+f.Kind, "leave it out, or write kind = \"sync\"")
		}
	}
	return nil
}

func (f Framing) validateSync() error {
	word, err := f.syncWord()
	switch {
	case err != nil:
		return framingError("sync", quote(f.Sync), "is not hex", `write the bytes as hex pairs, such as sync = "AA 55"`)
	case len(word) == 0 && f.LengthBytes == 0:
		return framingError("sync", "", "is missing, and so is length_bytes: nothing tells where a message begins", `write the bytes as hex pairs, such as sync = "AA 55"`)
	case len(word) == 0 && f.KeepSync:
		return framingError("keep_sync", "", "is for messages with a sync word, and there is none", "leave it out, or give the word as sync")
	case len(word) > 8:
		return framingError("sync", quote(f.Sync), fmt.Sprintf("has %d bytes", len(word)), "write 1 to 8 bytes as hex pairs; 2 or more make false starts rare")
	case f.Size < 0 || f.Size > maxFrameLimit:
		return framingError("size", f.Size, "is out of range", fmt.Sprintf("write 1 to %d bytes", maxFrameLimit))
	case f.Size > 0 && (f.LengthBytes != 0 || f.LengthAt != 0 || f.LengthAdd != 0 || f.LengthAgain || f.LengthEndian != ""):
		return framingError("size", f.Size, "contradicts the length field", "give either size or length_bytes, not both")
	case f.Size == 0 && f.LengthBytes == 0:
		return framingError("size", "", "is missing, and so is length_bytes", "give size for messages of fixed length, or length_bytes and length_at")
	case f.LengthBytes < 0 || f.LengthBytes > 4:
		return framingError("length_bytes", f.LengthBytes, "is out of range", "write 1 to 4 bytes")
	case f.LengthAt < 0 || f.LengthAt > 255:
		return framingError("length_at", f.LengthAt, "is out of range", "write 0 to 255 bytes after the sync word")
	case !oneOf(f.LengthEndian, "", "little", "big"):
		return framingError("length_endian", quote(f.LengthEndian), "is not known", `write "little" or "big"`)
	case f.LengthAdd < -maxFrameLimit || f.LengthAdd > maxFrameLimit:
		return framingError("length_add", f.LengthAdd, "is out of range", fmt.Sprintf("write -%d to %d", maxFrameLimit, maxFrameLimit))
	}
	return nil
}

// syncWord is the sync word's bytes.
func (f Framing) syncWord() ([]byte, error) {
	b, err := hex.DecodeString(strings.NewReplacer(" ", "", ":", "").Replace(f.Sync))
	if err != nil {
		return nil, fmt.Errorf("read sync word: %w", err)
	}
	return b, nil
}

func oneOf(s string, list ...string) bool {
	for _, l := range list {
		if s == l {
			return true
		}
	}
	return false
}

func quote(s string) string { return fmt.Sprintf("%q", s) }
