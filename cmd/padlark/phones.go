package main

import (
	"net/url"
	"path/filepath"
	"strings"

	"padlark/cmd/padlark/station"
	"padlark/web"
)

// phones says how others get to the pages: the passphrase if the station made it,
// and on a terminal the address as a code to scan. What is not read from a
// terminal may be kept by somebody: there stands only where the passphrase is.
func phones(info station.Info, terminal bool) string {
	u, err := url.Parse(info.Pages)
	if err != nil || info.Pages == "" || web.Loopback(u.Host) {
		return ""
	}
	var b strings.Builder
	switch file := filepath.Join(info.Data, station.PassphraseFile); {
	case info.Passphrase == "":
	case terminal:
		b.WriteString("passphrase " + info.Passphrase + ", kept in " + file + "\n")
	default:
		b.WriteString("passphrase in " + file + "\n")
	}
	if terminal {
		if code, err := web.CodeText(info.Pages); err == nil { // the address stands above it
			b.WriteString(code)
		}
	}
	return b.String()
}
