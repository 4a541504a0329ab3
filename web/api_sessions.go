package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"padlark/storage"
)

func asTooBig(err error, target **http.MaxBytesError) bool { return errors.As(err, target) }

// sessionList is the sessions, newest first.
func (s *Server) sessionList(ctx context.Context) ([]Session, error) {
	list, err := s.opt.Archive.Sessions(ctx)
	if err != nil {
		return nil, fmt.Errorf("list sessions: %w", err)
	}
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Session) int { return b.Epoch.Compare(a.Epoch) })
	for i := range list {
		list[i].Gaps = append([]Gap{}, list[i].Gaps...)
		list[i].Rockets = append([]string{}, list[i].Rockets...)
		list[i].Links = append([]string{}, list[i].Links...)
	}
	return list, nil
}

func (s *Server) session(ctx context.Context, id string) (Session, error) {
	list, err := s.sessionList(ctx)
	if err != nil {
		return Session{}, err
	}
	for _, one := range list {
		if one.ID == id {
			return one, nil
		}
	}
	return Session{}, notFound("session", id, "see /sessions for those in the archive")
}

func (s *Server) apiSessions(w http.ResponseWriter, r *http.Request) error {
	list, err := s.sessionList(r.Context())
	if err != nil {
		return err
	}
	return writeJSON(w, r, list)
}

func (s *Server) apiSession(w http.ResponseWriter, r *http.Request) error {
	one, err := s.session(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return writeJSON(w, r, one)
}

// apiSessionSamples gives one rocket's channels over a whole session; t_s
// counts from the session's epoch.
func (s *Server) apiSessionSamples(w http.ResponseWriter, r *http.Request) error {
	ask, err := readPlotAsk(r)
	if err != nil {
		return err
	}
	one, err := s.session(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	rocket := r.URL.Query().Get("rocket")
	if !slices.Contains(one.Rockets, rocket) {
		return badRequest("rocket", rocket, "this session heard: "+strings.Join(one.Rockets, ", "))
	}
	cols, err := s.columnsOf(r.Context(), storage.Query{Session: one.ID, Rocket: rocket}, ask.channels, one.Epoch, !one.Live)
	if err != nil {
		return err
	}
	out, err := ask.answer(cols, one.Epoch)
	if err != nil {
		return err
	}
	return writeJSON(w, r, out)
}

// apiExport downloads a flight: csv, parquet, or svg.
func (s *Server) apiExport(w http.ResponseWriter, r *http.Request) error {
	id, res, err := s.findFlight(r)
	if err != nil {
		return err
	}
	format := r.PathValue("format")
	kinds := map[string]string{
		"csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet", "svg": "image/svg+xml",
	}
	kind, ok := kinds[format]
	if !ok {
		return badRequest("format", format, "there is csv, parquet and svg")
	}
	var body bytes.Buffer
	switch {
	case format == "svg":
		units, err := s.reader(r)
		if err != nil {
			return err
		}
		w.Header().Add("Vary", "Cookie") // the units are chosen there
		course, expected, err := s.courses(r.Context(), id)
		if err != nil {
			return err
		}
		body.Write(flightPicture(res, course, expected, units).SVGFile())
	case s.opt.Exporter != nil:
		if err := s.opt.Exporter.Export(r.Context(), &body, id, format); err != nil {
			return fmt.Errorf("export %s as %s: %w", id, format, err)
		}
	case format == "csv":
		cols, err := s.flightColumns(r.Context(), id, res)
		if err != nil {
			return err
		}
		if err := writeCSV(&body, cols); err != nil {
			return fmt.Errorf("export %s as csv: %w", id, err)
		}
	default:
		return absent(format + " writer")
	}
	w.Header().Set("Content-Disposition", `attachment; filename="`+fileName(id.String())+"."+format+`"`)
	writeBody(w, r, kind, body.Bytes())
	return nil
}

// fileName keeps what every file system takes.
func fileName(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_', c == '~':
			return c
		}
		return '_'
	}, s)
}

// writeCSV writes one line a sample (RFC 4180): the UTC time, the seconds since
// liftoff, and each channel; an empty cell is a missing value.
func writeCSV(w io.Writer, c *columns) error {
	out := csv.NewWriter(w)
	if err := out.Write(append([]string{"at", "t_s"}, c.names...)); err != nil {
		return err
	}
	line := make([]string, len(c.names)+2)
	for i, t := range c.t {
		line[0] = c.epoch.Add(time.Duration(math.Round(t * 1e9))).UTC().Format("2006-01-02T15:04:05.000000Z")
		line[1] = strconv.FormatFloat(t, 'f', 6, 64)
		for k, name := range c.names {
			line[k+2] = ""
			if v := c.values[name][i]; !math.IsNaN(v) {
				line[k+2] = strconv.FormatFloat(v, 'g', -1, 64)
			}
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
