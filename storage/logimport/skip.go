package logimport

import "fmt"

// Skip is a piece of the log that gave no sample, or a run of such pieces.
type Skip struct {
	Line int `json:"line"` // of a text, from 1; 0 in a binary log
	// Sender is who sent it, in a capture that tells senders apart: lines and
	// bytes are then counted in what this sender sent since it connected.
	Sender string `json:"sender,omitempty"`
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
	if s.Sender != "" {
		where += " from " + s.Sender
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
	sender string
	row    int  // its length
	rest   Skip // what of it was not told one by one
	after  int  // good lines so far, to see that a run goes on
}

// add takes a piece. reason is the short one, detail may add particulars. A
// good line or another sender in between ends a run.
func (s *skips) add(p *piece, reason, detail string) {
	s.log.Bad++
	if sender := p.sender(); reason != s.reason || sender != s.sender || s.log.Good != s.after {
		s.flush()
		s.reason, s.sender, s.after, s.row = reason, sender, s.log.Good, 0
	}
	s.row++
	one := Skip{Line: p.line, Sender: s.sender, Offset: p.offset, Reason: reason, Text: string(p.bytes[:min(len(p.bytes), skipText)])}
	if detail != "" {
		one.Reason += " (" + detail + ")"
	}
	switch {
	case s.row <= skipEach:
		s.out(one)
	case s.rest.Pieces == 0:
		s.rest = one
		s.rest.Reason, s.rest.Pieces, s.rest.Last = reason, 1, p.line
	default:
		s.rest.Pieces++
		s.rest.Last = p.line
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
