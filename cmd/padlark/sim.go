package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"time"

	"go.bug.st/serial"

	"padlark/flight/sim"
)

type simCmd struct {
	Serial   string  `type:"path" help:"Send to this serial port, in real time." placeholder:"PORT" xor:"to"`
	UDP      string  `name:"udp" help:"Send datagrams to this address, in real time." placeholder:"HOST:PORT" xor:"to"`
	File     string  `type:"path" help:"Write the plain bytes of one link to FILE; - for stdout." placeholder:"FILE" xor:"to"`
	Capture  string  `type:"path" help:"Write a timed capture of every link to FILE." placeholder:"FILE" xor:"to"`
	Scenario string  `type:"path" help:"Scenario to fly, instead of the demo's." placeholder:"FILE"`
	Fleet    int     `help:"Fly so many alike rockets with lark-bin frames instead." placeholder:"N"`
	Rate     float64 `default:"50" help:"With --fleet: frames a second of each rocket, in Hz."`
	Link     string  `help:"Which link of the scenario to send; not needed where there is one of the kind."`
	Baud     int     `help:"Rate of the serial port, if not the scenario's."`
	Rounds   int     `default:"1" help:"How often each rocket flies."`
	Seed     uint64  `default:"1" help:"Another seed draws other flights."`
	Truth    string  `type:"path" help:"Write what the flights really did to FILE." placeholder:"FILE"`
	Example  bool    `help:"Print the demo's scenario, to start one of your own from." xor:"to"`
}

// Help shows an example.
func (simCmd) Help() string {
	return "Example: padlark sim --udp 127.0.0.1:9750 --link field-wifi --truth truth.json"
}

// Run flies simulated boards.
func (c *simCmd) Run(ctx context.Context, io *cmdIO) error {
	if c.Example {
		_, err := io.Out.Write([]byte(sim.DemoText()))
		return err
	}
	if c.Serial == "" && c.UDP == "" && c.File == "" && c.Capture == "" {
		return usagef("send where? Give --serial PORT, --udp HOST:PORT, --file FILE or --capture FILE")
	}
	sc, err := c.scenario()
	if err != nil {
		return usageError{err}
	}
	epoch := time.Now().UTC()
	if c.Capture != "" || c.File != "" {
		epoch = demoEpoch()
	}
	s, err := sim.New(sc, c.Seed, epoch)
	if err != nil {
		return usageError{err}
	}
	if err := c.send(ctx, s, epoch, io); err != nil {
		return err
	}
	if c.Truth != "" {
		return writeTruth(c.Truth, s.Truth())
	}
	return nil
}

func (c *simCmd) scenario() (sim.Scenario, error) {
	switch {
	case c.Scenario != "" && c.Fleet != 0:
		return sim.Scenario{}, usagef("give --scenario or --fleet, not both")
	case c.Fleet != 0:
		return sim.Fleet(c.Fleet, c.Rate, 10)
	case c.Scenario != "":
		text, err := os.ReadFile(c.Scenario)
		if err != nil {
			return sim.Scenario{}, fmt.Errorf("read scenario: %w", err)
		}
		sc, err := sim.Parse(text)
		if err != nil {
			return sc, fmt.Errorf("%s: %w", c.Scenario, err)
		}
		return sc, nil
	}
	return sim.Demo()
}

// send writes the boards' frames where they are wanted.
func (c *simCmd) send(ctx context.Context, s *sim.Sim, epoch time.Time, cio *cmdIO) error {
	if c.Capture != "" {
		return flyToCapture(ctx, s, c.Rounds, c.Capture, epoch)
	}
	link, err := c.link(s.Scenario())
	if err != nil {
		return err
	}
	to := map[string]io.Writer{}
	for _, l := range s.Scenario().Links {
		to[l.Name] = io.Discard
	}
	switch {
	case c.File == "-":
		return flyToFile(s, c.Rounds, link.Name, raw(cio.Out))
	case c.File != "":
		f, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return fmt.Errorf("write frames: %w (nothing is overwritten)", err)
		}
		err = flyToFile(s, c.Rounds, link.Name, f)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		return err
	case c.UDP != "":
		conn, err := net.Dial("udp", c.UDP)
		if err != nil {
			return fmt.Errorf("send to %s: %w", c.UDP, err)
		}
		defer conn.Close() //nolint:errcheck // only written to
		to[link.Name] = unheard{conn}
	default:
		port, err := openSerial(c.Serial, max(c.Baud, link.Baud))
		if err != nil {
			return err
		}
		defer port.Close() //nolint:errcheck // only written to
		to[link.Name] = port
	}
	fmt.Fprintf(cio.Err, "flying %d rockets in real time, sending %s\n", len(s.Rockets()), link.Name)
	return fly(ctx, s, c.Rounds, to)
}

func openSerial(path string, baud int) (io.WriteCloser, error) {
	if baud <= 0 {
		return nil, usagef("--baud: the scenario's link has no rate, so give one")
	}
	port, err := serial.Open(path, &serial.Mode{BaudRate: baud})
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	return port, nil
}

// link is the link whose frames are sent: the named one, or the only one of a
// kind that fits the target.
func (c *simCmd) link(sc sim.Scenario) (sim.Link, error) {
	kind := "serial"
	if c.UDP != "" {
		kind = "udp"
	}
	l, err := sc.LinkOf(kind, c.Link)
	if err != nil {
		return l, usagef("--link: %w", err)
	}
	return l, nil
}

// flyToFile writes the bytes of one link, without their times.
func flyToFile(s *sim.Sim, rounds int, link string, w io.Writer) error {
	for c, err := range s.Chunks(rounds) {
		if err != nil {
			return fmt.Errorf("fly simulated boards: %w", err)
		}
		if c.Link != link {
			continue
		}
		if _, err := w.Write(c.Bytes); err != nil {
			return fmt.Errorf("write frames: %w", err)
		}
	}
	return nil
}
