package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
	"padlark/flight/sim"
)

type demoCmd struct {
	Data   string `default:"padlark-demo" help:"Folder for everything the demo keeps." placeholder:"DIR"`
	Seed   uint64 `default:"1" help:"Another seed draws other flights."`
	Fast   bool   `help:"On a virtual clock, as fast as the computer can."`
	Exit   bool   `help:"Fly each rocket once and exit, instead of going on until Ctrl-C."`
	Listen string `default:"127.0.0.1:9700" help:"Address of the pages; off for none."`
	Quiet  bool   `short:"q" help:"No line per rocket."`
}

// Help shows an example.
func (demoCmd) Help() string {
	return "Example: padlark demo, and open http://127.0.0.1:9700 in a browser.\n\n" +
		"Without waiting: padlark demo --fast --exit --data /tmp/demo && padlark flights --data /tmp/demo\n\n" +
		"Opens pseudo-terminals and a UDP port as real links, flies simulated boards on them, and runs the ordinary " +
		"daemon on top. truth.json in the folder says what the flights really did."
}

// demoEpoch is when the virtual clock starts: the same seed gives the same day.
func demoEpoch() time.Time { return time.Date(2026, time.June, 13, 9, 0, 0, 0, time.UTC) }

// settleTime is how long the real-time demo listens after the last frame.
const settleTime = 2 * time.Second

// Run flies the demo.
func (c *demoCmd) Run(ctx context.Context, io *cmdIO) error {
	if err := os.MkdirAll(c.Data, 0o755); err != nil {
		return fmt.Errorf("make demo folder: %w", err)
	}
	if c.Fast {
		return c.runFast(ctx, io)
	}
	return c.runLive(ctx, io)
}

func (c *demoCmd) path(name string) string { return filepath.Join(c.Data, name) }

// rounds is how often each rocket flies; 0 is for ever.
func (c *demoCmd) rounds() int {
	if c.Exit {
		return 1
	}
	return 0
}

// sim makes the simulated boards for a session that starts at epoch.
func (c *demoCmd) sim(epoch time.Time) (*sim.Sim, error) {
	sc, err := sim.Demo()
	if err != nil {
		return nil, err
	}
	return sim.New(sc, c.Seed, epoch)
}

// config writes the demo's configuration and reads it back as a user's.
func (c *demoCmd) config(s *sim.Sim, address linkAddress) (*config.Config, error) {
	listen := c.Listen
	if c.Fast {
		listen = "off"
	}
	text, err := demoConfig(s, c.Data, listen, address)
	if err != nil {
		return nil, err
	}
	path := c.path("padlark.toml")
	if err := writeFile(path, []byte(text)); err != nil {
		return nil, err
	}
	return config.Load(path)
}

// runFast writes a capture of the whole scenario and lets the station read it.
func (c *demoCmd) runFast(ctx context.Context, io *cmdIO) error {
	s, err := c.sim(demoEpoch())
	if err != nil {
		return err
	}
	capture := c.path("demo.plarkcap")
	if err := os.Remove(capture); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("replace the demo's capture: %w", err)
	}
	if err := flyToCapture(ctx, s, 1, capture, demoEpoch()); err != nil {
		return err
	}
	if err := writeTruth(c.path("truth.json"), s.Truth()); err != nil {
		return err
	}
	cfg, err := c.config(s, func(sim.Link) string { return fmt.Sprintf("file = %q", capture) })
	if err != nil {
		return err
	}
	if err := runStation(ctx, station.Options{Config: cfg, Version: softwareVersion()}, io, c.Quiet, nil); err != nil {
		return err
	}
	c.farewell(io)
	return nil
}

// runLive opens pseudo-terminals and sockets and flies in real time.
func (c *demoCmd) runLive(ctx context.Context, io *cmdIO) error {
	s, err := c.sim(time.Now().UTC())
	if err != nil {
		return err
	}
	wires, err := openWires(s.Scenario().Links)
	if err != nil {
		return err
	}
	defer wires.close()
	cfg, err := c.config(s, wires.address)
	if err != nil {
		return err
	}
	opt := station.Options{Config: cfg, Version: softwareVersion()}
	err = runStation(ctx, opt, io, c.Quiet, func(ctx context.Context, info station.Info) error {
		// The boards start now, so their truth is counted from now.
		s, err := c.sim(time.Now().UTC())
		if err != nil {
			return err
		}
		err = fly(ctx, s, c.rounds(), wires.to)
		if terr := writeTruth(c.path("truth.json"), s.Truth()); err == nil {
			err = terr
		}
		select {
		case <-ctx.Done():
		case <-time.After(settleTime):
		}
		return err
	})
	if err != nil {
		return err
	}
	c.farewell(io)
	return nil
}

// farewell says what to look at next.
func (c *demoCmd) farewell(io *cmdIO) {
	fmt.Fprintf(io.Err, "\nWhat it kept is in %s. Look at it with\n"+
		"  padlark flights --data %[1]s\n  padlark events --data %[1]s\n  padlark replay --data %[1]s --speed max\n", c.Data)
}

// wires are the near ends of the demo's links.
type wires struct {
	to    map[string]io.Writer
	at    map[string]string
	close func()
}

func (w *wires) address(l sim.Link) string { return w.at[l.Name] }

// openWires opens a pseudo-terminal for each serial link and finds a free UDP
// port for each other one.
func openWires(links []sim.Link) (*wires, error) {
	w := &wires{to: map[string]io.Writer{}, at: map[string]string{}}
	var closers []io.Closer
	w.close = func() {
		for _, c := range closers {
			_ = c.Close() // only the demo's own ends
		}
	}
	for _, l := range links {
		if l.Kind == "serial" {
			near, far, err := pty.Open()
			if err != nil {
				w.close()
				return nil, fmt.Errorf("open a pseudo-terminal for the demo: %w", err)
			}
			closers = append(closers, near, far)
			// Raw from the start: what is sent before the link opens must not be echoed.
			if _, err := term.MakeRaw(int(far.Fd())); err != nil {
				w.close()
				return nil, fmt.Errorf("set up a pseudo-terminal for the demo: %w", err)
			}
			w.to[l.Name] = near
			w.at[l.Name] = fmt.Sprintf("serial = %q\nbaud = %d", far.Name(), l.Baud)
			continue
		}
		port, err := freeUDPPort()
		if err != nil {
			w.close()
			return nil, err
		}
		conn, err := net.Dial("udp", port)
		if err != nil {
			w.close()
			return nil, fmt.Errorf("open a UDP socket for the demo: %w", err)
		}
		closers = append(closers, conn)
		w.to[l.Name] = unheard{conn}
		w.at[l.Name] = fmt.Sprintf("udp = %q", port)
	}
	return w, nil
}

// unheard is a datagram socket whose receiver may not be there yet: what nobody
// hears is lost, as on the air.
type unheard struct{ io.Writer }

func (u unheard) Write(p []byte) (int, error) {
	_, _ = u.Writer.Write(p)
	return len(p), nil
}

func freeUDPPort() (string, error) {
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		return "", fmt.Errorf("find a UDP port for the demo: %w", err)
	}
	addr := c.LocalAddr().String()
	return addr, c.Close()
}
