package ingest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"go.bug.st/serial"
)

// serialPoll is how long a read waits at most before it looks at the context.
// The port is then closed by the goroutine that reads it, so that its number
// cannot be reused under a read that is still going on.
const serialPoll = 100 * time.Millisecond

// serialLink reads a serial port, found by its path or by its USB identity.
type serialLink struct {
	runner
	path string
	usb  *USBID
	mode serial.Mode
}

func newSerialLink(c LinkConfig, r runner) *serialLink {
	mode := serial.Mode{BaudRate: c.Baud, DataBits: c.DataBits}
	if mode.DataBits == 0 {
		mode.DataBits = 8
	}
	mode.Parity = map[string]serial.Parity{
		"odd": serial.OddParity, "even": serial.EvenParity, "mark": serial.MarkParity, "space": serial.SpaceParity,
	}[c.Parity]
	switch c.StopBits {
	case 1.5:
		mode.StopBits = serial.OnePointFiveStopBits
	case 2:
		mode.StopBits = serial.TwoStopBits
	}
	return &serialLink{runner: r, path: c.Serial, usb: c.USB, mode: mode}
}

// Run implements Link.
func (l *serialLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, l.watch)
}

// find is the port's path at this moment.
func (l *serialLink) find() (string, error) {
	if l.usb == nil {
		return l.path, nil
	}
	return findUSB(l.env, *l.usb)
}

func (l *serialLink) try(ctx context.Context) error {
	path, err := l.find()
	if err != nil {
		return err
	}
	port, err := serial.Open(path, &l.mode)
	if err != nil {
		return explainSerial(path, err)
	}
	defer port.Close() //nolint:errcheck // it was only read from
	if err := port.SetReadTimeout(serialPoll); err != nil {
		return fmt.Errorf("set the read timeout of %s: %w", path, err)
	}
	l.up(fmt.Sprintf("%s open at %d baud", path, l.mode.BaudRate))
	buf := make([]byte, 4096)
	for ctx.Err() == nil {
		n, err := port.Read(buf)
		heard := l.env.Clock.Now()
		if n > 0 {
			if err := l.send(Chunk{Heard: heard, Bytes: buf[:n], Baud: l.baud}); err != nil {
				return err
			}
		}
		if err != nil {
			return fmt.Errorf("%s went away: plug it in again; it is opened as soon as it is back", path)
		}
	}
	return nil
}

// explainSerial says what to do about a port that does not open.
func explainSerial(path string, err error) error {
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case errors.Is(err, fs.ErrNotExist) || code == serial.PortNotFound:
		return &missingError{path + " is not there: plug it in, or correct the path; \"padlark ports\" lists what is there"}
	case errors.Is(err, fs.ErrPermission) || code == serial.PermissionDenied:
		return fmt.Errorf("no permission to open %s: add the user to the group that owns it (ls -l %s; often dialout), and log in again", path, path)
	case code == serial.PortBusy:
		return fmt.Errorf("%s is in use by another program: close that program", path)
	}
	return fmt.Errorf("open %s: %w", path, err)
}

// watch notes where the port is now, and looks whether that has changed: an
// adapter that is plugged in is opened at once, and not after the pause.
func (l *serialLink) watch() func() bool {
	before := l.present()
	return func() bool {
		now := l.present()
		changed := now != before && now != ""
		before = now
		return changed
	}
}

// present tells apart the devices that the path may stand for, empty if none.
func (l *serialLink) present() string {
	path, err := l.find()
	if err != nil {
		return ""
	}
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	return fmt.Sprint(path, info.Mode(), info.ModTime())
}
