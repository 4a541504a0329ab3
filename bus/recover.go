package bus

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Waits between attempts to get going again.
const (
	retryMin = 20 * time.Millisecond
	retryMax = 2 * time.Second
)

// pubAck is the stream's reply to a message.
type pubAck struct {
	Seq       uint64 `json:"seq"`
	Duplicate bool   `json:"duplicate"`
	Error     *struct {
		Code        int    `json:"err_code"`
		Description string `json:"description"`
	} `json:"error"`
}

func parseAck(m *nats.Msg) (pubAck, error) {
	var r pubAck
	if m.Header.Get("Status") == "503" {
		return r, errors.New("the stream is not there")
	}
	if err := json.Unmarshal(m.Data, &r); err != nil {
		return r, fmt.Errorf("read acknowledgement: %w", err)
	}
	if r.Error != nil {
		return r, fmt.Errorf("the stream refuses: %s (%d)", r.Error.Description, r.Error.Code)
	}
	return r, nil
}

// recover finds out which messages of the window the stream has and sends the
// others again, in order. It tries until it succeeds; false means that the bus
// was closed meanwhile.
func (p *publisher) recover(cause error) bool {
	b := p.bus
	b.count.failures.Add(1)
	for wait := retryMin; ; wait = min(2*wait, retryMax) {
		err := p.restart()
		if err == nil {
			return true
		}
		if p.quit.Err() != nil {
			return false
		}
		// The first failure is ordinary (one lost reply); the line is for
		// trouble that lasts.
		if wait > retryMin && b.count.setTrouble(err.Error()) {
			b.opts.Log.Error().Err(err).AnErr("cause", cause).Int("queued", b.Counters().Queued).
				Msg("bus does not take messages; they wait")
		}
		if !p.pause(wait) {
			return false
		}
	}
}

// pause waits; false if the bus was closed meanwhile.
func (p *publisher) pause(d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-p.quit.Done():
		return false
	}
}

// restart is one attempt: ask the stream where it stands, drop what it has, get
// the oldest of the rest acknowledged alone, then send the others.
func (p *publisher) restart() error {
	p.gen++
	p.sent, p.since = 0, 0
	p.drainAcks()
	if err := p.bus.server.revive(); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(p.quit, p.bus.opts.AckTimeout)
	defer cancel()
	if err := p.resync(ctx); err != nil {
		return err
	}
	if len(p.window) > 0 {
		if err := p.step(ctx); err != nil {
			return err
		}
	}
	p.bus.count.resent.Add(uint64(len(p.window)))
	return p.sendRest()
}

// resync looks at the stream's last message. If it is one of the window, all
// before that one are in the stream too, since each was refused unless it
// followed its predecessor.
func (p *publisher) resync(ctx context.Context) error {
	s, err := p.bus.js.Stream(ctx, p.bus.opts.Stream)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		p.bus.opts.Log.Warn().Str("stream", p.bus.opts.Stream).Msg("bus stream is gone; it is made again")
		s, err = ensureStream(ctx, p.bus.js, p.bus.opts)
	}
	if err != nil {
		return fmt.Errorf("ask stream where it stands: %w", err)
	}
	last, id, err := lastMessage(ctx, s)
	if err != nil {
		return err
	}
	base := p.base.Load()
	// Only what lies above base can be of the window; a window that holds a
	// natural key twice is matched at the first.
	for i := 0; last > base && i < len(p.window) && uint64(i) < last-base; i++ {
		if p.window[i].id == id {
			p.pop(i+1, last)
			return nil
		}
	}
	if last != base {
		p.bus.opts.Log.Warn().Uint64("expected", base).Uint64("found", last).
			Msg("bus stream was changed by someone else; does another daemon run as this station?")
	}
	p.base.Store(last)
	p.lastID = id
	return nil
}

// lastMessage is the stream's last sequence and the natural key of the message
// there; the key is empty if the message has none or is gone by age.
func lastMessage(ctx context.Context, s jetstream.Stream) (seq uint64, id string, err error) {
	seq = s.CachedInfo().State.LastSeq
	if seq == 0 {
		return 0, "", nil
	}
	m, err := s.GetMsg(ctx, seq)
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		return seq, "", nil
	case err != nil:
		return 0, "", fmt.Errorf("read last message of stream: %w", err)
	}
	return seq, m.Header.Get(headerID), nil
}

// step sends the oldest message alone and waits for its reply. Here, and only
// here, a duplicate is settled: the stream has it, and its end has not moved.
func (p *publisher) step(ctx context.Context) error {
	p.bus.count.resent.Add(1)
	if err := p.send(true); err != nil {
		return err
	}
	for {
		var m *nats.Msg
		select {
		case m = <-p.acks:
		case <-ctx.Done():
			return fmt.Errorf("no acknowledgement: %w", ctx.Err())
		}
		gen, num, ok := replyNumber(m.Subject[len(p.inbox)+1:])
		if !ok || gen != p.gen || num != p.first {
			continue
		}
		r, err := parseAck(m)
		if err != nil {
			return err
		}
		if r.Duplicate {
			last := p.lastID
			p.bus.count.duplicates.Add(1)
			p.pop(1, p.base.Load())
			p.lastID = last
			return nil
		}
		p.pop(1, r.Seq)
		return nil
	}
}

func (p *publisher) drainAcks() {
	for {
		select {
		case <-p.acks:
		default:
			return
		}
	}
}
