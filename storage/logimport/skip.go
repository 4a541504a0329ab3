package logimport

import "fmt"

// Skip is a piece of the log that gave no sample, or a run of such pieces.
type Skip struct {
	Line int `json:"line"` // of a text, from 1; 0 in a binary log
	// Last is the line of the last piece of a run, Pieces how many it has; both
	// are 0 for a single piece.
	Last   int    `json:"last_line,omitempty"`
	Pieces int    `json:"pieces,omitempty"`
	Offset int64  `json:"offset"` // bytes from the start, of the first
	Reason string `json:"reason"`
	Text   string `json:"text"` // the first bytes of the first
}

// String says it in one line.
func (s Skip) String() string {
	where := fmt.Sprintf("byte %d", s.Offset)
	if s.Line > 0 {
		where = fmt.Sprintf("line %d", s.Line)
	}
	switch {
	case s.Pieces > 1 && s.Line > 0:
		where = fmt.Sprintf("lines %d to %d", s.Line, s.Last)
	case s.Pieces > 1:
		where = fmt.Sprintf("%d pieces from byte %d on", s.Pieces, s.Offset)
	}
	text := fmt.Sprintf("%s: %s", where, s.Reason)
	if s.Text != "" {
		text += fmt.Sprintf(": %q", s.Text)
	}
	return text
}

const (
	skipText = 60   // bytes of a skipped piece that are shown
	skipEach = 20   // pieces in a row that are told one by one
	skipMost = 1000 // that a Log keeps
)

// skips tells of what is skipped as it comes. A long run of neighbours with
// one reason is told as one, so that a file of another kind is not repeated
// line by line; the numbers of all lines are told all the same.
type skips struct {
	log  *Log
	tell func(Skip)

	reason string // of the run, without particulars
	row    int    // its length
	rest   Skip   // what of it was not told one by one
	after  int    // good lines so far, to see that a run goes on
}

// add takes a piece. reason is the short one, detail may add particulars; good
// is how many pieces were good so far: one in between ends a run.
func (s *skips) add(line int, offset int64, piece []byte, reason, detail string, good int) {
	s.log.Bad++
	if reason != s.reason || good != s.after {
		s.flush()
		s.reason, s.after, s.row = reason, good, 0
	}
	s.row++
	one := Skip{Line: line, Offset: offset, Reason: reason, Text: string(piece[:min(len(piece), skipText)])}
	if detail != "" {
		one.Reason += " (" + detail + ")"
	}
	switch {
	case s.row <= skipEach:
		s.out(one)
	case s.rest.Pieces == 0:
		s.rest = one
		s.rest.Reason, s.rest.Pieces, s.rest.Last = reason, 1, line
	default:
		s.rest.Pieces++
		s.rest.Last = line
	}
}

// flush tells what is left of the run.
func (s *skips) flush() {
	if s.rest.Pieces == 1 {
		s.rest.Pieces, s.rest.Last = 0, 0
	}
	if s.rest.Reason != "" {
		s.out(s.rest)
	}
	s.rest = Skip{}
}

func (s *skips) out(k Skip) {
	if len(s.log.Skipped) < skipMost {
		s.log.Skipped = append(s.log.Skipped, k)
	}
	if s.tell != nil {
		s.tell(k)
	}
}
