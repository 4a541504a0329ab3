package bus

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Trim drops from the stream what a durable consumer has acknowledged, to make
// room on the disk: the archive has those messages. Without the consumer it
// does nothing.
func (b *Bus) Trim(ctx context.Context, durable string) error {
	return b.trim(ctx, durable, func(_ context.Context, _ jetstream.Stream, keep uint64) (uint64, error) { return keep, nil })
}

// TrimOld drops what is older than Options.MaxAge, of that what a durable
// consumer has acknowledged. The embedded server must not do it by itself: it
// goes by the system's clock, and where that is set right by decades it would
// find everything too old, at its next start, and drop what the archive has not
// read. An outside server does it itself, by its own clock.
func (b *Bus) TrimOld(ctx context.Context, durable string) error {
	if !b.opts.embedded() {
		return nil
	}
	return b.trimBefore(ctx, durable, time.Now().Add(-b.opts.MaxAge))
}

// trimBefore drops what entered the stream before a moment and has been
// acknowledged.
func (b *Bus) trimBefore(ctx context.Context, durable string, limit time.Time) error {
	return b.trim(ctx, durable, func(ctx context.Context, s jetstream.Stream, keep uint64) (uint64, error) {
		return firstSince(ctx, s, limit, keep)
	})
}

// firstSince finds the first message up to end that is not from before limit.
// The times rise but for steps of the clock, after which any place will do.
func firstSince(ctx context.Context, s jetstream.Stream, limit time.Time, end uint64) (uint64, error) {
	state := s.CachedInfo().State
	if !state.FirstTime.Before(limit) {
		return state.FirstSeq, nil
	}
	old, young := state.FirstSeq, end
	for old+1 < young {
		mid := old + (young-old)/2
		m, err := s.GetMsg(ctx, mid)
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound): // dropped
			old = mid
		case err != nil:
			return 0, err
		case m.Time.Before(limit):
			old = mid
		default:
			young = mid
		}
	}
	return young, nil
}

// trim drops what lies before a message that first chooses; what the consumer
// has not acknowledged, from keep on, stays.
func (b *Bus) trim(ctx context.Context, durable string, first func(ctx context.Context, s jetstream.Stream, keep uint64) (uint64, error)) error {
	floor, err := b.floor(ctx, durable)
	if err != nil || floor == 0 {
		return err
	}
	s, err := b.js.Stream(ctx, b.opts.Stream)
	if err != nil {
		return fmt.Errorf("trim bus: %w", err)
	}
	keep := floor + 1
	if keep <= s.CachedInfo().State.FirstSeq {
		return nil
	}
	if keep, err = first(ctx, s, keep); err != nil {
		return fmt.Errorf("trim bus: look for old messages: %w", err)
	}
	if keep <= s.CachedInfo().State.FirstSeq {
		return nil
	}
	if err := s.Purge(ctx, jetstream.WithPurgeSequence(keep)); err != nil {
		return fmt.Errorf("trim bus: %w", err)
	}
	return nil
}

// floor is the last sequence up to which a durable consumer has acknowledged
// everything; 0 if there is none.
func (b *Bus) floor(ctx context.Context, durable string) (uint64, error) {
	c, err := b.js.Consumer(ctx, b.opts.Stream, durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		return b.loadPlace(durable) // not read since the start
	}
	if err != nil {
		return 0, fmt.Errorf("trim bus: look at consumer %s: %w", durable, err)
	}
	return c.CachedInfo().AckFloor.Stream, nil
}

// Limit bounds the stream to so many bytes from now on, 0 to Options.MaxBytes
// again. What lies above the bound goes at once, the oldest first, whether or
// not it has been consumed.
func (b *Bus) Limit(ctx context.Context, maxBytes int64) error {
	o := b.opts
	if maxBytes > 0 {
		o.MaxBytes = min(maxBytes, o.MaxBytes)
	}
	if _, err := ensureStream(ctx, b.js, o); err != nil {
		return fmt.Errorf("bound bus: %w", err)
	}
	return b.server.syncMeta()
}

// syncMeta puts the descriptions of the stream and its consumers on the disk.
// The server syncs messages but not these: after a loss of power it would find
// an empty checksum, not know the stream any more, and hold back for a while
// what had been delivered before. There are a handful of such files, written when
// something is made or changed.
func (e *embedded) syncMeta() error {
	if e == nil || e.temp != "" || runtime.GOOS == "windows" {
		return nil // Windows flushes no folder, and no file that is only read from
	}
	err := filepath.WalkDir(e.opts.StoreDir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil // gone meanwhile
		case err != nil:
			return err
		case !d.IsDir() && !strings.HasPrefix(d.Name(), "meta."):
			return nil
		}
		return syncPath(path) // of a folder, its entries
	})
	if err != nil {
		return fmt.Errorf("sync the bus's files: %w", err)
	}
	return nil
}

// mendMeta removes a stream's description whose checksum a loss of power has
// left empty or unwritten. The server would pass over the stream at every start
// and never write the checksum again; without the description the stream is made
// anew over its messages, which all stay.
func mendMeta(dir string) error {
	paths, err := below(dir, "jetstream/*/streams/*/meta.inf")
	if err != nil {
		return fmt.Errorf("look for streams: %w", err)
	}
	for _, inf := range paths {
		sum := strings.TrimSuffix(inf, ".inf") + ".sum"
		if st, err := os.Stat(sum); err == nil && st.Size() > 0 {
			continue
		}
		for _, p := range []string{inf, sum} {
			if err := os.Remove(p); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("mend the stream's description: %w", err)
			}
		}
	}
	return nil
}
