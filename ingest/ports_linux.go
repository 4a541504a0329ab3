package ingest

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// listPorts reads what the kernel shows of its serial ports (sysfs). It does
// not open any: the library's own list opens built-in ports and sets their
// rate to tell real ones from empty places, which would disturb a port that is
// in use, and this list is read each time a missing adapter is looked for.
func listPorts(env Env) ([]Port, error) {
	sysfs, dev := env.sysfs, env.dev
	if sysfs == "" {
		sysfs, dev = "/sys", "/dev"
	}
	ttys, err := os.ReadDir(filepath.Join(sysfs, "class", "tty"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // no sysfs, as in a bare container: no ports
	}
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	var ports []Port
	for _, tty := range ttys {
		at := filepath.Join(sysfs, "class", "tty", tty.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(at, "device"))
		if err != nil {
			continue // a console or pseudo-terminal: there is no device behind it
		}
		// A place for a built-in port that is not there has type 0.
		if kind, err := os.ReadFile(filepath.Join(at, "type")); err == nil && strings.TrimSpace(string(kind)) == "0" {
			continue
		}
		p := Port{Path: filepath.Join(dev, tty.Name())}
		p.describe(device, sysfs)
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b Port) int { return lessPath(a.Path, b.Path) })
	return ports, nil
}

// describe looks for the USB device that a port belongs to: the first of the
// directories above it that has a vendor number.
func (p *Port) describe(device, sysfs string) {
	for dir := device; len(dir) > len(sysfs) && dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		vid := readAttribute(dir, "idVendor")
		if vid == "" {
			continue
		}
		p.USB = &USBID{
			VID:    strings.ToUpper(vid),
			PID:    strings.ToUpper(readAttribute(dir, "idProduct")),
			Serial: readAttribute(dir, "serial"),
		}
		p.Manufacturer = readAttribute(dir, "manufacturer")
		p.Product = readAttribute(dir, "product")
		return
	}
}

// readAttribute is one attribute of a device, empty if it has none.
func readAttribute(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
