package guess

import (
	"bytes"
	"fmt"

	"padlark/decode"
	"padlark/ingest"
)

// Input is what was heard of one board.
type Input ingest.Recent

// Sure is how sure a guess is.
type Sure int

// From nothing to certain.
const (
	unknown Sure = iota
	perhaps
	likely
	certain
)

// String is the word that people read.
func (s Sure) String() string { return [...]string{"not known", "a guess", "likely", "sure"}[s] }

// sureOf turns a score from 0 to 1 into words.
func sureOf(score float64) Sure {
	switch {
	case score >= 0.85:
		return certain
	case score >= 0.6:
		return likely
	case score > 0:
		return perhaps
	}
	return unknown
}

// Point is one thing that was found about the whole: framing, form, checksum.
type Point struct {
	What, Value string
	Sure        Sure
	Why         string
}

// Column is one field, and what it may be.
type Column struct {
	Field decode.Field
	Title string // as the header line names it, "" without one
	Raw   string // in the frame that is shown
	Sure  Sure
	Why   string
	Ask   string // a question to the person, "" for none
}

// Guess is a proposed layout.
type Guess struct {
	// BuiltIn names a built-in layout that fits; Layout is the proposal otherwise.
	BuiltIn string
	Layout  decode.Layout
	Points  []Point
	Columns []Column
	// Parts are the further layouts that this one names: what its frames carry, or the
	// kinds of frame. A built-in one among them is not written out.
	Parts []*Guess
	// Frames is how many frames were cut out, Read how many of them the layout reads.
	Frames, Read int
	// Asks are questions about the whole.
	Asks []string
	// Raw is a frame from the middle, Values what the layout makes of it.
	Raw    []byte
	Values decode.Channels
	Clock  int64 // of that frame, in us; -1 if none

	frames [][]byte
	cells  func(frame []byte) []string // its columns as they stand there; nil if nobody can tell
}

// MostBytes and MostFrames bound what is looked at; few frames are too few.
const (
	MostBytes  = 1 << 20
	MostFrames = 4000
	few        = 5
)

// Look makes a proposal. The error says why there is none, and what to do.
func Look(in Input) (*Guess, error) {
	if len(in.Bytes) > MostBytes {
		in.Bytes = in.Bytes[:MostBytes]
	}
	all := in.Bytes
	for _, m := range in.Messages {
		all = append(all, m...)
		if len(all) > MostBytes {
			break
		}
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("there are no bytes: is the board on, and does it send?")
	}
	g, err := look(in, isText(all), 0)
	if err == nil && g.BuiltIn == "" {
		g.finish()
	}
	return g, err
}

// look tries what tells by its form what it is before what only its numbers tell.
// depth is how many frames it stands within.
func look(in Input, text bool, depth int) (*Guess, error) {
	if g := builtIn(in); g != nil {
		return g, nil
	}
	ways := []func(Input, int) *Guess{lookMaps, lookAX25, lookPackets, lookKinds}
	if text {
		ways = []func(Input, int) *Guess{lookJSON, lookMonitored, lookPairs}
	}
	for _, way := range ways {
		if g := way(in, depth); g != nil {
			return g, nil
		}
	}
	if text {
		return lookText(in, depth)
	}
	return lookBinary(in)
}

// frames cuts the input by a framing.
func (in Input) frames(f ingest.Framing) [][]byte {
	if len(in.Messages) > 0 {
		return in.Messages[:min(len(in.Messages), MostFrames)]
	}
	s := &messages{}
	framer, err := ingest.NewFramer(f, 0)
	if err != nil {
		return nil
	}
	_ = framer.Push(in.Bytes, s) // the sink's own end
	_ = framer.End(false, s)     // what is cut off is no frame
	return s.all
}

// messages collects what a framer finds.
type messages struct {
	all   [][]byte
	bytes int // in messages
}

func (s *messages) Message(m ingest.Message) error {
	if len(s.all) >= MostFrames {
		return fmt.Errorf("enough")
	}
	s.all = append(s.all, append([]byte(nil), m.Bytes...))
	s.bytes += len(m.Bytes)
	return nil
}

