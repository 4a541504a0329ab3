package station

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"padlark/bus"
	"padlark/storage/batch"
	"padlark/storage/uplink"
)

// Collection says which stream to gather from. Remote.Station is not used.
type Collection struct {
	bus.Remote
	Stations []string // whose batches; empty is every station's
	// Name is that of the durable consumer, by which the server knows how far
	// this collector is; each collector needs its own.
	Name string
}

// CollectorName is the name by which the servers know how far the collector of
// this folder is. It belongs to the folder: with a new one all comes again.
func CollectorName(data string) (string, error) {
	path := filepath.Join(data, "collector")
	name, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		name = []byte("padlark-" + rand.Text())
		err = os.WriteFile(path, name, 0o644)
	}
	if err != nil {
		return "", fmt.Errorf("name the collector: %w", err)
	}
	if s := strings.TrimSpace(string(name)); s != "" && bus.Token(s) == s {
		return s, nil
	}
	return "", fmt.Errorf("%s holds no name: delete it, then all comes from the servers again, which does no harm", path)
}

// forgetAfter is when a server forgets a collector that is gone. One that comes
// back gets everything again, which changes nothing.
const forgetAfter = 30 * 24 * time.Hour

// Collect hands over every batch of the stream until ctx ends, those of a session
// in their order, and acknowledges each when take returns nil. After an error of
// take it comes again. tell is told of what goes wrong, and nil when it goes on.
func Collect(ctx context.Context, c Collection, take func(context.Context, *batch.Batch) error, tell func(error)) error {
	nc, err := bus.Connect(c.Remote)
	if err != nil {
		return err
	}
	defer nc.Close()
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(uplink.AckTimeout))
	if err != nil {
		return fmt.Errorf("collect from %s: %w", uplink.Stream, err)
	}
	tell(nil)
	for {
		if err := c.gather(ctx, js, take, tell); ctx.Err() != nil {
			return nil
		} else if err != nil {
			tell(err)
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return nil
		}
	}
}

// gather reads until something goes wrong.
func (c *Collection) gather(ctx context.Context, js jetstream.JetStream, take func(context.Context, *batch.Batch) error, tell func(error)) error {
	consumer, n, err := c.consumer(ctx, js)
	if err != nil {
		return err
	}
	in, err := consumer.Messages(jetstream.PullMaxMessages(64), jetstream.PullExpiry(4*time.Second), jetstream.PullHeartbeat(time.Second))
	if err != nil {
		return fmt.Errorf("read %s: %w", uplink.Stream, err)
	}
	defer in.Stop()
	tell(nil)
	for {
		m, err := in.Next(jetstream.NextContext(ctx))
		if err != nil {
			return fmt.Errorf("read %s: %w", uplink.Stream, err)
		}
		meta, err := m.Metadata()
		if n++; err != nil || meta.Sequence.Consumer != n {
			return fmt.Errorf("read %s: a message was lost on the way; it is fetched again (%v)", uplink.Stream, err)
		}
		b, err := batch.Read(m.Data())
		if err != nil {
			tell(fmt.Errorf("message %d of %s is passed over: %w", meta.Sequence.Stream, uplink.Stream, err))
		} else if err := take(ctx, b); err != nil {
			return err
		}
		if err := acknowledge(ctx, m); err != nil {
			return err
		}
	}
}

// acknowledge waits until the server knows that a message has been taken, also at
// the end: what it does not know comes again.
func acknowledge(ctx context.Context, m jetstream.Msg) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), uplink.AckTimeout)
	defer cancel()
	if err := m.DoubleAck(ctx); err != nil {
		return fmt.Errorf("acknowledge: %w", err)
	}
	return nil
}

// consumer goes on with the collector's consumer, and says how many messages it
// has delivered. Some may have been in vain: the server sends these again, but
// after what is newer. In place of that the consumer is made anew, from the first
// message on that is not acknowledged, and order is kept.
func (c *Collection) consumer(ctx context.Context, js jetstream.JetStream) (jetstream.Consumer, uint64, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*uplink.AckTimeout)
	defer cancel()
	s, err := uplink.FindStream(ctx, js, c.Remote)
	if err != nil {
		return nil, 0, err
	}
	want := jetstream.ConsumerConfig{Durable: c.Name, AckPolicy: jetstream.AckAllPolicy, InactiveThreshold: forgetAfter}
	for _, station := range c.Stations {
		want.FilterSubjects = append(want.FilterSubjects, bus.Batches(station, "*"))
	}
	old, err := s.Consumer(ctx, c.Name)
	if err == nil {
		// A station that is new here is read from its start, so all are.
		info := old.CachedInfo()
		same := slices.Equal(info.Config.FilterSubjects, want.FilterSubjects)
		if same && info.NumAckPending == 0 {
			return old, info.Delivered.Consumer, nil
		} else if same {
			want.DeliverPolicy, want.OptStartSeq = jetstream.DeliverByStartSequencePolicy, info.AckFloor.Stream+1
		}
		err = s.DeleteConsumer(ctx, c.Name)
	}
	if err == nil || errors.Is(err, jetstream.ErrConsumerNotFound) {
		old, err = s.CreateConsumer(ctx, want)
	}
	if err != nil {
		err = fmt.Errorf("make consumer %s of %s: %w", c.Name, uplink.Stream, err)
	}
	return old, 0, err
}
