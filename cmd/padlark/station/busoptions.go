package station

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
)

// busOptions turns [bus] into the options of the station's own bus.
func busOptions(c *config.Config, log zerolog.Logger) (bus.Options, error) {
	b := c.Bus
	o := bus.Options{Station: c.Station.Name, Log: log, Listen: b.Listen}
	for _, l := range c.Links {
		if l.NATS != "" {
			o.Publish = append(o.Publish, l.NATS)
		}
	}
	var err error
	if o.Token, err = busToken(b); err != nil {
		return o, err
	}
	if b.TLSCert != "" { // without one of its own a server has nothing to show
		o.TLS, err = tlsConfig(b)
	}
	return o, err
}

// uplinkOptions turns [bus] into the options of the way to an outside server.
func uplinkOptions(c *config.Config, log zerolog.Logger) (bus.UplinkOptions, error) {
	b := c.Bus
	o := bus.UplinkOptions{
		Remote:   bus.Remote{URL: b.URL, Station: c.Station.Name, CredsFile: b.Creds, Log: log, Changed: func(error) {}},
		Replicas: b.Replicas, MaxAge: time.Duration(b.MaxAgeHours * float64(time.Hour)), MaxBytes: b.MaxMB << 20,
	}
	var err error
	if o.Token, err = busToken(b); err != nil {
		return o, err
	}
	o.TLS, err = tlsConfig(b)
	return o, err
}

func busToken(b config.Bus) (string, error) {
	if b.TokenFile == "" {
		return "", nil
	}
	token, err := os.ReadFile(b.TokenFile)
	if err != nil {
		return "", fmt.Errorf("read bus.token_file: %w", err)
	}
	return strings.TrimSpace(string(token)), nil
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
