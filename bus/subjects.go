package bus

import (
	"fmt"
	"slices"
	"strings"
)

// Kind names what a message carries; it is a token of the message's subject.
type Kind string

// The kinds.
const (
	Frame  Kind = "frame"  // ingest.Frame, by link
	Sample Kind = "sample" // decode.Sample, by rocket
	Event  Kind = "event"  // flight.Event, by rocket
	Alarm  Kind = "alarm"  // flight.Alarm, by rocket
	Health Kind = "health" // ingest.Health, by link
	Ticks  Kind = "tick"   // Tick
	State  Kind = "state"  // flight.State, by rocket
	// Standing is flight.Alarm, by rocket: not a change of one, but one that stands,
	// again and again, for whoever has missed its change.
	Standing Kind = "standing"
)

// allKinds lists them all.
func allKinds() []Kind { return []Kind{Frame, Sample, Event, Alarm, Health, Ticks, State, Standing} }

const subjectRoot = "padlark"

// Token makes any name into one subject token: letters, digits, "-" and "_"
// stay, every other byte becomes "=" and two hex digits, and an empty name is
// "=". Different names give different tokens.
func Token(name string) string {
	if name == "" {
		return "="
	}
	plain := true
	for i := 0; i < len(name); i++ {
		plain = plain && tokenByte(name[i])
	}
	if plain {
		return name
	}
	var b strings.Builder
	for i := 0; i < len(name); i++ {
		if c := name[i]; tokenByte(c) {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String()
}

func tokenByte(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
}

// subject is where a message of kind about name is published. A tick has no
// name.
func subject(station string, k Kind, name string) string {
	return under(Token(station), k, Token(name))
}

// filter is the subject that matches all messages of a kind, of one station or,
// with an empty name, of all.
func filter(station string, k Kind) string {
	if station == "" {
		return under("*", k, "*")
	}
	return under(Token(station), k, "*")
}

func under(station string, k Kind, name string) string {
	s := subjectRoot + "." + station + "." + string(k)
	if k == Ticks {
		return s
	}
	return s + "." + name
}

// Batches is the subject of a session's batches on an outside server; "*" is that of
// every station's or session's.
func Batches(station, session string) string {
	return subjectRoot + "." + wildOr(station) + ".batch." + wildOr(session)
}

func wildOr(name string) string {
	if name == "*" {
		return name
	}
	return Token(name)
}

// innerMark begins the subjects of what is only for the daemon's own process.
const innerMark = "_"

// innerSubject is where samples are in their compact form, which costs little
// beside JSON, for the watcher and the pages of the daemon itself.
func innerSubject(station string) string { return innerMark + subject(station, Sample, "") }

// kindOf reads the kind from a subject; empty if it is none of ours.
func kindOf(subject string) Kind {
	root, rest, _ := strings.Cut(subject, ".")
	_, rest, named := strings.Cut(rest, ".")
	if root != subjectRoot || !named {
		return ""
	}
	kind, _, _ := strings.Cut(rest, ".")
	return Kind(kind)
}

func checkKinds(kinds []Kind) error {
	for _, k := range kinds {
		if !slices.Contains(allKinds(), k) {
			return fmt.Errorf("bus: kind %q is not one of %v", k, allKinds())
		}
	}
	return nil
}
