package ingest

import (
	"fmt"
	"os"
	"path/filepath"
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

// FindPort finds a port by its path, or by its name in /dev; the error names those
// that are there.
func FindPort(path string) (string, error) {
	if path != "" {
		for _, p := range []string{path, filepath.Join("/dev", path)} {
			switch st, err := os.Stat(p); {
			case err != nil:
			case st.Mode().IsRegular() || st.IsDir():
				return "", fmt.Errorf("%s is no port: to read a file leave serial: before it out", p)
			default:
				return p, nil
			}
		}
	}
	ports, err := Ports()
	if err != nil {
		return "", fmt.Errorf("list serial ports: %w", err)
	}
	var there []string
	for _, p := range ports {
		if strings.EqualFold(p.Path, path) {
			return p.Path, nil // one that is no file, as on Windows
		}
		there = append(there, strings.TrimSpace(p.Path+" "+p.Product))
	}
	what := path + " is not there"
	if path == "" {
		what = "the port is missing behind serial:"
	}
	if len(there) == 0 {
		return "", fmt.Errorf("%s, and neither is any other serial port: plug the board in", what)
	}
	return "", fmt.Errorf("%s; these ports are: %s. Plug the board in, or correct the path", what, strings.Join(there, ", "))
}
