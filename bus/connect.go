package bus

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Errors that tell what a person must mend.
var (
	// ErrUnreachable is returned when no server answers at the URL.
	ErrUnreachable = errors.New("server cannot be reached")
	// ErrCredentials is returned when the server refuses the credentials.
	ErrCredentials = errors.New("server refuses the credentials")
	// ErrStream is returned when the stream belongs to another station.
	ErrStream = errors.New("stream belongs to another station")
	// ErrClosed is returned by every call after Close.
	ErrClosed = errors.New("bus is closed")
	// ErrTooLarge is returned for a message above the server's limit.
	ErrTooLarge = errors.New("message is too large for the bus")
)

const connectTimeout = 5 * time.Second

// connect joins the embedded or the outside server. onDown is called, on
// another goroutine, each time the connection is lost, onUp when it is back.
func connect(o Options, e *embedded, onDown func(error), onUp func()) (*nats.Conn, error) {
	opts := []nats.Option{
		nats.Name("padlark " + o.Station),
		nats.Timeout(connectTimeout),
		nats.MaxReconnects(-1),
		nats.CustomReconnectDelay(reconnectDelay),
		// Nothing is buffered while the server is away: the publisher keeps what
		// is not acknowledged and would otherwise send it twice.
		nats.ReconnectBufSize(-1),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) { onDown(err) }),
		nats.ReconnectHandler(func(*nats.Conn) { onUp() }),
		// A slow viewer is counted by its subscription; the library's own line
		// on stderr would break the terminal's display.
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}),
	}
	if o.Token != "" {
		opts = append(opts, nats.Token(o.Token))
	}
	if o.User != "" {
		opts = append(opts, nats.UserInfo(o.User, o.Password))
	}
	target := o.URL
	if e != nil {
		target = ""
		// Within the process the server takes a plain connection even if it asks
		// others for TLS.
		opts = append(opts, nats.InProcessServer(e.srv))
	} else {
		if o.CredsFile != "" {
			opts = append(opts, nats.UserCredentials(o.CredsFile))
		}
		if o.TLS != nil {
			opts = append(opts, nats.Secure(o.TLS))
		}
	}
	nc, err := nats.Connect(target, opts...)
	if err != nil {
		return nil, connectError(o, err)
	}
	return nc, nil
}

// reconnectDelay goes from 50 ms to 2 s.
func reconnectDelay(attempts int) time.Duration {
	return min(50*time.Millisecond<<min(attempts, 6), 2*time.Second)
}

func connectError(o Options, err error) error {
	where := redact(o.URL)
	var netErr *net.OpError
	var unknownCA x509.UnknownAuthorityError
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired),
		strings.Contains(strings.ToLower(err.Error()), "authorization violation"):
		return fmt.Errorf("open bus at %s: %w: check [bus] user and password, token or credentials", where, ErrCredentials)
	case errors.As(err, &unknownCA):
		return fmt.Errorf("open bus at %s: the server's certificate is signed by nobody we know: set [bus] ca: %w", where, err)
	case errors.Is(err, nats.ErrNoServers), errors.Is(err, nats.ErrTimeout), errors.As(err, &netErr):
		return fmt.Errorf("open bus at %s: %w: is it running, and is [bus] url right? (%w)", where, ErrUnreachable, err)
	case o.CredsFile != "" && strings.Contains(err.Error(), o.CredsFile):
		return fmt.Errorf("open bus: read [bus] credentials: %w", err)
	}
	return fmt.Errorf("open bus at %s: %w", where, err)
}

// ensureStream makes the stream, or takes the one that is there and gives it
// our bounds.
func ensureStream(ctx context.Context, js jetstream.JetStream, o Options) (jetstream.Stream, error) {
	want := streamConfig(o)
	old, err := js.Stream(ctx, o.Stream)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		s, err := js.CreateStream(ctx, want)
		return s, streamError(o, err)
	case err != nil:
		return nil, streamError(o, err)
	}
	have := old.CachedInfo().Config
	for _, s := range have.Subjects {
		if !strings.HasPrefix(s, subjectRoot+"."+Token(o.Station)+".") {
			return nil, fmt.Errorf("open bus: stream %s carries %s: %w; set [bus] stream to another name", o.Stream, s, ErrStream)
		}
	}
	// What was chosen when the stream was made cannot be changed on it.
	want.Storage = have.Storage
	s, err := js.UpdateStream(ctx, want)
	return s, streamError(o, err)
}

// dedupWindow is how long the server remembers the natural keys. A resend after
// a lost acknowledgement is recognised by its place in the stream, however long
// it took; the keys are the second belt. Ten seconds of them, at 64 rockets and
// 50 Hz, are about 60 000.
const dedupWindow = 10 * time.Second

func streamConfig(o Options) jetstream.StreamConfig {
	c := jetstream.StreamConfig{
		Name:        o.Stream,
		Description: "padlark station " + o.Station,
		Subjects:    o.filters(Stored()),
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardOld,
		MaxBytes:    o.MaxBytes,
		Storage:     jetstream.FileStorage,
		Compression: jetstream.S2Compression,
		Replicas:    o.Replicas,
		Duplicates:  dedupWindow,
		AllowDirect: true,
	}
	if !o.embedded() {
		c.MaxAge = o.MaxAge // the embedded one has TrimOld
		c.Duplicates = min(dedupWindow, o.MaxAge)
	}
	if len(o.Collect) > 0 {
		c.Description = "padlark: what the stations sent"
		c.Subjects, c.Sources = nil, o.sources()
	}
	if o.Memory {
		c.Storage = jetstream.MemoryStorage
		c.Compression = jetstream.NoCompression
	}
	return c
}

func streamError(o Options, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, jetstream.ErrJetStreamNotEnabled), errors.Is(err, jetstream.ErrJetStreamNotEnabledForAccount),
		errors.Is(err, nats.ErrNoResponders):
		return fmt.Errorf("open bus at %s: the server has no JetStream; start it with -js (%w)", redact(o.URL), err)
	case errors.Is(err, jetstream.ErrStreamNameAlreadyInUse):
		return fmt.Errorf("open bus: stream %s: %w; set [bus] stream to another name", o.Stream, ErrStream)
	case strings.Contains(err.Error(), "overlap"):
		return fmt.Errorf("open bus: another stream of the server carries station %q already: %w; give this station another name", o.Station, err)
	}
	return fmt.Errorf("open bus stream %s: %w", o.Stream, err)
}
