//go:build darwin && !cgo

package ingest

import (
	"fmt"
	"slices"

	"go.bug.st/serial"
)

// listPorts lists paths only: on this system the USB identities can be had
// with cgo alone, and padlark is also built without.
func listPorts(Env) ([]Port, error) {
	paths, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	var ports []Port
	for _, p := range paths {
		ports = append(ports, Port{Path: p})
	}
	slices.SortFunc(ports, func(a, b Port) int { return lessPath(a.Path, b.Path) })
	return ports, nil
}
