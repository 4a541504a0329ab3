package main

import (
	"context"
	"fmt"
	"math"
	"os"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/sounder"
	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
)

type beepCmd struct {
	Height float64 `arg:"" help:"The height to beep, in the unit of the code."`
	Config string  `short:"c" type:"path" help:"Configuration with the layout of the sounder." placeholder:"FILE"`
	Layout string  `help:"Layout of the sounder, where there are several." placeholder:"NAME"`
	Hz     float64 `default:"2700" help:"Pitch of the tone." placeholder:"HZ"`
	Out    string  `required:"" type:"path" help:"WAV file to write." placeholder:"FILE"`
}

// beepRate is the rate of the WAV file in samples a second.
const beepRate = 16000

// Help shows an example.
func (beepCmd) Help() string {
	return "Example: padlark beep 123 -c padlark.toml --out 123.wav\n\n" +
		"Makes the sound that the board's sounder makes after a flight, to teach people its code; any player plays it. " +
		"padlark import 123.wav --layout my-sounder reads it back."
}

// Run writes the sound.
func (c *beepCmd) Run(_ context.Context, io *cmdIO) error {
	code := beeps.Code{}
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return usageError{err}
		}
		l, err := sounder.Layout(cfg, c.Layout)
		if err != nil {
			return usageError{fmt.Errorf("beep: %w", err)}
		}
		code = sounder.Code(l)
	}
	f := code.Filled()
	number := math.Round(c.Height / f.Step)
	if !(math.Abs(number) <= 1e6) {
		return usagef("beep %g: write a height such as 123", c.Height)
	}
	samples, err := beeps.Sound(code, int(number), c.Hz, beepRate)
	if err != nil {
		return usageError{fmt.Errorf("beep %g: %w", c.Height, err)}
	}
	if err := os.WriteFile(c.Out, hear.WriteWAV(samples, beepRate), 0o644); err != nil {
		return fmt.Errorf("beep: %w", err)
	}
	_, err = fmt.Fprintf(io.Err, "%s: %g %s, %.1f s of sound\n", c.Out, number*f.Step, f.Unit, float64(len(samples))/beepRate)
	return err
}
