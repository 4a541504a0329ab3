package ingest

import (
	"context"
	"time"
)

// maxStreams bounds how many senders of a link have a framer of their own. The
// one that has been silent for longest gives way to a new one.
const maxStreams = 64

// reasonNoDatagram is for a layout with datagram framing on plain bytes.
const reasonNoDatagram = "not a datagram"

// Receiver runs one link and its framing, and delivers numbered frames.
type Receiver struct {
	cfg     LinkConfig
	framing Framing
	env     Env
	link    Link
	stats   *Stats
	rep     *reporter
	check   func([]byte) bool
	recent  recent

	streams map[string]*stream
	n       uint64 // frames so far
	teeOff  bool

	// The chunk in hand, for the sink's methods.
	chunk Chunk
	out   func(Frame) error
}

type stream struct {
	framer *Framer
	heard  time.Duration
}

// NewReceiver makes the receiver of a link; it opens nothing yet.
func NewReceiver(cfg LinkConfig, framing Framing, env Env) (*Receiver, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	if err := framing.Validate(); err != nil {
		return nil, err
	}
	if err := cfg.CheckFraming(framing); err != nil {
		return nil, err
	}
	if _, err := NewFramer(framing, cfg.frameLimit()); err != nil {
		return nil, err // such as a size over the limit
	}
	src := source{baud: cfg.Baud, framing: framing.Kind, limit: cfg.frameLimit()}
	r := &Receiver{
		cfg: cfg, framing: framing, env: env, streams: map[string]*stream{},
		stats: newStats(cfg.Name, cfg.Kind(), env.Clock, src),
	}
	r.rep = &reporter{name: cfg.Name, env: env, stats: r.stats}
	r.link = newLink(cfg, env, r.rep)
	return r, nil
}

// watchGPSD asks gpsd for reports as JSON; it says nothing before.
const watchGPSD = `?WATCH={"enable":true,"json":true};` + "\n"

// NewLink makes a link by itself, without framing, for what wants the bytes.
func NewLink(cfg LinkConfig, env Env) (Link, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	stats := newStats(cfg.Name, cfg.Kind(), env.Clock, source{})
	return newLink(cfg, env, &reporter{name: cfg.Name, env: env, stats: stats}), nil
}

// newLink makes the link of a valid configuration.
func newLink(cfg LinkConfig, env Env, rep *reporter) Link {
	r := runner{name: cfg.Name, env: env, rep: rep, baud: cfg.Baud}
	from, _ := parseSenders(cfg.Senders) // valid, as the rest is
	switch cfg.Kind() {
	case kindUDP:
		return &udpLink{runner: r, addr: cfg.UDP, iface: cfg.Iface, stream: cfg.UDPStream, from: from}
	case kindTCP:
		return &tcpLink{runner: r, addr: cfg.TCP}
	case kindTNC:
		return &tcpLink{runner: r, addr: cfg.TNC}
	case kindTCPListen:
		return &tcpListenLink{runner: r, addr: cfg.TCPListen, from: from, what: "TCP "}
	case kindGPSD:
		return &tcpLink{runner: r, addr: cfg.GPSD, hello: watchGPSD}
	case kindMQTT:
		return &mqttLink{runner: r, addr: cfg.MQTT, topic: cfg.Topic, user: cfg.User, password: cfg.PasswordFile, limit: cfg.frameLimit()}
	case kindMQTTListen:
		return newMQTTListen(cfg, r, from)
	case kindNATS:
		return &busLink{runner: r, subject: cfg.NATS}
	case kindCommand:
		return &commandLink{runner: r, command: cfg.Command}
	case kindFile, kindStdin:
		return &fileLink{runner: r, path: cfg.File, capture: cfg.CaptureLink}
	}
	return newSerialLink(cfg, r)
}

// SetCheck gives the framing a test of whether a message is right; see
// Framer.SetCheck. Call it before Run or Push.
func (r *Receiver) SetCheck(ok func(message []byte) bool) { r.check = ok }

// Config is the link's configuration.
func (r *Receiver) Config() LinkConfig { return r.cfg }

// Frames is how many frames it has delivered; to be called while it does not run.
func (r *Receiver) Frames() uint64 { return r.n }

