package ingest

import (
	"context"
	"io"
	"net"
	"time"

	"github.com/rs/zerolog"
)

// Chunk is the bytes of one read.
type Chunk struct {
	// Link is the name of the link.
	Link string
	// Peer tells apart the senders of a link that has several, each with its
	// own stream of bytes; empty where there is only one.
	Peer string
	// Heard is when the last byte was read, since the clock's epoch.
	Heard time.Duration
	// Bytes belong to the link and are valid until the callback returns.
	Bytes []byte
	// Baud is the line rate in bits per second, 0 where there is none.
	Baud int
	// RSSI is the received signal strength in dBm, nil if not known.
	RSSI *float64
	// Datagram says that the chunk's borders are the sender's own; End is then
	// EndWhole.
	Datagram bool
	// End says what comes after these bytes in this peer's stream.
	End End
	// Framed says that the bytes are one message that was framed when it was
	// recorded: the frame of a journal. It is zero for bytes off a wire.
	Framed Framed
}

// Framed is what a recorded frame knows besides its bytes.
type Framed struct {
	N      uint64        // number on its link, from 1
	Passed time.Duration // when it passed the sequencer, since the clock's epoch
	Wire   int           // bytes that it took on the wire
}

// End says whether a stream of bytes goes on after a chunk.
type End uint8

const (
	// EndNone: the next chunk continues where this one stops.
	EndNone End = iota
	// EndWhole: the stream ended in good order (a datagram, the end of a file),
	// so what is pending is whole.
	EndWhole
	// EndCut: the stream was cut (link lost, peer gone), so what is pending is
	// only a piece.
	EndCut
)

// Link is a place that bytes come from.
type Link interface {
	// Name is the configured name.
	Name() string
	// Run reads until the context is cancelled or the input has ended for good
	// (a file), and then returns nil; until then it opens the port again and
	// again whenever it fails. It calls out from one goroutine at a time. An
	// error from out ends Run, which returns it.
	Run(ctx context.Context, out func(Chunk) error) error
}

// Env is what links and receivers need from the station. Clock must be set.
type Env struct {
	Clock Clock
	// Log gets one line for each change of a link's state.
	Log zerolog.Logger
	// OnState, if set, is called at each change of a link's state, from the
	// link's goroutine. It must not block.
	OnState func(link string, s LinkState)
	// Tee, if set, gets every chunk before it is framed, from several
	// goroutines. After its first error that link's chunks are no longer
	// offered: a full disk must not stop the reception. CaptureWriter.WriteChunk
	// fits.
	Tee func(Chunk) error
	// Stdin is what a link with stdin = true reads; nil means there is none.
	Stdin io.Reader

	// Subscribe calls fn with each message on a subject of the station's bus, from
	// one goroutine, until stop is called. Links with nats = need it. fn may block:
	// the bus keeps a bounded number of messages meanwhile, and lost tells how
	// many of them had to be dropped.
	Subscribe func(subject string, fn func(message []byte)) (stop func(), lost func() int, err error)

	// ServeMQTT speaks MQTT with a board on a connection, until it ends; broker.Serve
	// does it. Links with mqtt_listen = need it.
	ServeMQTT func(conn net.Conn, limit int, admit func(user, word []byte) bool, take func(topic string, message []byte) error) error

	// sysfs and dev are where the system shows its devices; tests put trees of
	// their own there.
	sysfs, dev string
}

// LinkState is how a link is, in one word and in plain words.
type LinkState struct {
	// State is "up" (open), "waiting" (not open, being tried again) or "down"
	// (ended, will not come back).
	State string `json:"state"`
	// Words say why, and what to do about it.
	Words string `json:"words"`
}

// The values of LinkState.State.
const (
	StateUp      = "up"
	StateWaiting = "waiting"
	StateDown    = "down"
)
