package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"padlark/flight/sim"
	"padlark/ingest"
)

// fly sends the chunks of simulated boards at the moment at which they would
// be heard, each to the writer of its link.
func fly(ctx context.Context, s *sim.Sim, rounds int, to map[string]io.Writer) error {
	start := time.Now()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for c, err := range s.Chunks(rounds) {
		if err != nil {
			return fmt.Errorf("fly simulated boards: %w", err)
		}
		timer.Reset(time.Until(start.Add(c.Heard)))
		select {
		case <-timer.C:
		case <-ctx.Done():
			return nil
		}
		if _, err := to[c.Link].Write(c.Bytes); err != nil {
			return fmt.Errorf("send on %s: %w", c.Link, err)
		}
	}
	return nil
}

// flyToCapture writes a capture of what the links would hear.
func flyToCapture(ctx context.Context, s *sim.Sim, rounds int, path string, epoch time.Time) error {
	sc := s.Scenario()
	info := ingest.CaptureInfo{Station: sc.Name, Epoch: epoch}
	for _, l := range sc.Links {
		info.Links = append(info.Links, ingest.CaptureLink{Name: l.Name, Kind: l.Kind, Baud: l.Baud, Layout: l.Layout})
	}
	w, err := ingest.CreateCapture(path, info)
	if err != nil {
		return err
	}
	for c, err := range s.Chunks(rounds) {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = w.WriteChunk(c)
		}
		if err != nil {
			_ = w.Close() // the first error counts
			return fmt.Errorf("write simulated boards: %w", err)
		}
	}
	return w.Close()
}

// writeTruth writes what the simulated flights really did, to compare with.
func writeTruth(path string, truth []sim.Truth) error {
	data, err := json.MarshalIndent(truth, "", "  ")
	if err != nil {
		return fmt.Errorf("write truth: %w", err)
	}
	return writeFile(path, append(data, '\n'))
}
