package station

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"padlark/cmd/padlark/config"
)

// A passphrase is made once, for pages that others can reach and that have none;
// only the station's own user may read it.
func TestPassphraseMade(t *testing.T) {
	cfg := &config.Config{}
	cfg.Station.Data, cfg.Web.Listen = t.TempDir(), "127.0.0.1:9700"
	if a, made, err := crewAccess(cfg); a.CrewHash != "" || made != "" || err != nil {
		t.Errorf("on this computer only: %q, %q, %v", a.CrewHash, made, err)
	}
	cfg.Web.Listen = ":9700"
	first, made, err := crewAccess(cfg)
	if err != nil {
		t.Fatal(err)
	}
	if !regexp.MustCompile(`^([a-z]{4}-){3}[a-z]{4}$`).MatchString(made) || first.Validate(cfg.Web.Listen) != nil {
		t.Errorf("made %q, %v", made, first.Validate(cfg.Web.Listen))
	}
	name := filepath.Join(cfg.Station.Data, PassphraseFile)
	if info, err := os.Stat(name); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if again, same, err := crewAccess(cfg); again != first || same != made || err != nil {
		t.Errorf("at the next start %q, %v", same, err)
	}
	if err := os.WriteFile(name, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := crewAccess(cfg); err == nil || !strings.Contains(err.Error(), name) {
		t.Errorf("a torn file: %v", err)
	}
	cfg.Web.Passphrase = first.CrewHash
	if own, made, err := crewAccess(cfg); own.CrewHash != first.CrewHash || made != "" || err != nil {
		t.Errorf("with one in the configuration: made %q, %v", made, err)
	}
}

// A certificate is made once and again before it ends; a client that trusts it
// reaches this computer's addresses.
func TestCertificateMade(t *testing.T) {
	cfg := &config.Config{}
	cfg.Station.Name, cfg.Station.Data = "north-field", t.TempDir()
	if c, err := pagesTLS(cfg, time.Now()); c != nil || err != nil {
		t.Errorf("without tls: %v, %v", c, err)
	}
	cfg.Web.TLS = true
	now := time.Now()
	leaf := func(at time.Time) *x509.Certificate {
		t.Helper()
		c, err := pagesTLS(cfg, at)
		if err != nil {
			t.Fatal(err)
		}
		return c.Certificates[0].Leaf
	}
	first := leaf(now)
	roots := x509.NewCertPool()
	roots.AddCert(first)
	for _, name := range []string{"127.0.0.1", "localhost"} {
		if _, err := first.Verify(x509.VerifyOptions{DNSName: name, Roots: roots, CurrentTime: now}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if !leaf(now).Equal(first) {
		t.Error("each start makes another certificate")
	}
	if leaf(first.NotAfter.Add(-24 * time.Hour)).Equal(first) {
		t.Error("a certificate that ends tomorrow is kept")
	}
	// A handshake with it, as a browser does.
	secure, err := pagesTLS(cfg, now)
	if err != nil {
		t.Fatal(err)
	}
	roots.AddCert(secure.Certificates[0].Leaf)
	here, there := net.Pipe()
	_ = here.SetDeadline(time.Now().Add(10 * time.Second))
	_ = there.SetDeadline(time.Now().Add(10 * time.Second)) // a refusal would wait for its reader
	done := make(chan error, 1)
	go func() { done <- tls.Server(here, secure).HandshakeContext(t.Context()) }()
	if err := tls.Client(there, &tls.Config{RootCAs: roots, ServerName: "localhost", Time: func() time.Time { return first.NotAfter }}).HandshakeContext(t.Context()); err != nil {
		t.Error(err)
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
}
