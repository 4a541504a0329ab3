package bus

import (
	"sync"
	"sync/atomic"
	"time"
)

// Counters is a picture of what the bus has done since it was opened.
type Counters struct {
	Published   uint64 // messages taken for the stream
	Acked       uint64 // of these, acknowledged by the stream
	Duplicates  uint64 // of these, recognised as already there
	Bytes       uint64 // payload bytes of the messages taken
	Queued      int    // waiting or in flight now
	QueueSize   int    // how many may wait before a publish blocks
	Blocked     uint64 // publishes that had to wait for room
	BlockedTime time.Duration
	Resent      uint64 // messages sent again after a failure
	Failures    uint64 // times the publisher had to go back
	Disconnects uint64
	LiveSent    uint64 // live messages sent (health, tick, state)
	LiveFailed  uint64 // live messages not sent: no connection or too busy
	LiveDropped uint64 // live messages that a slow viewer here missed
	Handled     uint64 // messages that a Consume handler has taken
	HandlerErrs uint64 // times a handler failed and was tried again
	Redelivered uint64 // messages delivered more than once
	// Trouble says why the stream takes nothing at present; empty if it does.
	Trouble string
}

type counters struct {
	published, acked, duplicates, bytes  atomic.Uint64
	blocked, blockedNs, resent, failures atomic.Uint64
	disconnects                          atomic.Uint64
	liveSent, liveFailed, liveDropped    atomic.Uint64
	handled, handlerErrs, redelivered    atomic.Uint64

	mu      sync.Mutex
	trouble string
}

// setTrouble keeps the state in words and says whether it changed.
func (c *counters) setTrouble(s string) (changed bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	changed = c.trouble != s
	c.trouble = s
	return changed
}

// Counters returns the present counts.
func (b *Bus) Counters() Counters {
	c := &b.count
	c.mu.Lock()
	trouble := c.trouble
	c.mu.Unlock()
	dropped := c.liveDropped.Load()
	b.viewers.Range(func(v, _ any) bool {
		dropped += v.(*viewer).dropped()
		return true
	})
	pub, ack := c.published.Load(), c.acked.Load()
	return Counters{
		Published: pub, Acked: ack, Duplicates: c.duplicates.Load(), Bytes: c.bytes.Load(),
		Queued: int(pub - min(ack, pub)), QueueSize: b.opts.Queue,
		Blocked: c.blocked.Load(), BlockedTime: time.Duration(c.blockedNs.Load()),
		Resent: c.resent.Load(), Failures: c.failures.Load(), Disconnects: c.disconnects.Load(),
		LiveSent: c.liveSent.Load(), LiveFailed: c.liveFailed.Load(), LiveDropped: dropped,
		Handled: c.handled.Load(), HandlerErrs: c.handlerErrs.Load(), Redelivered: c.redelivered.Load(),
		Trouble: trouble,
	}
}
