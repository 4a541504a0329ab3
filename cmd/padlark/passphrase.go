package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"

	"padlark/web"
)

type passphraseCmd struct{}

// Help shows an example.
func (passphraseCmd) Help() string {
	return "Example: padlark passphrase\n\nAsks for a passphrase (or reads one line of a pipe) and prints its hash, " +
		"for passphrase or viewer under [web]. The passphrase itself is kept nowhere."
}

// Run prints the hash of a passphrase.
func (passphraseCmd) Run(_ context.Context, io *cmdIO) error {
	secret, err := readSecret(io)
	if err != nil {
		return err
	}
	hash, err := web.HashPassphrase(secret)
	if err != nil {
		return usageError{err}
	}
	fmt.Fprintln(io.Out, hash)
	return nil
}

// readSecret reads without echo from a terminal, or one line from a pipe.
func readSecret(io *cmdIO) (string, error) {
	if f, ok := io.In.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprint(io.Err, "Passphrase: ")
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(io.Err)
		if err != nil {
			return "", fmt.Errorf("read passphrase: %w", err)
		}
		return string(b), nil
	}
	line, err := bufio.NewReader(io.In).ReadString('\n')
	if err != nil && line == "" {
		return "", usagef("no passphrase: type one, or pipe one line in")
	}
	return strings.TrimRight(line, "\r\n"), nil
}
