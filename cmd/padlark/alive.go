package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"
)

type aliveCmd struct {
	URL     string        `arg:"" optional:"" default:"http://127.0.0.1:9700" help:"Address of the station's pages."`
	Timeout time.Duration `default:"3s" help:"How long to wait for the answer."`
}

// Help shows an example.
func (aliveCmd) Help() string {
	return "Example: padlark alive http://127.0.0.1:9700\n\n" +
		"For health checks where there is no other program to ask with: the exit status is 0 if the station says that it is well."
}

// healthMost bounds how much of an answer is read.
const healthMost = 4096

// Run asks a running station how it is.
func (c *aliveCmd) Run(ctx context.Context, cio *cmdIO) error {
	ctx, cancel := context.WithTimeout(ctx, c.Timeout)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimSuffix(c.URL, "/")+"/healthz", nil)
	if err != nil {
		return usagef("%q is not an address like http://127.0.0.1:9700", c.URL)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		why := err
		var u *url.Error
		if errors.As(err, &u) {
			why = u.Err // without the address, which stands in front
		}
		return fmt.Errorf("nothing answers at %s: is padlark running there, and is this the address that it printed? (%w)", c.URL, why)
	}
	defer resp.Body.Close() //nolint:errcheck // only read from
	body, err := io.ReadAll(io.LimitReader(resp.Body, healthMost))
	if err != nil {
		return fmt.Errorf("ask the station: %w", err)
	}
	said := strings.TrimSpace(string(body))
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("the station is not well: %s: %s", resp.Status, said)
	}
	_, err = fmt.Fprintln(cio.Out, said)
	return err
}
