package bus

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"

	"github.com/rs/zerolog"
)

// Options says how a station's bus is reached. Station is required.
type Options struct {
	// Station is the station's name; it is part of every subject.
	Station string

	// Listen is an address on which others may connect and listen too; empty
	// means none. One other than a loopback address needs a token.
	Listen string
	// Token is asked of those who connect. They may read all and publish nothing
	// but on the subjects of Publish.
	Token   string
	Publish []string
	// Boards may each publish on one subject, by a word of their own, and hear
	// nothing.
	Boards []Board
	// TLS is the listening server's configuration; nil means none.
	TLS *tls.Config

	// Log takes the few lines about changes of state. The zero value is silent.
	Log zerolog.Logger
}

// Board is who sends the frames of one link.
type Board struct{ Subject, Token string }

// Remote says where another station's bus is, for Dial.
type Remote struct {
	URL       string // nats://host:4222 or tls://host:4222
	Station   string // whose messages to hear; empty is every station's
	Token     string
	CredsFile string // a .creds file with a JWT and a key
	TLS       *tls.Config
	Log       zerolog.Logger
	// Changed, if set, is called in place of a log line when the connection is
	// lost, and with nil when it is back.
	Changed func(lost error)
}

// listens is where the server listens, an empty host for nowhere.
func (o Options) listens() (host string, port int, err error) {
	if o.Station == "" {
		return "", 0, errors.New("open bus: no station name; set [station] name")
	}
	if o.Listen == "" {
		return "", 0, nil
	}
	host, text, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return "", 0, fmt.Errorf("open bus: [bus] listen %q is not host:port: %w", o.Listen, err)
	}
	ip := net.ParseIP(host)
	if loopback := host == "localhost" || ip != nil && ip.IsLoopback(); !loopback && o.Token == "" {
		return "", 0, fmt.Errorf("open bus: [bus] listen %q can be reached from outside; set a token, or listen on 127.0.0.1", o.Listen)
	}
	if port, err = strconv.Atoi(text); err != nil {
		return "", 0, fmt.Errorf("open bus: [bus] listen %q: the port is not a number", o.Listen)
	}
	return host, port, nil
}

// Where is the address without passwords, as it may be shown.
func (r Remote) Where() string { return redact(r.URL) }

// redact takes passwords out of an address, or of several with commas between
// them, before it is shown.
func redact(raw string) string {
	parts := strings.Split(raw, ",")
	for i, p := range parts {
		u, err := url.Parse(p)
		if err != nil {
			return "(unreadable)"
		}
		parts[i] = u.Redacted()
	}
	return strings.Join(parts, ",")
}
