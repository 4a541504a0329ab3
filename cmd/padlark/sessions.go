package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"padlark/decode"
	"padlark/storage/sqlite"
)

type sessionsCmd struct {
	archiveFlags
	Losses bool `help:"Count the frames lost, on each link and after merging the links; reads every sample."`
	JSON   bool `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (sessionsCmd) Help() string { return "Example: padlark sessions --data padlark-demo" }

// sessionRow is what the command prints of a session.
type sessionRow struct {
	Session       string     `json:"session"`
	Station       string     `json:"station"`
	StartedAt     time.Time  `json:"started_at"`
	EndedAt       *time.Time `json:"ended_at"` // null while it runs or after a crash
	Flights       int        `json:"flights"`
	Frames        uint64     `json:"frames"`
	Rejected      uint64     `json:"rejected_frames"`
	FrameBytes    uint64     `json:"frame_bytes"`
	DiskBytes     uint64     `json:"disk_bytes"`
	BytesPerFrame float64    `json:"disk_bytes_per_frame"`
	TimeFixedBy   string     `json:"time_fixed_by"`
	ShiftS        float64    `json:"time_shift_s"`
	// Losses is there with --losses only.
	Losses []decode.Merged `json:"losses,omitempty"`
}

// Run lists the sessions with their sizes.
func (c *sessionsCmd) Run(ctx context.Context, io *cmdIO) error {
	a, err := c.open(ctx, io)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	rows, err := sessionRows(ctx, a)
	if err != nil {
		return err
	}
	if c.Losses {
		work := workedOut(a, io)
		for i := range rows {
			s, err := a.Session(ctx, rows[i].Session)
			if err != nil {
				return err
			}
			totals, err := work.Count(ctx, s)
			if err != nil {
				return err
			}
			rows[i].Losses = totals.Rockets
		}
	}
	warnLost(a, io)
	if c.JSON {
		return printJSON(io.Out, "  ", rows)
	}
	t := tabwriter.NewWriter(io.Out, 0, 8, 1, ' ', 0)
	fmt.Fprintln(t, "SESSION\tSTARTED\tLASTED\tFLIGHTS\tFRAMES\tBAD\tDISK\t/FRAME")
	for _, r := range rows {
		lasted := "open"
		if r.EndedAt != nil {
			lasted = r.EndedAt.Sub(r.StartedAt).Round(time.Second).String()
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\t%d\t%s\t%.0f B\n", r.Session, r.StartedAt.Local().Format("2006-01-02 15:04"),
			lasted, r.Flights, r.Frames, r.Rejected, size(r.DiskBytes), r.BytesPerFrame)
	}
	if err := t.Flush(); err != nil || !c.Losses {
		return err
	}
	for _, r := range rows {
		fmt.Fprintf(io.Out, "\n%s\n", r.Session)
		printLosses(io.Out, r.Losses)
	}
	return nil
}

func sessionRows(ctx context.Context, a *sqlite.Archive) ([]sessionRow, error) {
	all, err := a.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	sizes, err := a.Sizes(ctx)
	if err != nil {
		return nil, err
	}
	bySession := map[string]sqlite.Size{}
	for _, s := range sizes {
		bySession[s.Session] = s
	}
	rows := make([]sessionRow, 0, len(all))
	for _, s := range all {
		spans, err := a.Flights(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		z := bySession[s.ID]
		r := sessionRow{
			Session: s.ID, Station: s.Station, StartedAt: s.Corrected(s.Started), Flights: len(spans),
			Frames: z.Frames, Rejected: z.Rejects, FrameBytes: z.FrameBytes, DiskBytes: z.DiskBytes,
			BytesPerFrame: z.BytesPerFrame, TimeFixedBy: s.ShiftSource, ShiftS: s.Shift.Seconds(),
		}
		if !s.Ended.IsZero() {
			end := s.Corrected(s.Ended)
			r.EndedAt = &end
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// size is a number of bytes for a person.
func size(b uint64) string {
	switch {
	case b >= 1<<30:
		return fmt.Sprintf("%.1f GB", float64(b)/1e9)
	case b >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(b)/1e6)
	case b >= 1e3:
		return fmt.Sprintf("%.0f kB", float64(b)/1e3)
	}
	return fmt.Sprintf("%d B", b)
}
