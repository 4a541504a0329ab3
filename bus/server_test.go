package bus

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"math/big"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// outside starts a plain NATS server on a random loopback port, as a person
// would run one beside the daemon.
func outside(t testing.TB, change func(*server.Options)) *server.Server {
	t.Helper()
	o := &server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(),
	}
	if change != nil {
		change(o)
	}
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the outside server does not start")
	}
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}

func TestOutsideServer(t *testing.T) {
	s := outside(t, func(o *server.Options) { o.Authorization = "field-token" })
	b := open(t, Options{URL: s.ClientURL(), Token: "field-token"})
	for n := uint64(1); n <= 1000; n++ {
		if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
			t.Fatal(err)
		}
	}
	checkFrames(t, collect(t, b, 1000, Consumer{Kinds: []Kind{Frame}}), 1000)
}

// checkFrames checks that the messages are the frames 1 to n, in order.
func checkFrames(t testing.TB, ms []Msg, n int) {
	t.Helper()
	if len(ms) != n {
		t.Errorf("%d messages, want %d", len(ms), n)
	}
	for i, m := range ms {
		f, err := m.Frame()
		if err != nil {
			t.Fatal(err)
		}
		if f.N != uint64(i+1) {
			t.Fatalf("message %d is frame %d", i+1, f.N)
		}
	}
}

// TestServerGoesAway stops the outside server under load and starts it again on
// the same files and port; every frame is in the stream once and in order.
func TestServerGoesAway(t *testing.T) {
	dir := t.TempDir()
	s := outside(t, func(o *server.Options) { o.StoreDir = dir })
	port := s.Addr().(*net.TCPAddr).Port
	b := open(t, Options{URL: s.ClientURL(), AckTimeout: time.Second, Queue: 512})
	const n = 20000
	var wg sync.WaitGroup
	arrived := make(chan uint64, 5) // a fifth more; the publisher does not wait here
	wg.Go(func() {
		defer close(arrived)
		for i := uint64(1); i <= n; i++ {
			if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
				t.Errorf("publish %d: %v", i, err)
				return
			}
			if i%(n/5) != 0 {
				continue
			}
			if err := b.Flush(t.Context()); err != nil {
				t.Errorf("after %d: %v", i, err)
				return
			}
			arrived <- i
		}
	})
	for round := range 3 {
		if n, ok := <-arrived; !ok {
			t.Fatalf("round %d: nothing more arrives after %d", round, n)
		}
		s.Shutdown()
		s.WaitForShutdown()
		s = outside(t, func(o *server.Options) { o.StoreDir, o.Port = dir, port })
	}
	wg.Wait()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	if err := b.Flush(ctx); err != nil {
		t.Fatal(err)
	}
	c := b.Counters()
	t.Logf("%d failures, %d sent again, %d disconnects, blocked %d times", c.Failures, c.Resent, c.Disconnects, c.Blocked)
	if c.Failures == 0 {
		t.Error("the test did not disturb the publisher")
	}
	if b.LastSeq() != n {
		t.Errorf("stream ends at %d, want %d", b.LastSeq(), n)
	}
	checkFrames(t, collect(t, b, n, Consumer{Kinds: []Kind{Frame}}), n)
}

func TestOpenErrors(t *testing.T) {
	locked := t.TempDir()
	open(t, Options{Dir: locked})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed.Close()
	guarded := outside(t, func(o *server.Options) { o.Authorization = "field-token" })
	plain := outside(t, func(o *server.Options) { o.JetStream = false })
	shared := outside(t, nil)
	open(t, Options{URL: shared.ClientURL(), Station: "south-field"})

	for name, c := range map[string]struct {
		o    Options
		is   error
		says string
	}{
		"no station":        {Options{Dir: t.TempDir()}, nil, "[station] name"},
		"no folder":         {Options{Station: "x"}, nil, "[station] data"},
		"locked":            {Options{Station: "x", Dir: locked}, ErrLocked, "another padlark (process"},
		"port in use":       {Options{Station: "x", Dir: t.TempDir(), Listen: l.Addr().String()}, nil, "is in use by another program"},
		"open to all":       {Options{Station: "x", Dir: t.TempDir(), Listen: "0.0.0.0:0"}, nil, "can be reached from outside"},
		"bad listen":        {Options{Station: "x", Dir: t.TempDir(), Listen: "4222"}, nil, "not host:port"},
		"url and listen":    {Options{Station: "x", URL: "nats://h:1", Listen: "127.0.0.1:0"}, nil, "exclude each other"},
		"bad url":           {Options{Station: "x", URL: "my server"}, nil, "not an address"},
		"unreachable":       {Options{Station: "x", URL: "nats://" + closed.Addr().String()}, ErrUnreachable, "is it running"},
		"wrong token":       {Options{Station: "x", URL: guarded.ClientURL(), Token: "wrong"}, ErrCredentials, "[bus]"},
		"no JetStream":      {Options{Station: "x", URL: plain.ClientURL()}, nil, "no JetStream"},
		"stream of another": {Options{Station: "x", URL: shared.ClientURL(), Stream: DefaultStream + "-south-field"}, ErrStream, "[bus] stream"},
		"bad stream name":   {Options{Station: "x", Dir: t.TempDir(), Stream: "my.stream"}, nil, "[bus] stream"},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := Open(t.Context(), c.o)
			if err == nil {
				b.Close()
				t.Fatal("opened")
			}
			if c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%v", err)
			}
			if strings.Contains(err.Error(), "field-token") || strings.Contains(err.Error(), "wrong") && name == "wrong token" {
				t.Errorf("shows a secret: %v", err)
			}
		})
	}
}

func TestListenWithToken(t *testing.T) {
	b := open(t, Options{Listen: "127.0.0.1:0", Token: "field-token"})
	other, err := Open(t.Context(), Options{Station: "viewer", URL: "nats://" + b.Addr(), Token: "field-token"})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if _, err := Open(t.Context(), Options{Station: "viewer", URL: "nats://" + b.Addr()}); !errors.Is(err, ErrCredentials) {
		t.Errorf("without the token: %v", err)
	}
}

func TestListenWithTLS(t *testing.T) {
	cert, pool := certificate(t)
	b := open(t, Options{Listen: "127.0.0.1:0", User: "field", Password: "secret", TLS: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}})
	if err := b.PublishFrame(t.Context(), testFrame(1)); err != nil {
		t.Fatal(err)
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	o := Options{Station: "viewer", URL: "tls://" + b.Addr(), User: "field", Password: "secret", TLS: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}}
	other, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	o.TLS = nil
	if _, err := Open(t.Context(), o); err == nil || !strings.Contains(err.Error(), "[bus] ca") {
		t.Errorf("with an unknown certificate: %v", err)
	}
}

// certificate makes a self-signed one for 127.0.0.1.
func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "north-field"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}
