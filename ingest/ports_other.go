//go:build !linux && (!darwin || cgo)

package ingest

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial/enumerator"
)

// listPorts asks the serial library.
func listPorts(Env) ([]Port, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	var ports []Port
	for _, d := range details {
		if d.Name == "" {
			continue
		}
		p := Port{Path: d.Name, Manufacturer: d.Manufacturer, Product: d.Product}
		if d.IsUSB {
			p.USB = &USBID{VID: strings.ToUpper(d.VID), PID: strings.ToUpper(d.PID), Serial: d.SerialNumber}
		}
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b Port) int { return lessPath(a.Path, b.Path) })
	return ports, nil
}
