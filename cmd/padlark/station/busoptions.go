package station

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
)

// busOptions turns [bus] into the bus's own options.
func busOptions(c *config.Config, log zerolog.Logger) (bus.Options, error) {
	b := c.Bus
	o := bus.Options{
		Station: c.Station.Name, Dir: filepath.Join(c.Station.Data, "bus"), Log: log,
		URL: b.URL, Listen: b.Listen, CredsFile: b.Creds, Replicas: b.Replicas, LeafURL: b.Leaf,
		MaxAge: time.Duration(b.MaxAgeHours * float64(time.Hour)), MaxBytes: b.MaxMB << 20,
	}
	if b.URL != "" {
		o.Dir = ""
		// Stations that share a server each have a stream of their own.
		o.Stream = bus.DefaultStream + "-" + c.Station.Name
	}
	if b.TokenFile != "" {
		token, err := os.ReadFile(b.TokenFile)
		if err != nil {
			return o, fmt.Errorf("read bus.token_file: %w", err)
		}
		o.Token = strings.TrimSpace(string(token))
	}
	var err error
	o.TLS, err = tlsConfig(b)
	return o, err
}

func tlsConfig(b config.Bus) (*tls.Config, error) {
	if b.TLSCA == "" && b.TLSCert == "" {
		return nil, nil
	}
	t := &tls.Config{MinVersion: tls.VersionTLS12}
	if b.TLSCA != "" {
		pem, err := os.ReadFile(b.TLSCA)
		if err != nil {
			return nil, fmt.Errorf("read bus.tls_ca: %w", err)
		}
		t.RootCAs = x509.NewCertPool()
		if !t.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("read bus.tls_ca: %s holds no certificate in PEM form", b.TLSCA)
		}
	}
	if b.TLSCert != "" {
		cert, err := tls.LoadX509KeyPair(b.TLSCert, b.TLSKey)
		if err != nil {
			return nil, fmt.Errorf("read bus.tls_cert and tls_key: %w", err)
		}
		t.Certificates = []tls.Certificate{cert}
	}
	return t, nil
}
