package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"sort"
	"strings"
	"time"

	"golang.org/x/term"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/ingest"
)

// lines shows one line per rocket: in place on a terminal, as a plain log
// elsewhere. It is used by one goroutine.
type lines struct {
	out    io.Writer
	live   bool // a terminal: update in place
	colour bool // and one that shows colours, to somebody who wants them
	ring   bool // the bell is due: somebody must look up
	big    bool // in large digits over all of it, with the newest log line below
	note   string
	reader phrase.Reader
	drawn  int // lines drawn so far that the next redraw replaces
	states map[string]flight.State
	said   map[string]said
	// alarms are the open ones by id, in the order of their raising.
	alarms []flight.Alarm
	// hold keeps the plain form's lines until it is known that no earlier one
	// comes: at many times real time an alarm, which takes the way through the
	// stream, is overtaken by states.
	hold bool
	held []heldLine
	// now is the newest time told, of ticks and states: what was heard long before
	// it is stale.
	now time.Time
	// rockets are the configured ones; of others only some are shown beside them.
	rockets []flight.Rocket
	guests  map[string]bool
	hidden  bool // there were more, and that was said
	// links are the configured ones; refused has the rows about those of which
	// nothing can be read.
	links    []ingest.LinkConfig
	refusals ingest.Refusals
	refused  map[string][]string
}

// mostGuests are shown beside configured rockets.
const mostGuests = 8

// hides says whether a rocket is one of too many that nobody configured.
func (l *lines) hides(rocket string, at time.Time) bool {
	if _, known := flight.RocketNamed(l.rockets, rocket); known || rocket == "" || len(l.rockets) == 0 || l.guests[rocket] {
		return false
	}
	if len(l.guests) < mostGuests {
		if l.guests == nil {
			l.guests = map[string]bool{}
		}
		l.guests[rocket] = true
		return false
	}
	if !l.hidden {
		l.hidden = true
		if !l.live {
			l.print(at, "more unknown ids are heard than are shown here; the links page counts them")
		}
	}
	return true
}

type heldLine struct {
	at   time.Time
	text string
}

// said is what the plain form printed last of a rocket.
type said struct {
	phase    flight.Phase
	released bool
	at       time.Time
}

// newLines chooses the form by what out is.
func newLines(out io.Writer) *lines {
	l := &lines{out: out, states: map[string]flight.State{}, said: map[string]said{}}
	if f, ok := fileOf(out); ok {
		l.live = term.IsTerminal(int(f.Fd()))
		// NO_COLOR, set to anything, means none (no-color.org).
		l.colour = l.live && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	}
	if l.live {
		l.out = raw(out) // the orders are ours
	}
	return l
}

// state takes the newest state of a rocket. The plain form prints it when
// something changed, each second in flight and each ten seconds on the ground.
func (l *lines) state(st flight.State) {
	if l.hides(st.Rocket, st.At) {
		return
	}
	l.states[st.Rocket] = st
	l.tick(st.At)
	if l.live {
		return
	}
	last, seen := l.said[st.Rocket]
	every := 10 * time.Second
	if st.Phase != flight.Waiting && st.Phase != flight.Landed {
		every = time.Second
	}
	if seen && last.phase == st.Phase && last.released == st.Released && st.At.Sub(last.at) < every {
		return
	}
	l.said[st.Rocket] = said{st.Phase, st.Released, st.At}
	l.print(st.At, l.stateLine(st))
}

// standing takes an alarm that stands, of which nothing may have been heard here.
func (l *lines) standing(a flight.Alarm) {
	i := slices.IndexFunc(l.alarms, func(old flight.Alarm) bool { return old.ID == a.ID })
	if i >= 0 && l.alarms[i].Change >= a.Change {
		return
	}
	l.alarm(a)
}

// alarm takes a state change of an alarm.
func (l *lines) alarm(a flight.Alarm) {
	if l.hides(a.Rocket, a.ChangedAt) {
		l.release(a.ChangedAt)
		return
	}
	before := len(l.alarms)
	l.alarms = slices.DeleteFunc(l.alarms, func(old flight.Alarm) bool { return old.ID == a.ID })
	// The first that is heard of an alarm may be a later change of it.
	news := a.Change == 1 || len(l.alarms) == before
	if a.Active || !a.Acked {
		l.alarms = append(l.alarms, a)
	}
	l.ring = l.ring || a.Active && a.Change == 1 && a.Priority == flight.LookUp
	if !l.live && (a.Active && news || !a.Active) {
		l.print(a.ChangedAt, alarmLine(l.reader, a))
	}
	l.release(a.ChangedAt)
}

// print writes a line of the plain form, or keeps it.
func (l *lines) print(at time.Time, text string) {
	if l.hold {
		l.held = append(l.held, heldLine{at, text})
		return
	}
	fmt.Fprintf(l.out, "%s  %s\n", at.Local().Format("15:04:05.0"), text)
}

// release writes the kept lines up to a time, in their order; the zero time
// means all of them.
func (l *lines) release(until time.Time) {
	slices.SortStableFunc(l.held, func(a, b heldLine) int { return a.at.Compare(b.at) })
	n := 0
	for _, h := range l.held {
		if !until.IsZero() && h.at.After(until) {
			break
		}
		fmt.Fprintf(l.out, "%s  %s\n", h.at.Local().Format("15:04:05.0"), h.text)
		n++
	}
	l.held = slices.Delete(l.held, 0, n)
}

