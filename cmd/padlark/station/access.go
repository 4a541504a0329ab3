package station

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/web"
)

// PassphraseFile keeps, in the data folder, the passphrase that a station made
// because its pages are open to others and its configuration names none: the
// passphrase in one line, its hash in the next.
const PassphraseFile = "passphrase.txt"

// crewAccess is who may do what on the pages, and the passphrase in plain text if
// the station made it.
func crewAccess(cfg *config.Config) (access web.Access, made string, err error) {
	access = web.Access{CrewHash: cfg.Web.Passphrase, ViewerHash: cfg.Web.Viewer}
	if access.CrewHash != "" || web.Loopback(cfg.Web.Listen) {
		return access, "", nil
	}
	name := filepath.Join(cfg.Station.Data, PassphraseFile)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		if b, err = makePassphrase(name); err != nil {
			return access, "", err
		}
	} else if err != nil {
		return access, "", fmt.Errorf("read the passphrase of the pages: %w", err)
	}
	lines := bufio.NewScanner(strings.NewReader(string(b)))
	var words [2]string
	for i := 0; i < len(words) && lines.Scan(); i++ {
		words[i] = strings.TrimSpace(lines.Text())
	}
	if words[0] == "" || words[1] == "" {
		return access, "", fmt.Errorf("read the passphrase of the pages: %s is not as padlark wrote it: remove it, and another is made", name)
	}
	access.CrewHash = words[1]
	return access, words[0], nil
}

// makePassphrase makes one and keeps it where only the station's own user reads it.
func makePassphrase(name string) ([]byte, error) {
	plain := speakable()
	hash, err := web.HashPassphrase(plain)
	if err != nil {
		return nil, err
	}
	b := []byte(plain + "\n" + hash + "\n")
	if err := os.WriteFile(name, b, 0o600); err != nil {
		return nil, fmt.Errorf("keep the passphrase of the pages: %w", err)
	}
	return b, nil
}

// speakable is a passphrase that can be called across a field and typed on a
// phone: eight syllables out of 80, over 50 bits.
func speakable() string {
	const consonants, vowels = "bdfgklmnprstvwxz", "aeiou"
	var b strings.Builder
	for i := range 8 {
		if i == 2 || i == 4 || i == 6 {
			b.WriteByte('-')
		}
		b.WriteByte(consonants[drawn(len(consonants))])
		b.WriteByte(vowels[drawn(len(vowels))])
	}
	return b.String()
}

func drawn(n int) int {
	v, err := rand.Int(rand.Reader, big.NewInt(int64(n)))
	if err != nil {
		panic(err) // crypto/rand never fails (since Go 1.24)
	}
	return int(v.Int64())
}

// The certificate that a station makes itself.
const (
	certFile  = "web-cert.pem"
	keyFile   = "web-key.pem"
	certFor   = 2 * 365 * 24 * time.Hour
	certRenew = 30 * 24 * time.Hour
)

// pagesTLS is what the pages are served with; nil for plain HTTP.
func pagesTLS(cfg *config.Config, now time.Time) (*tls.Config, error) {
	certPath, keyPath := cfg.Web.Cert, cfg.Web.Key
	if certPath == "" {
		if !cfg.Web.TLS {
			return nil, nil
		}
		certPath, keyPath = filepath.Join(cfg.Station.Data, certFile), filepath.Join(cfg.Station.Data, keyFile)
		if err := ensureCert(certPath, keyPath, cfg.Station.Name, now); err != nil {
			return nil, err
		}
	}
	pair, err := tls.LoadX509KeyPair(certPath, keyPath)
	if err != nil {
		return nil, fmt.Errorf("read [web] cert and key: %w", err)
	}
	if err := ingest.CheckSecret("web.key", keyPath); err != nil {
		return nil, err
	}
	// One protocol for pages and live streams, as without TLS.
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}, nil
}

// ensureCert makes a certificate where there is none that still holds.
func ensureCert(certPath, keyPath, station string, now time.Time) error {
	if pair, err := tls.LoadX509KeyPair(certPath, keyPath); err == nil && pair.Leaf != nil && now.Before(pair.Leaf.NotAfter.Add(-certRenew)) {
		return nil
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return fmt.Errorf("make the key of the pages: %w", err)
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return fmt.Errorf("make the certificate of the pages: %w", err)
	}
	// A computer without a clock may think that it is 1970: browsers must not
	// refuse the certificate for it.
	from := now.Add(-24 * time.Hour)
	t := x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "padlark " + station}, NotBefore: from, NotAfter: from.Add(certFor),
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, IsCA: true, // so that a phone can be told to trust it
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback},
	}
	if name, err := os.Hostname(); err == nil {
		t.DNSNames = append(t.DNSNames, name, name+".local")
	}
	own, err := net.InterfaceAddrs()
	if err != nil {
		return fmt.Errorf("make the certificate of the pages: %w", err)
	}
	for _, a := range own {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			t.IPAddresses = append(t.IPAddresses, n.IP)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, &t, &t, &key.PublicKey, key)
	if err != nil {
		return fmt.Errorf("make the certificate of the pages: %w", err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("make the key of the pages: %w", err)
	}
	if err := os.WriteFile(keyPath, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600); err != nil {
		return fmt.Errorf("keep the key of the pages: %w", err)
	}
	if err := os.WriteFile(certPath, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o644); err != nil {
		return fmt.Errorf("keep the certificate of the pages: %w", err)
	}
	return nil
}
