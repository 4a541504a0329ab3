package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/storage/sqlite"
)

type collectCmd struct {
	URL       string   `name:"url" required:"" help:"A server of the cluster." placeholder:"nats://HOST:4222"`
	TokenFile string   `type:"path" help:"File with the cluster's token." placeholder:"FILE"`
	Creds     string   `type:"path" help:"Credentials file of the cluster." placeholder:"FILE"`
	Data      string   `required:"" help:"Folder for the central archive." placeholder:"DIR"`
	Leaf      []string `help:"Station that joins the cluster as a leaf node ([bus] leaf). May be given several times." placeholder:"STATION"`
	Direct    []string `help:"Station that uses the cluster directly ([bus] url). May be given several times." placeholder:"STATION"`
	Replicas  int      `default:"1" help:"Copies of the stream in the cluster; 3 survives the loss of a server."`
}

// Help shows an example.
func (collectCmd) Help() string {
	return "Example: padlark collect --url nats://10.0.0.2:4222 --replicas 3 --leaf north-field --leaf south-field --data central\n\n" +
		"Writes what several stations hear into one archive, each frame once, until Ctrl-C. A station that is cut off catches up when it is back."
}

// Run gathers until ctx ends.
func (c *collectCmd) Run(ctx context.Context, io *cmdIO) error {
	o := bus.Options{
		Station: "collector", URL: c.URL, CredsFile: c.Creds, Replicas: c.Replicas, Log: newLog(io.Err),
	}
	for _, s := range c.Leaf {
		o.Collect = append(o.Collect, bus.Source{Station: s, Leaf: true})
	}
	for _, s := range c.Direct {
		o.Collect = append(o.Collect, bus.Source{Station: s})
	}
	if len(o.Collect) == 0 {
		return usagef("which stations? Name each with --leaf or --direct")
	}
	if c.TokenFile != "" {
		token, err := os.ReadFile(c.TokenFile)
		if err != nil {
			return usageError{fmt.Errorf("read --token-file: %w", err)}
		}
		o.Token = strings.TrimSpace(string(token))
	}
	if err := os.MkdirAll(c.Data, 0o755); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	a, err := openArchive(ctx, c.Data, io)
	if err != nil {
		return err
	}
	b, err := bus.Open(ctx, o)
	if err != nil {
		return errors.Join(err, a.Close())
	}
	fmt.Fprintf(io.Err, "collecting from %d stations into %s\n", len(o.Collect), c.Data)
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error { return sqlite.NewWriter(a, b).Run(gctx) })
	return errors.Join(g.Wait(), b.Close(), a.Close())
}
