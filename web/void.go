package web

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"padlark/flight"
)

// Voids keeps what people said of flights that were none: a board that started
// again, a bump after a landing. Such a flight is void and counts nowhere. May
// be nil.
type Voids interface {
	// VoidFlights lists the void flights of a session, or of all if it is empty.
	VoidFlights(ctx context.Context, session string) ([]flight.Result, error)
	// SetVoid says that a flight was none, or that it was one after all.
	SetVoid(ctx context.Context, id FlightID, void bool, why string, at time.Time) error
}

// voidFlights is VoidFlights where there is somebody to ask.
func (s *Server) voidFlights(ctx context.Context, session string) ([]flight.Result, error) {
	if s.opt.Voids == nil {
		return nil, nil
	}
	out, err := s.opt.Voids.VoidFlights(ctx, session)
	if err != nil {
		return nil, fmt.Errorf("list void flights: %w", err)
	}
	return out, nil
}

// voidMark begins the verdict of a void flight.
const voidMark = "void:"

// longestWhy bounds the reason, in bytes: it stands where the verdict would.
const longestWhy = 200

func (s *Server) apiVoid(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Voids == nil {
		return absent("place for what people say of flights")
	}
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	var in struct {
		Void bool   `json:"void"`
		Why  string `json:"why"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	why := strings.TrimSpace(in.Why)
	if len(why) > longestWhy || !utf8.ValidString(why) {
		return badRequest("why", short(why), fmt.Sprintf("type %d bytes of text at the most", longestWhy))
	}
	if err := s.opt.Voids.SetVoid(r.Context(), id, in.Void, why, s.opt.Now().UTC()); err != nil {
		return fmt.Errorf("keep what was said of flight %s: %w", id, err)
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, struct {
		Flight string `json:"flight"`
		Void   bool   `json:"void"`
		Why    string `json:"why"`
	}{id.String(), in.Void, why})
}
