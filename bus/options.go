package bus

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	"github.com/rs/zerolog"
)

// Defaults of Options.
const (
	DefaultStream       = "PADLARK"
	DefaultMaxAge       = 7 * 24 * time.Hour
	DefaultMaxBytes     = 1 << 30
	DefaultSyncInterval = 900 * time.Millisecond // with the fsync itself, a second
	DefaultQueue        = 8192
	DefaultAckTimeout   = 5 * time.Second
	DefaultCloseTimeout = 5 * time.Second
)

// Options says where the bus runs and how it is bounded. Station is required,
// and either Dir, Memory or URL.
type Options struct {
	// Station is the station's name; it is part of every subject.
	Station string

	// Dir is the folder of the embedded server's files. It is locked while the
	// bus is open.
	Dir string
	// Memory keeps the stream in memory, for a replay: nothing is left behind.
	Memory bool
	// URL of an outside server (nats://host:4222, tls://...); empty means embedded.
	URL string

	// Listen is an address on which the embedded server also takes TCP
	// connections; empty means none. An address other than a loopback one needs
	// credentials.
	Listen string
	// LeafURL joins the embedded server to an outside cluster as a leaf node;
	// Domain is then its JetStream domain (the station's name if empty).
	LeafURL string
	Domain  string

	// Credentials, for the outside server or asked of those who connect to the
	// embedded one (the latter takes Token or User and Password).
	Token     string
	User      string
	Password  string
	CredsFile string // a .creds file with a JWT and a key
	// TLS is the client's or the listening server's configuration; nil means
	// none (or the defaults, for a tls:// URL).
	TLS *tls.Config

	// Stream is the stream's name. Stations that share an outside server each
	// need one of their own, so it is then PADLARK-<station> if not given.
	Stream string
	// Collect makes the bus gather the streams of these stations instead of
	// having one of its own: it can be read, and nobody publishes to it. The URL
	// is that of the cluster that the stations join.
	Collect  []Source
	Replicas int // copies in a cluster; 1 if not given
	// MaxAge and MaxBytes bound the stream; the oldest messages go first. The
	// embedded server keeps to MaxAge when TrimOld is called.
	MaxAge   time.Duration
	MaxBytes int64
	// SyncInterval is how often the embedded server calls fsync, SyncAlways
	// makes it do so on every message. See the package's comment.
	SyncInterval time.Duration
	SyncAlways   bool

	// Queue is how many messages may wait to be sent before a publish blocks.
	Queue int
	// AckTimeout is how long the stream's acknowledgement may take before the
	// publisher looks for what is missing and sends it again.
	AckTimeout time.Duration
	// CloseTimeout is how long Close waits for the queue to empty.
	CloseTimeout time.Duration

	// Log takes the few lines about changes of state. The zero value is silent.
	Log zerolog.Logger
}

func (o Options) embedded() bool { return o.URL == "" }

func (o *Options) setDefaults() {
	if len(o.Collect) > 0 {
		def(&o.Stream, CollectedStream)
	}
	if o.Stream == "" {
		o.Stream = DefaultStream
		if !o.embedded() {
			o.Stream += "-" + Token(o.Station)
		}
	}
	def(&o.Replicas, 1)
	def(&o.MaxAge, DefaultMaxAge)
	def(&o.MaxBytes, DefaultMaxBytes)
	def(&o.SyncInterval, DefaultSyncInterval)
	def(&o.Queue, DefaultQueue)
	def(&o.AckTimeout, DefaultAckTimeout)
	def(&o.CloseTimeout, DefaultCloseTimeout)
	if o.LeafURL != "" {
		def(&o.Domain, Token(o.Station))
	}
}

func def[T comparable](p *T, v T) {
	var zero T
	if *p == zero {
		*p = v
	}
}

func (o Options) validate() error {
	switch {
	case len(o.Collect) > 0 && o.URL == "":
		return errors.New("open bus: stations are collected from an outside server; give its address")
	case o.Station == "":
		return errors.New("open bus: no station name; set [station] name")
	case o.MaxAge < 0 || o.MaxBytes < 0 || o.Queue < 0 || o.SyncInterval < 0 || o.Replicas < 0:
		return errors.New("open bus: max age, max bytes, queue, sync interval and replicas cannot be negative")
	case strings.ContainsAny(o.Stream, " .*>/\\\t\r\n"):
		return fmt.Errorf("open bus: [bus] stream %q: a stream's name has no blanks and none of . * > / \\", o.Stream)
	case !o.embedded():
		u, err := url.Parse(o.URL)
		if err != nil || u.Host == "" {
			return fmt.Errorf("open bus: [bus] url %q is not an address like nats://host:4222", redact(o.URL))
		}
		if o.Listen != "" {
			return errors.New("open bus: [bus] url and listen exclude each other: either an outside server or one that listens here")
		}
		return nil
	case o.Dir == "" && !o.Memory:
		return errors.New("open bus: no folder for the embedded server; set [station] data")
	}
	return o.validateListen()
}

func (o Options) validateListen() error {
	if o.Listen == "" {
		return nil
	}
	host, _, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return fmt.Errorf("open bus: [bus] listen %q is not host:port: %w", o.Listen, err)
	}
	ip := net.ParseIP(host)
	loopback := host == "localhost" || ip != nil && ip.IsLoopback()
	if !loopback && o.Token == "" && (o.User == "" || o.Password == "") {
		return fmt.Errorf("open bus: [bus] listen %q can be reached from outside; set a token or a user and password, or listen on 127.0.0.1", o.Listen)
	}
	if o.CredsFile != "" {
		return errors.New("open bus: a credentials file is for an outside server; the embedded one takes a token or a user and password")
	}
	return nil
}

// redact takes a password out of a URL before it is shown.
func redact(raw string) string {
	u, err := url.Parse(raw)
	if err != nil {
		return "(unreadable)"
	}
	return u.Redacted()
}
