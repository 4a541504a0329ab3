package ingest

import "fmt"

// Reasons under which framing counts what it drops. The decoder adds its own.
const (
	reasonTooLong   = "too long"       // more bytes than the frame limit
	reasonStuffing  = "bad stuffing"   // COBS code points past the end, or SLIP escape of nothing
	reasonEmpty     = "empty"          // a COBS block that holds no message
	reasonCut       = "cut off"        // the stream broke inside a message
	reasonGarbage   = "no frame start" // bytes outside any message
	reasonLength    = "bad length"     // the length field cannot be
	reasonNotData   = "not data"       // a KISS frame with a command, not data
	reasonOtherPort = "other port"     // KISS data of a port that is not wanted
	reasonCheck     = "bad check"      // refused by the check given to the framer
)

// Message is one deframed message.
type Message struct {
	// Bytes belong to the framer and are valid until the sink's method returns.
	Bytes []byte
	// Wire is how many bytes it took on the wire, delimiters and stuffing
	// included. (Lines ended by CR LF under ends = "any" count without the LF,
	// because the line is known to be whole at the CR.)
	Wire int
	// Offset is where it began, in bytes since the stream's start.
	Offset int64
}

// Reject is a piece that framing dropped.
type Reject struct {
	Reason string
	// Bytes belong to the framer and are valid until the sink's method returns.
	// A long piece is given only in part: its first bytes.
	Bytes []byte
	// Length is how long the piece was as far as it had been read.
	Length int
	// Offset is where it began, in bytes since the stream's start.
	Offset int64
}

// Sink takes what a framer finds, in the order of the stream.
type Sink interface {
	// Message takes a message. An error stops the Push that found it.
	Message(m Message) error
	// Reject takes a dropped piece.
	Reject(r Reject)
}

// Framer cuts one stream of bytes into messages. It finds its way again after
// garbage, and never holds more than about twice the frame limit. It is not
// safe for concurrent use.
type Framer struct {
	m   machine
	pos int64 // bytes pushed so far
}

// machine is one kind of framing. pos is the stream offset of b[0].
type machine interface {
	push(b []byte, pos int64, s Sink) error
	// end closes the stream: whole says that what is pending is complete.
	end(whole bool, s Sink) error
	// held is how many bytes are kept for later.
	held() int
}

// NewFramer makes a framer for messages of up to limit bytes
// (defaultFrameLimit if limit is 0).
func NewFramer(f Framing, limit int) (*Framer, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	if limit == 0 {
		limit = defaultFrameLimit
	}
	if limit < 1 || limit > maxFrameLimit {
		return nil, framingError("frame_limit", limit, "is out of range", fmt.Sprintf("write 1 to %d bytes", maxFrameLimit))
	}
	var m machine
	var err error
	switch f.Kind {
	case FramingLine:
		m = newLineMachine(f.Ends, limit)
	case FramingCOBS:
		m = newCOBSMachine(limit)
	case FramingSLIP:
		m = newSLIPMachine(limit)
	case FramingKISS:
		m = newKISSMachine(limit, f.Port)
	case FramingSync:
		m, err = newSyncMachine(f, limit)
	case FramingDatagram:
		m = &datagramMachine{limit: limit}
	case FramingBeeps:
		m, err = newSoundMachine(f)
	}
	if err != nil {
		return nil, err
	}
	return &Framer{m: m}, nil
}

// SetCheck gives a framer of kind "sync" a test of whether a message is right,
// such as its layout's checksum. What fails is taken for a false start: only
// its first byte is dropped, and the search goes on inside it. Without a check,
// a false start hides what follows for as long as its length says. Other kinds
// know their borders for certain and ignore it.
func (f *Framer) SetCheck(ok func(message []byte) bool) {
	if s, is := f.m.(*syncMachine); is {
		s.check = ok
	}
}

// Push takes the next bytes of the stream; it keeps no reference to them. It
// returns the sink's error, and then drops the rest of these bytes.
func (f *Framer) Push(b []byte, s Sink) error {
	pos := f.pos
	f.pos += int64(len(b))
	return f.m.push(b, pos, s)
}

// End closes the stream. If whole, the stream ended where the sender meant it
// to (a datagram, a file), and a pending message that only lacks its delimiter
// counts as complete; otherwise what is pending is dropped as cut off. After
// it the framer is ready for a new stream.
func (f *Framer) End(whole bool, s Sink) error { return f.m.end(whole, s) }

// Held is how many bytes the framer keeps while it waits for more.
func (f *Framer) Held() int { return f.m.held() }

// datagramMachine passes each datagram on as one message.
type datagramMachine struct{ limit int }

func (d *datagramMachine) push(b []byte, pos int64, s Sink) error {
	switch {
	case len(b) > d.limit:
		s.Reject(Reject{reasonTooLong, b, len(b), pos})
		return nil
	case len(b) == 0:
		return nil
	}
	return s.Message(Message{b, len(b), pos})
}

func (d *datagramMachine) end(bool, Sink) error { return nil }
func (d *datagramMachine) held() int            { return 0 }
