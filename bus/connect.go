package bus

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// Errors that tell what a person must mend.
var (
	// ErrUnreachable is returned when no server answers at the URL.
	ErrUnreachable = errors.New("server cannot be reached")
	// ErrCredentials is returned when the server refuses the credentials.
	ErrCredentials = errors.New("server refuses the credentials")
)

const connectTimeout = 5 * time.Second

// Connect joins an outside server, for good: it connects again whenever it must.
// The caller closes it.
func Connect(r Remote) (*nats.Conn, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	changed := r.Changed
	if changed == nil {
		changed = r.tell
	}
	opts := []nats.Option{
		nats.Name("padlark"),
		nats.Timeout(connectTimeout),
		nats.MaxReconnects(-1),
		nats.CustomReconnectDelay(reconnectDelay),
		// A refusal may be mended on the server.
		nats.IgnoreAuthErrorAbort(),
		// One that walks out of reach says nothing; this finds it after 15 s or so.
		nats.PingInterval(5 * time.Second),
		// What cannot be sent now is not kept here.
		nats.ReconnectBufSize(-1),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				changed(err)
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) { changed(nil) }),
		silent(),
	}
	if r.Token != "" {
		opts = append(opts, nats.Token(r.Token))
	}
	if r.CredsFile != "" {
		opts = append(opts, nats.UserCredentials(r.CredsFile))
	}
	if r.TLS != nil {
		opts = append(opts, nats.Secure(r.TLS))
	}
	nc, err := nats.Connect(r.URL, opts...)
	if err != nil {
		return nil, connectError(r, err)
	}
	return nc, nil
}

// Check finds an address at which nothing can ever be.
func (r Remote) Check() error {
	for p := range strings.SplitSeq(r.URL, ",") {
		if u, err := url.Parse(p); err != nil || u.Host == "" {
			return fmt.Errorf("open bus: %q is not an address like nats://host:4222", redact(p))
		}
	}
	return nil
}

// tell is what is said of a connection if nobody else does.
func (r Remote) tell(lost error) {
	if lost == nil {
		r.Log.Info().Str("server", r.Where()).Msg("the connection is back")
		return
	}
	r.Log.Warn().Err(lost).Str("server", r.Where()).Msg("the connection is lost; it is tried again and again")
}

// reconnectDelay goes from 50 ms to 2 s.
func reconnectDelay(attempts int) time.Duration {
	return min(50*time.Millisecond<<min(attempts, 6), 2*time.Second)
}

func connectError(r Remote, err error) error {
	where := r.Where()
	var netErr *net.OpError
	var unknownCA x509.UnknownAuthorityError
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired),
		strings.Contains(strings.ToLower(err.Error()), "authorization violation"):
		return fmt.Errorf("connect to %s: %w: check token or credentials", where, ErrCredentials)
	case errors.As(err, &unknownCA):
		return fmt.Errorf("connect to %s: the server's certificate is signed by nobody we know: give its signer's as tls_ca: %w", where, err)
	case errors.Is(err, nats.ErrNoServers), errors.Is(err, nats.ErrTimeout), errors.As(err, &netErr):
		return fmt.Errorf("connect to %s: %w: is it running, and is the address right? (%w)", where, ErrUnreachable, err)
	case r.CredsFile != "" && strings.Contains(err.Error(), r.CredsFile):
		return fmt.Errorf("read credentials: %w", err)
	}
	return fmt.Errorf("connect to %s: %w", where, err)
}
