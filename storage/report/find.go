package report

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"padlark/storage/sqlite"
)

// Ref names one flight.
type Ref struct {
	Session string
	Rocket  string
	Flight  int
}

// String is session~rocket~number, as everywhere.
func (r Ref) String() string { return fmt.Sprintf("%s~%s~%d", r.Session, r.Rocket, r.Flight) }

// Short is rocket-number.
func (r Ref) Short() string { return fmt.Sprintf("%s-%d", r.Rocket, r.Flight) }

// errNotFound is returned when the archive holds no such flight. The message
// lists what there is.
var errNotFound = errors.New("no such flight")

// Listed is one flight that the archive holds.
type Listed struct {
	Ref
	At time.Time // liftoff, corrected; the session's start if not known
}

// List gives all flights of an archive that count, oldest first.
func List(ctx context.Context, a *sqlite.Archive) ([]Listed, error) { return list(ctx, a, a.Flights) }

func list(ctx context.Context, a *sqlite.Archive, of func(context.Context, string) ([]sqlite.FlightSpan, error)) ([]Listed, error) {
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	var out []Listed
	for _, s := range sessions {
		spans, err := of(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		for _, f := range spans {
			at := s.Started
			if f.Liftoff != nil {
				at = *f.Liftoff
			}
			out = append(out, Listed{Ref{s.ID, f.Rocket, f.Flight}, s.Corrected(at)})
		}
	}
	return out, nil
}

// Find finds the flight that a person means: SESSION~ROCKET~NUMBER (the session
// may be cut short), or ROCKET-NUMBER, which is that of the newest session that
// has one; more says how many older sessions have one too. The error wraps
// errNotFound.
func Find(ctx context.Context, a *sqlite.Archive, text string) (ref Ref, more int, err error) {
	return find(ctx, a, text, a.Flights)
}

// FindEvery is Find among the void flights too.
func FindEvery(ctx context.Context, a *sqlite.Archive, text string) (ref Ref, more int, err error) {
	return find(ctx, a, text, a.EveryFlight)
}

func find(ctx context.Context, a *sqlite.Archive, text string, of func(context.Context, string) ([]sqlite.FlightSpan, error)) (ref Ref, more int, err error) {
	session, rocket, number, err := splitName(text)
	if err != nil {
		return Ref{}, 0, err
	}
	all, err := list(ctx, a, of)
	if err != nil {
		return Ref{}, 0, err
	}
	var fit []Ref
	for _, l := range all {
		if l.Rocket == rocket && l.Flight == number && strings.HasPrefix(l.Session, session) {
			if l.Session == session {
				return l.Ref, 0, nil
			}
			fit = append(fit, l.Ref)
		}
	}
	switch {
	case len(fit) == 0:
		return Ref{}, 0, fmt.Errorf("%w as %q; %s", errNotFound, text, whatThereIs(all))
	case session != "" && len(fit) > 1:
		return Ref{}, 0, fmt.Errorf("%w: %d sessions begin with %q and have a %s-%d; write more of its name", errNotFound, len(fit), session, rocket, number)
	}
	return fit[len(fit)-1], len(fit) - 1, nil
}

// wrongName is an error about a name that a person gave.
type wrongName string

func (e wrongName) Error() string { return string(e) }

// WrongUse says that asking otherwise mends it.
func (wrongName) WrongUse() {}

// FindSession finds the session that a person means: the exact name, the only
// one that begins so, or the newest when nothing was said.
func FindSession(ctx context.Context, a *sqlite.Archive, said string) (string, error) {
	all, err := a.Sessions(ctx)
	if err != nil {
		return "", err
	}
	if len(all) == 0 {
		return "", fmt.Errorf("the archive %s holds no session yet", a.Path())
	}
	if said == "" {
		return all[len(all)-1].ID, nil
	}
	var found []string
	for _, s := range all {
		if s.ID == said {
			return said, nil
		}
		if strings.HasPrefix(s.ID, said) {
			found = append(found, s.ID)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", wrongName(fmt.Sprintf("there is no session %q: padlark sessions lists what there is", said))
	}
	return "", wrongName(fmt.Sprintf("%d sessions begin with %q: %v", len(found), said, found))
}

// splitName takes a flight's name apart.
func splitName(text string) (session, rocket string, number int, err error) {
	bad := fmt.Errorf("%w: %q: write ROCKET-NUMBER, such as Teal-1, or SESSION~ROCKET~NUMBER", errNotFound, text)
	parts := strings.Split(text, "~")
	if len(parts) == 1 {
		i := strings.LastIndexAny(text, "- ")
		if i < 0 {
			return "", "", 0, bad
		}
		parts = []string{"", text[:i], text[i+1:]}
	}
	if len(parts) == 2 {
		parts = slices.Insert(parts, 0, "")
	}
	if len(parts) != 3 || parts[1] == "" {
		return "", "", 0, bad
	}
	n, cerr := strconv.Atoi(parts[2])
	if cerr != nil || n < 1 {
		return "", "", 0, bad
	}
	return parts[0], parts[1], n, nil
}

// whatThereIs lists flights in words, the newest ones.
func whatThereIs(all []Listed) string {
	if len(all) == 0 {
		return "the archive holds no flight yet"
	}
	const most = 8
	var names []string
	for i := len(all) - 1; i >= 0 && len(names) < most; i-- {
		names = append(names, fmt.Sprintf("%s (%s)", all[i].Short(), all[i].At.Local().Format("2006-01-02 15:04")))
	}
	s := "there are " + strings.Join(names, ", ")
	if len(all) > most {
		s += fmt.Sprintf(" and %d older ones (padlark flights --all lists them)", len(all)-most)
	}
	return s
}

// CheckTarget says whether a file may be written: its ending is one of exts,
// and it is not there yet or force is given.
func CheckTarget(path string, force bool, exts ...string) error {
	if !slices.Contains(exts, strings.ToLower(filepath.Ext(path))) {
		return fmt.Errorf("write %s: give a file name that ends in %s", path, strings.Join(exts, ", "))
	}
	if _, err := os.Stat(path); err == nil && !force {
		return fmt.Errorf("write %s: it is there already: give another name, or --force to overwrite it", path)
	}
	return nil
}
