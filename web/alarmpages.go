package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"padlark/flight/alarm"
	"padlark/storage"
)

// pageAlarms lists what was raised in a session, the newest if none is asked for,
// newest first, and every kind of alarm there is.
func (s *Server) pageAlarms(w http.ResponseWriter, r *http.Request) error {
	type group struct {
		Name  string
		Kinds []alarm.Info
	}
	names := map[string]string{"flight": "In flight", "pad": "On the pad", "link": "Links", "landed": "After the landing", "station": "The station itself"}
	var groups []group
	for _, k := range alarm.Kinds() {
		if n := len(groups); n == 0 || groups[n-1].Name != names[k.Where] {
			groups = append(groups, group{Name: names[k.Where]})
		}
		g := &groups[len(groups)-1]
		g.Kinds = append(g.Kinds, k)
	}
	one, raised, err := s.alarmLog(r.Context(), r.FormValue("session"))
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "alarms", "alarms", "Alarms", struct {
		Session *Session
		Raised  []alarm.Raising
		Groups  []group
	}{one, raised, groups})
}

// alarmLog gives what was raised in a session, newest first; nil if there is no
// session at all.
func (s *Server) alarmLog(ctx context.Context, id string) (*Session, []alarm.Raising, error) {
	list, err := s.sessionList(ctx)
	if err != nil || id == "" && len(list) == 0 {
		return nil, nil, err
	}
	i := 0
	if id != "" {
		if i = slices.IndexFunc(list, func(one Session) bool { return one.ID == id }); i < 0 {
			return nil, nil, notFound("session", id, "see /sessions for those in the archive")
		}
	}
	changes, err := s.opt.Archive.Alarms(ctx, storage.Query{Session: list[i].ID})
	if err != nil {
		return nil, nil, fmt.Errorf("read the alarms of session %s: %w", list[i].ID, err)
	}
	raised := alarm.Log(changes)
	slices.Reverse(raised)
	return &list[i], raised, nil
}

// kindsOfAlarms is the kinds' names for a script, most urgent first.
func kindsOfAlarms() string {
	var names []string
	for _, k := range alarm.Kinds() {
		names = append(names, k.Kind)
	}
	return string(encode(names))
}

// pageAlarm shows what is written about one kind.
func (s *Server) pageAlarm(w http.ResponseWriter, r *http.Request) error {
	kind := r.PathValue("kind")
	text, ok := alarm.Page(kind)
	if !ok {
		return notFound("kind of alarm", kind, "/alarms lists them")
	}
	units, err := readUnits(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "alarm", "alarms", "Alarm "+kind, passages(text, units))
}

// passage is a piece of a page about an alarm: one of its fields is set.
type passage struct {
	Title   string // of the page
	Heading string
	Text    []span
	Items   [][]span
}

// span is text, or a name in code. Text with a quantity has Data, as a saying.
type span struct {
	saying
	Code bool
}

// passages reads the little of Markdown that those pages use: headings,
// paragraphs, lists and names in backquotes.
func passages(text string, units system) []passage {
	var out []passage
	for block := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		block = strings.TrimSpace(block)
		switch {
		case strings.HasPrefix(block, "# "):
			out = append(out, passage{Title: block[2:]})
		case strings.HasPrefix(block, "## "):
			out = append(out, passage{Heading: block[3:]})
		case strings.HasPrefix(block, "- "):
			var items [][]span
			for item := range strings.SplitSeq(block[2:], "\n- ") {
				items = append(items, spans(item, units))
			}
			out = append(out, passage{Items: items})
		case block != "":
			out = append(out, passage{Text: spans(block, units)})
		}
	}
	return out
}

// spans parts text at its backquotes.
func spans(text string, units system) []span {
	var out []span
	for i, part := range strings.Split(strings.Join(strings.Fields(text), " "), "`") {
		switch code := i%2 == 1; {
		case part == "":
		case code || feet.Words(part, "").Text == part: // nothing to convert
			out = append(out, span{saying{Text: part}, code})
		default:
			out = append(out, span{units.Words(part, ""), false})
		}
	}
	return out
}