// Stats are the link's counters, to which the decoder adds.
func (r *Receiver) Stats() *Stats { return r.stats }

// Health is how the link is now. It is safe for concurrent use.
func (r *Receiver) Health() Health { return r.stats.Health() }

// Run runs the link until the context is cancelled or the input has ended for
// good; then it returns nil. It calls out with each frame, from one goroutine
// at a time; out may block, and an error from it ends Run, which returns it.
// Session and Passed of the frames are for the station to fill.
func (r *Receiver) Run(ctx context.Context, out func(Frame) error) error {
	return r.link.Run(ctx, func(c Chunk) error { return r.Push(c, out) })
}

// Push takes a chunk as if the link had heard it; see Replay. It must not be
// called while Run runs.
func (r *Receiver) Push(c Chunk, out func(Frame) error) error {
	r.tee(c)
	r.stats.addChunk(c)
	r.recent.add(c)
	if c.Datagram && c.End == EndNone {
		c.End = EndWhole
	}
	r.chunk, r.out = c, out
	if c.Framed.N > 0 {
		return r.Message(Message{Bytes: c.Bytes, Wire: c.Framed.Wire})
	}
	if r.framing.Kind == FramingDatagram && !c.Datagram {
		if len(c.Bytes) > 0 {
			r.Reject(Reject{reasonNoDatagram, c.Bytes, len(c.Bytes), 0})
		}
		return nil
	}
	// A datagram leaves nothing behind, so all its senders share one framer.
	key := c.Peer
	if c.Datagram {
		key = ""
	}
	s, err := r.stream(key, c.Heard)
	if err != nil {
		return err
	}
	if err := s.framer.Push(c.Bytes, r); err != nil {
		return err
	}
	if c.End == EndNone {
		return nil
	}
	if key != "" {
		delete(r.streams, key)
	}
	return s.framer.End(c.End == EndWhole, r)
}

// stream is the framer for one sender.
func (r *Receiver) stream(key string, heard time.Duration) (*stream, error) {
	if s := r.streams[key]; s != nil {
		s.heard = heard
		return s, nil
	}
	if len(r.streams) >= maxStreams {
		oldest := ""
		for k, s := range r.streams {
			// By name where the times are equal, for a replay to do the same.
			o := r.streams[oldest]
			if o == nil || s.heard < o.heard || s.heard == o.heard && k < oldest {
				oldest = k
			}
		}
		if err := r.streams[oldest].framer.End(false, r); err != nil {
			return nil, err
		}
		delete(r.streams, oldest)
	}
	f, err := NewFramer(r.framing, r.cfg.frameLimit())
	if err != nil {
		return nil, err
	}
	if r.check != nil {
		f.SetCheck(r.check)
	}
	s := &stream{framer: f, heard: heard}
	r.streams[key] = s
	return s, nil
}

// tee offers the chunk to the capture. The first failure is told, and ends it
// for this link: reception goes on.
func (r *Receiver) tee(c Chunk) {
	if r.env.Tee == nil || r.teeOff {
		return
	}
	c.Link = r.cfg.Name
	if err := r.env.Tee(c); err != nil {
		r.teeOff = true
		r.env.Log.Error().Err(err).Str("link", r.cfg.Name).Msg("the capture stops here; the link goes on")
	}
}

// Message implements Sink for the receiver's own framers.
func (r *Receiver) Message(m Message) error {
	r.n++
	r.stats.addFrame(r.chunk.Heard)
	f := Frame{
		Link: r.cfg.Name, N: r.n,
		Heard: r.env.Clock.At(r.chunk.Heard), Mono: int64(r.chunk.Heard),
		Passed: int64(r.chunk.Framed.Passed),
		Wire:   m.Wire, Baud: r.chunk.Baud,
		Bytes: append([]byte(nil), m.Bytes...),
	}
	if r.chunk.RSSI != nil {
		v := *r.chunk.RSSI
		f.RSSI = &v
	}
	return r.out(f)
}

// Reject implements Sink for the receiver's own framers.
func (r *Receiver) Reject(j Reject) { r.stats.addReject(j, r.chunk.Heard) }
