package bus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// The embedded server writes the place of a durable consumer, with every message
// that is under way to it, ten times a second while anything is heard: on a
// memory card that was a sixth of all that is written. So the server keeps its
// consumers in memory, and the bus writes their places itself, once a second at
// most and only when a batch is done. A place that is older than the truth only
// brings messages again, which changes nothing.
//
// Beside the server's files lies places/STREAM.DURABLE for each: magic "PLKP",
// u64 sequence, CRC-32C of both, little-endian. It is written over itself, 16
// bytes within one sector: after a loss of power the old or the new one stands
// there, and if it is neither, by its sum, everything in the stream comes again.

// placeEvery is how often a place is written at most.
const placeEvery = time.Second

const (
	placeMagic = "PLKP"
	placeSize  = len(placeMagic) + 8 + 4
)

var placeSum = crc32.MakeTable(crc32.Castagnoli)

// ownPlaces says whether the bus keeps the places of consumers itself.
func (o Options) ownPlaces() bool { return o.embedded() && !o.Memory }

func (b *Bus) placePath(durable string) string {
	return filepath.Join(b.opts.Dir, "places", Token(b.opts.Stream)+"."+Token(durable))
}

// loadPlace is the last sequence up to which a durable consumer is known to have
// acknowledged everything; 0 if nothing is known.
func (b *Bus) loadPlace(durable string) (uint64, error) {
	if !b.opts.ownPlaces() {
		return 0, nil
	}
	raw, err := os.ReadFile(b.placePath(durable))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read place of consumer %s: %w", durable, err)
	}
	if len(raw) != placeSize || string(raw[:len(placeMagic)]) != placeMagic ||
		binary.LittleEndian.Uint32(raw[placeSize-4:]) != crc32.Checksum(raw[:placeSize-4], placeSum) {
		b.opts.Log.Warn().Str("consumer", durable).Msg("its place in the stream is not readable: everything in the stream comes again, which changes nothing")
		return 0, nil
	}
	return binary.LittleEndian.Uint64(raw[len(placeMagic):]), nil
}

func (b *Bus) savePlace(durable string, seq uint64) error {
	return b.putPlace(durable, seq, func(*os.File) error { return nil })
}

// putPlace writes a place, and calls last before it closes the file.
func (b *Bus) putPlace(durable string, seq uint64, last func(*os.File) error) error {
	raw := binary.LittleEndian.AppendUint64([]byte(placeMagic), seq)
	raw = binary.LittleEndian.AppendUint32(raw, crc32.Checksum(raw, placeSum))
	path := b.placePath(durable)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o644)
	if errors.Is(err, fs.ErrNotExist) {
		if err = os.MkdirAll(filepath.Dir(path), 0o755); err == nil {
			f, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o644)
		}
	}
	if err != nil {
		return fmt.Errorf("write place of consumer %s: %w", durable, err)
	}
	if _, err = f.WriteAt(raw, 0); err == nil {
		err = last(f)
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write place of consumer %s: %w", durable, err)
	}
	return nil
}

// places lists the durable consumers that have a place.
func (b *Bus) places() ([]string, error) {
	if !b.opts.ownPlaces() {
		return nil, nil
	}
	begin := Token(b.opts.Stream) + "."
	paths, err := below(filepath.Join(b.opts.Dir, "places"), begin+"*")
	if err != nil {
		return nil, fmt.Errorf("look for places: %w", err)
	}
	for i := range paths {
		paths[i] = strings.TrimPrefix(filepath.Base(paths[i]), begin)
	}
	return paths, nil
}

// boundPlaces takes places back to the stream's end: a loss of power may have
// taken the stream's last second, and new messages get those numbers. They are
// synced at once: if the power fails again while the old place is still on the
// disk, and the new messages are too, these would never be read.
func (b *Bus) boundPlaces(last uint64) error {
	all, err := b.places()
	if err != nil {
		return err
	}
	for _, durable := range all {
		place, err := b.loadPlace(durable)
		if err != nil {
			return err
		}
		if place > last {
			if err := b.putPlace(durable, last, (*os.File).Sync); err != nil {
				return err
			}
		}
	}
	return nil
}

// keepPlaces writes the places of all consumers, at the end.
func (b *Bus) keepPlaces() error {
	all, err := b.places()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), b.opts.AckTimeout)
	defer cancel()
	for _, durable := range all {
		c, err := b.js.Consumer(ctx, b.opts.Stream, durable)
		if err != nil {
			continue // not read in this run, or the server is gone: as of the last batch
		}
		// A consumer that has read nothing yet says 0.
		place, err := b.loadPlace(durable)
		if err != nil {
			return err
		}
		if floor := c.CachedInfo().AckFloor.Stream; floor > place {
			if err := b.savePlace(durable, floor); err != nil {
				return err
			}
		}
	}
	return nil
}

// startAfter makes a consumer begin with the message after a place.
func startAfter(cfg *jetstream.ConsumerConfig, place uint64) {
	cfg.DeliverPolicy = jetstream.DeliverByStartSequencePolicy
	cfg.OptStartSeq, cfg.OptStartTime = place+1, nil
}

// acknowledge acknowledges a batch and writes the consumer's place if it is time
// to.
func (r *reader) acknowledge(ctx context.Context, batch []jetstream.Msg) error {
	last := len(batch) - 1
	confirm := r.bus.opts.ownPlaces() && time.Since(r.placed) >= placeEvery
	if !confirm {
		last++
	}
	for _, m := range batch[:last] {
		// An acknowledgement that gets lost only brings the message again, and
		// then it is recognised.
		if err := m.Ack(); err != nil && !errors.Is(err, jetstream.ErrMsgAlreadyAckd) {
			return fmt.Errorf("acknowledge: %w", err)
		}
	}
	if !confirm {
		return nil
	}
	r.placed = time.Now() // also if it fails: a server in trouble must not hold up every batch
	// Also if ctx has ended: what is done is done.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), r.bus.opts.AckTimeout)
	defer cancel()
	err := r.place(ctx, batch[last])
	if errors.Is(err, context.DeadlineExceeded) {
		return nil // the place stays as it is
	}
	return err
}

// place acknowledges the last message of a batch and writes how far the consumer
// is.
func (r *reader) place(ctx context.Context, last jetstream.Msg) error {
	// When the server has confirmed this one it knows of those before it.
	if err := last.DoubleAck(ctx); err != nil && !errors.Is(err, jetstream.ErrMsgAlreadyAckd) {
		return fmt.Errorf("acknowledge: %w", err)
	}
	c, err := r.bus.js.Consumer(ctx, r.bus.opts.Stream, r.c.Durable)
	if err != nil {
		return fmt.Errorf("look at place: %w", err)
	}
	err = r.bus.savePlace(r.c.Durable, c.CachedInfo().AckFloor.Stream)
	if err != nil && !r.placeless {
		r.bus.opts.Log.Warn().Err(err).Msg("after a crash, what has been read since comes again, which changes nothing")
	}
	r.placeless = err != nil
	return nil
}
