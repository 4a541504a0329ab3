package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/storage"
)

// pageAlarms lists what was raised in a session, the newest if none is asked for,
// newest first, and every kind of alarm there is.
func (s *Server) pageAlarms(w http.ResponseWriter, r *http.Request) error {
	type group struct {
		Name  string
		Kinds []alarm.Info
	}
	to, err := s.reader(r)
	if err != nil {
		return err
	}
	names := map[string]string{"flight": to.Say("In flight"), "pad": to.Say("On the pad"), "link": to.Say("Links"), "landed": to.Say("After the landing"), "station": to.Say("The station itself")}
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
	units, err := s.reader(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "alarm", "alarms", units.Say("Alarm")+" "+kind, passages(text, units))
}

// passage is a piece of a page about an alarm: one of its fields is set.
type passage struct {
	Title   string // of the page
	Heading string
	Text    []span
	Items   [][]span
}

// span is text, or a name in code. A quantity has Data, as a saying.
type span struct {
	saying
	Code bool
}

// passages reads the little of Markdown that those pages use: headings,
// paragraphs, lists and names in backquotes.
func passages(text string, units reader) []passage {
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

// quantity is one of those pages: {50 m}, or {11 to 30 m/s}.
var quantity = regexp.MustCompile(`\{([0-9.]+)(?: to ([0-9.]+))? (m|m/s|m/s²)\}`)

func quantityOf(found []string) phrase.Phrase {
	arg := func(name, number string) phrase.Arg {
		v, err := strconv.ParseFloat(number, 64)
		if err != nil {
			v = math.NaN() // "1.2.3": shown as not known
		}
		_, decimals, _ := strings.Cut(number, ".")
		return phrase.Qty(name, v, len(decimals), found[3])
	}
	if found[2] == "" {
		return phrase.Of("quantity", arg("value", found[1]))
	}
	return phrase.Of("quantity.range", arg("from", found[1]), arg("to", found[2]))
}

// spans parts text at its backquotes and quantities.
func spans(text string, units reader) []span {
	var out []span
	for i, part := range strings.Split(strings.Join(strings.Fields(text), " "), "`") {
		if i%2 == 1 {
			out = append(out, span{saying{Text: part}, true})
			continue
		}
		for part != "" {
			at := quantity.FindStringSubmatchIndex(part)
			if at == nil {
				out = append(out, span{saying{Text: part}, false})
				break
			}
			if at[0] > 0 {
				out = append(out, span{saying{Text: part[:at[0]]}, false})
			}
			out = append(out, span{units.saying(quantityOf(quantity.FindStringSubmatch(part)), part[at[0]+1:at[1]-1]), false})
			part = part[at[1]:]
		}
	}
	return out
}