// redraw replaces the block on a terminal; the plain form has nothing to do.
func (l *lines) redraw() {
	if !l.live {
		return
	}
	if l.big {
		l.redrawBoard()
		return
	}
	var b strings.Builder
	if l.ring {
		l.ring = false
		b.WriteByte('\a')
	}
	if l.drawn > 0 {
		fmt.Fprintf(&b, "\x1b[%dA", l.drawn)
	}
	names := make([]string, 0, len(l.states))
	for n := range l.states {
		names = append(names, n)
	}
	sort.Strings(names)
	rows := make([]string, 0, len(names)+12)
	for _, n := range names {
		rows = append(rows, l.stateLine(l.states[n]))
	}
	// The newest alarms in full: the reason says what to do.
	const most = 3
	for i := max(0, len(l.alarms)-most); i < len(l.alarms); i++ {
		var text strings.Builder
		wrap(&text, "  ", alarmLine(l.reader, l.alarms[i]))
		rows = append(rows, strings.Split(strings.TrimRight(text.String(), "\n"), "\n")...)
	}
	for _, name := range slices.Sorted(maps.Keys(l.refused)) {
		rows = append(rows, l.refused[name]...)
	}
	for _, r := range rows {
		b.WriteString("\r\x1b[2K" + l.loud(clip(plain(r), columns)) + "\n")
	}
	// Rows that are no longer needed are blanked, and stay part of the block.
	for i := len(rows); i < l.drawn; i++ {
		b.WriteString("\r\x1b[2K\n")
	}
	l.drawn = max(l.drawn, len(rows))
	io.WriteString(l.out, b.String())
}

// loud puts a row that calls for a look up in bold red.
func (l *lines) loud(row string) string {
	if !l.colour || !strings.Contains(row, markLookUp) && !strings.HasSuffix(row, noRelease) {
		return row
	}
	return "\x1b[1;31m" + row + "\x1b[0m"
}

// erase takes the block off a terminal, for something else to be written.
func (l *lines) erase() {
	if l.live && l.drawn > 0 {
		fmt.Fprintf(l.out, "\x1b[%dA\r\x1b[J", l.drawn)
		l.drawn = 0
	}
}

// tick says how late it is.
func (l *lines) tick(at time.Time) {
	if at.After(l.now) {
		l.now = at
	}
}

// What a row has that must not be overlooked.
const (
	markLookUp = "!!! LOOK UP"
	noRelease  = "NO RELEASE SEEN"
)

// staleAfter is how long after the last frame a rocket's numbers are not those of
// now.
const staleAfter = 3 * time.Second

// dangers says whether an alarm that calls for a look up stands about a rocket.
func (l *lines) dangers(rocket string) bool {
	return slices.ContainsFunc(l.alarms, func(a flight.Alarm) bool {
		return a.Rocket == rocket && a.Active && a.Priority == flight.LookUp
	})
}

// next says what comes next for a rocket, or what keeps it.
func (l *lines) next(st flight.State) string {
	switch silent := l.now.Sub(st.At); {
	case silent > staleAfter:
		return fmt.Sprintf("SILENT for %.0f s", silent.Seconds())
	case st.Phase == flight.Waiting && st.Go:
		return "go"
	case st.Phase == flight.Waiting && len(st.NotYet) > 0:
		if len(st.NotYetPhrases) > 0 {
			return "not yet: " + l.reader.Write(st.NotYetPhrases[0], st.NotYet[0])
		}
		return "not yet: " + st.NotYet[0]
	case st.ToApogeeS != nil && (st.Phase == flight.Boost || st.Phase == flight.Coast):
		return fmt.Sprintf("apogee in %.1f s", *st.ToApogeeS)
	case st.Released:
		return "released"
	case st.Phase == flight.Descent && l.dangers(st.Rocket):
		return noRelease
	case st.Phase == flight.Descent:
		return "no release seen yet"
	}
	return ""
}

// stateLine is one rocket in at most 80 columns.
func (l *lines) stateLine(st flight.State) string {
	return strings.TrimRight(fmt.Sprintf("%-10s %-8s %s %s  max %s  %s  %s",
		clip(st.Rocket, 10), st.Phase, l.shown(st.AltitudeM, "%7.1f", "m"), l.shown(st.SpeedMps, "%+6.1f", "m/s"),
		l.shown(st.HighestM, "%6.1f", "m"), quantity(st.CellV, "%.2f V"), l.next(st)), " ")
}

// shown is a quantity in the reader's units.
func (l *lines) shown(si *float64, format, unit string) string {
	return inUnits(l.reader, si, format, unit)
}

// inUnits writes a quantity in SI for a reader, the number as format has it.
func inUnits(to phrase.Reader, si *float64, format, unit string) string {
	unit, per := to.Unit(unit)
	return quantity(over(si, per), format+" "+unit)
}

// quantity formats a value, or as many blanks and a dash when it is not known.
func quantity(v *float64, format string) string {
	if v == nil {
		return strings.Repeat(" ", len(fmt.Sprintf(format, 0.0))-1) + "–"
	}
	return fmt.Sprintf(format, *v)
}

// alarmLine is an alarm's reason, or that it is over.
func alarmLine(to phrase.Reader, a flight.Alarm) string {
	who := cmp.Or(a.Rocket, a.Link, "station")
	if !a.Active {
		return fmt.Sprintf("over  %s: %s, raised at %s", who, strings.ReplaceAll(a.Kind, "-", " "), a.RaisedAt.Local().Format("15:04:05.0"))
	}
	mark := map[flight.Priority]string{flight.LookUp: markLookUp, flight.Act: "!! act", flight.Know: "! know"}[a.Priority]
	reason := to.Write(a.ReasonPhrase, a.Reason)
	if strings.HasPrefix(reason, who+" ") {
		return mark + "  " + reason
	}
	return fmt.Sprintf("%s  %s: %s", mark, who, reason)
}
