package main

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"strings"

	"padlark/bus"
)

// remoteFlags are what a server elsewhere may ask for.
type remoteFlags struct {
	TokenFile string `type:"path" help:"File with the server's token." placeholder:"FILE"`
	Creds     string `type:"path" help:"Credentials file of the server." placeholder:"FILE"`
	TLSCA     string `name:"tls-ca" type:"path" help:"Certificate of who has signed the server's, in PEM form." placeholder:"FILE"`
}

// remote is the server with what was given for it.
func (f remoteFlags) remote(url string) (bus.Remote, error) {
	r := bus.Remote{URL: url, CredsFile: f.Creds}
	if f.TokenFile != "" {
		token, err := os.ReadFile(f.TokenFile)
		if err != nil {
			return r, usageError{fmt.Errorf("read --token-file: %w", err)}
		}
		r.Token = strings.TrimSpace(string(token))
	}
	if f.TLSCA != "" {
		pem, err := os.ReadFile(f.TLSCA)
		if err != nil {
			return r, usageError{fmt.Errorf("read --tls-ca: %w", err)}
		}
		r.TLS = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: x509.NewCertPool()}
		if !r.TLS.RootCAs.AppendCertsFromPEM(pem) {
			return r, usagef("--tls-ca: %s holds no certificate in PEM form", f.TLSCA)
		}
	}
	return r, nil
}
