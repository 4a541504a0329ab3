package main

import (
	"context"
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"padlark/ingest"
)

type portsCmd struct {
	JSON bool `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (portsCmd) Help() string { return "Example: padlark ports" }

// Run lists the serial ports with what a configuration needs to name them.
func (c *portsCmd) Run(_ context.Context, io *cmdIO) error {
	ports, err := ingest.Ports()
	if err != nil {
		return fmt.Errorf("list serial ports: %w", err)
	}
	if c.JSON {
		if ports == nil {
			ports = []ingest.Port{}
		}
		return json.NewEncoder(io.Out).Encode(ports)
	}
	if len(ports) == 0 {
		fmt.Fprintln(io.Err, "No serial port is here. Plug the radio or the board in and try again.")
		return nil
	}
	w := tabwriter.NewWriter(io.Out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "PORT\tVID\tPID\tSERIAL\tWHAT")
	for _, p := range ports {
		id := ingest.USBID{VID: "–", PID: "–", Serial: "–"}
		if p.USB != nil {
			id = *p.USB
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s %s\n", p.Path, id.VID, id.PID, id.Serial, p.Manufacturer, p.Product)
	}
	return w.Flush()
}
