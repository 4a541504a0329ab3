package ingest

import (
	"fmt"
	"strings"
)

// Port is a serial port of this computer.
type Port struct {
	Path string `json:"path"`
	// USB is its USB identity, nil if it has none. Hex is in upper case.
	USB          *USBID `json:"usb"`
	Manufacturer string `json:"manufacturer,omitempty"`
	Product      string `json:"product,omitempty"`
}

// Ports lists the serial ports, sorted by path with numbers in order.
func Ports() ([]Port, error) { return listPorts(Env{}) }

// Matches says whether a port has this identity.
func (u USBID) Matches(p Port) bool {
	same := func(want, have string) bool { return want == "" || strings.EqualFold(want, have) }
	return p.USB != nil && same(u.VID, p.USB.VID) && same(u.PID, p.USB.PID) && (u.Serial == "" || u.Serial == p.USB.Serial) &&
		strings.Contains(strings.ToLower(p.Product), strings.ToLower(u.Product))
}

// findUSB is the path of the one port with this identity.
func findUSB(env Env, id USBID) (string, error) {
	ports, err := listPorts(env)
	if err != nil {
		return "", fmt.Errorf("look for %s: %w", id, err)
	}
	var found []string
	for _, p := range ports {
		if id.Matches(p) {
			found = append(found, p.Path)
		}
	}
	switch len(found) {
	case 0:
		return "", &missingError{fmt.Sprintf("no port has %s: plug it in, or correct usb; \"padlark ports\" lists what is there", id)}
	case 1:
		return found[0], nil
	}
	return "", fmt.Errorf("%d ports have %s (%s): add its serial number to usb, or give its path as serial", len(found), id, strings.Join(found, ", "))
}

// lessPath orders ttyUSB2 before ttyUSB10.
func lessPath(a, b string) int {
	stemA, numA := splitNumber(a)
	stemB, numB := splitNumber(b)
	if c := strings.Compare(stemA, stemB); c != 0 {
		return c
	}
	if c := len(numA) - len(numB); c != 0 {
		return c
	}
	return strings.Compare(numA, numB)
}

func splitNumber(s string) (stem, number string) {
	stem = strings.TrimRight(s, "0123456789")
	return stem, s[len(stem):]
}
