package station

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/storage/uplink"
)

// busOptions turns [bus] into the options of the station's own bus.
func busOptions(c *config.Config, log zerolog.Logger) (bus.Options, error) {
	b := c.Bus
	o := bus.Options{Station: c.Station.Name, Log: log, Listen: b.Listen}
	var err error
	if o.Token, err = busToken(b); err != nil {
		return o, err
	}
	words := map[string]string{o.Token: "the bus"}
	for _, l := range c.Links {
		switch {
		case l.NATS == "":
		case l.PasswordFile == "":
			o.Publish = append(o.Publish, l.NATS)
		default:
			word, err := ingest.ReadPassword(l.PasswordFile)
			if err != nil {
				return o, fmt.Errorf("link %q: %w", l.Name, err)
			}
			if whose, taken := words[word]; taken {
				return o, fmt.Errorf("link %q: the word in %s is that of %s too: give each one of its own", l.Name, l.PasswordFile, whose)
			}
			words[word] = fmt.Sprintf("link %q", l.Name)
			o.Boards = append(o.Boards, bus.Board{Subject: l.NATS, Token: word})
		}
	}
	if b.TLSCert != "" { // without one of its own a server has nothing to show
		o.TLS, err = tlsConfig(b)
	}
	return o, err
}

// uplinkOptions turns [bus] into the options of the way to an outside server.
func uplinkOptions(c *config.Config, log zerolog.Logger) (uplink.Options, error) {
	b := c.Bus
	o := uplink.Options{
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
	return ingest.ReadSecret("bus.token_file", b.TokenFile)
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
		if err := ingest.CheckSecret("bus.tls_key", b.TLSKey); err != nil {
			return nil, err
		}
		t.Certificates = []tls.Certificate{cert}
	}
	return t, nil
}