func (s *messages) Reject(ingest.Reject) {}

// builtIn tries the layouts that need no configuration.
func builtIn(in Input) *Guess {
	layouts, err := decode.Builtin()
	if err != nil {
		return nil
	}
	for _, l := range layouts {
		framing := l.Framing
		if len(in.Messages) > 0 {
			framing = ingest.Framing{Kind: ingest.FramingDatagram}
		}
		if sentences := l.Form == decode.NMEA || l.Form == decode.Kinds; sentences != in.hasSentences() {
			continue // to try costs more than to look
		}
		frames := in.frames(framing)
		g := &Guess{BuiltIn: l.Name, Layout: l, Frames: len(frames)}
		if l.Checksum.Kind == "" && l.Form != decode.NMEA && l.Form != decode.Kinds { // anything would fit
			continue
		}
		g.try(frames)
		if g.Read < few && g.Read < len(frames) || g.Read == 0 || 10*g.Read < 8*len(frames) {
			continue
		}
		g.Points = []Point{
			{"framing", framing.Kind, certain, fmt.Sprintf("%d frames", len(frames))},
			{"layout", l.Name, certain, fmt.Sprintf("built in; it reads %d of %d frames, checksum included", g.Read, len(frames))},
		}
		return g
	}
	return nil
}

// hasSentences says whether what was heard is sentences of NMEA 0183 at all.
func (in Input) hasSentences() bool {
	for _, m := range append(in.Messages[:min(len(in.Messages), few):min(len(in.Messages), few)], in.Bytes[:min(len(in.Bytes), 4096)]) {
		if bytes.HasPrefix(m, []byte("$")) || bytes.Contains(m, []byte("\n$")) || bytes.Contains(m, []byte("\r$")) {
			return true
		}
	}
	return false
}

// try decodes frames with the proposed layout, counts what is read, and keeps one
// from the middle to show.
func (g *Guess) try(frames [][]byte) {
	id := uint32(1)
	l := g.Layout
	d, err := decode.New(decode.Config{
		Layouts: g.layouts(),
		Links:   []decode.LinkLayouts{{Link: "guess", Layouts: []string{l.Name}, Rocket: "board"}},
		Rockets: []decode.RocketID{{Name: "board", ID: &id}},
	})
	if err != nil {
		g.Asks = append(g.Asks, "the proposal does not compile: "+err.Error())
		return
	}
	var p decode.Parsed
	names := g.channels()
	g.Clock = -1
	for i, b := range frames {
		if d.Parse("guess", b, &p) != nil {
			continue
		}
		g.Read++
		if g.Raw == nil || i <= len(frames)/2 {
			g.Raw = b
			g.Values = decode.Channels{Names: names, Values: append([]float64(nil), p.Values...)}
			g.Clock = -1
			if p.ClockUs == p.ClockUs {
				g.Clock = int64(p.ClockUs)
			}
		}
	}
}

// layouts are those that are proposed, without the built-in ones.
func (g *Guess) layouts() (out []decode.Layout) {
	for _, p := range g.Parts {
		out = append(out, p.layouts()...)
	}
	if g.BuiltIn == "" {
		out = append(out, g.Layout)
	}
	return out
}

func (g *Guess) channels() []string {
	others, err := decode.Builtin()
	if err != nil {
		return nil
	}
	p, err := decode.Compile(g.Layout, append(others, g.layouts()...))
	if err != nil {
		return nil
	}
	return p.Channels()
}

// isText says whether nearly all bytes are those of text.
func isText(b []byte) bool {
	odd := 0
	for _, c := range b {
		if c < ' ' && c != '\r' && c != '\n' && c != '\t' || c == 0x7f {
			odd++
		}
	}
	high := 0
	for _, c := range b {
		if c >= 0x80 { // a degree sign in a header is no reason
			high++
		}
	}
	return 50*odd <= len(b) && 10*high <= len(b)
}
