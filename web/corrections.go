package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode"
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

// Corrector keeps what people said of flights that were told apart wrongly. May be
// nil. Each method returns the flights that there are now, and an error that wraps
// ErrRefused if it cannot be as a person says.
type Corrector interface {
	// Join makes one of a flight and the one that follows it.
	Join(ctx context.Context, id FlightID) ([]FlightID, error)
	// Split makes two of a flight, cut so many seconds after its liftoff.
	Split(ctx context.Context, id FlightID, atS float64) ([]FlightID, error)
	// Rename gives a flight to another rocket.
	Rename(ctx context.Context, id FlightID, rocket string) ([]FlightID, error)
	// Undo takes back the newest correction of a flight.
	Undo(ctx context.Context, id FlightID) ([]FlightID, error)
	// Corrected says in words how a flight was corrected; empty if it was not.
	Corrected(ctx context.Context, id FlightID) (string, error)
}

// ErrRefused is returned when a person's wish cannot be done; the message says why.
var ErrRefused = errors.New("refused")

// longestName bounds the name of a rocket, in bytes.
const longestName = 40

// apiCorrect corrects a flight: with a rocket it is given to that one, with split_s
// cut in two, with join it is one with the next; undo takes the newest back.
func (s *Server) apiCorrect(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Corrector == nil {
		return absent("place for what people say of flights")
	}
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	var in struct {
		Join   bool     `json:"join"`
		SplitS *float64 `json:"split_s"`
		Rocket *string  `json:"rocket"`
		Undo   bool     `json:"undo"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	var now []FlightID
	switch {
	case in.Join && in.SplitS == nil && in.Rocket == nil && !in.Undo:
		now, err = s.opt.Corrector.Join(r.Context(), id)
	case !in.Join && in.SplitS != nil && in.Rocket == nil && !in.Undo:
		now, err = s.opt.Corrector.Split(r.Context(), id, *in.SplitS)
	case !in.Join && in.SplitS == nil && in.Rocket != nil && !in.Undo:
		name := strings.TrimSpace(*in.Rocket)
		if name == "" || len(name) > longestName || strings.ContainsFunc(name, func(c rune) bool { return c == '~' || unicode.IsControl(c) }) || !utf8.ValidString(name) {
			return badRequest("rocket", short(name), fmt.Sprintf("type a rocket's name, of %d bytes at the most and without ~", longestName))
		}
		now, err = s.opt.Corrector.Rename(r.Context(), id, name)
	case !in.Join && in.SplitS == nil && in.Rocket == nil && in.Undo:
		now, err = s.opt.Corrector.Undo(r.Context(), id)
	default:
		return badRequest("correction", "", "say one of join, split_s, rocket, undo")
	}
	if errors.Is(err, ErrRefused) {
		return &apiError{http.StatusConflict, fmt.Sprintf("flight %s stays as it is", id), refusal(err)}
	}
	if err != nil {
		return fmt.Errorf("correct flight %s: %w", id, err)
	}
	names := make([]string, len(now))
	for i, n := range now {
		names[i] = n.String()
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, struct {
		Flights []string `json:"flights"`
	}{names})
}

// refusal is the last line of an error: what those who know have said.
func refusal(err error) string {
	lines := strings.Split(err.Error(), "\n")
	_, words, _ := strings.Cut(lines[len(lines)-1], ": ")
	return words
}

// corrected is Corrected where there is somebody to ask.
func (s *Server) corrected(ctx context.Context, id FlightID) (string, error) {
	if s.opt.Corrector == nil {
		return "", nil
	}
	words, err := s.opt.Corrector.Corrected(ctx, id)
	if err != nil {
		return "", fmt.Errorf("read corrections of %s: %w", id, err)
	}
	return words, nil
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
