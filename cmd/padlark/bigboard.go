package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"golang.org/x/term"

	"padlark/flight"
)

// glyphs are the characters of the large form, five rows of a 3x5 grid each; a
// row is three bits, the left one highest.
var glyphs = map[rune][5]byte{
	'0': {7, 5, 5, 5, 7}, '1': {2, 6, 2, 2, 7}, '2': {7, 1, 7, 4, 7}, '3': {7, 1, 7, 1, 7}, '4': {5, 5, 7, 1, 1},
	'5': {7, 4, 7, 1, 7}, '6': {7, 4, 7, 5, 7}, '7': {7, 1, 2, 2, 2}, '8': {7, 5, 7, 5, 7}, '9': {7, 5, 7, 1, 7},
	'-': {0, 0, 7, 0, 0}, ' ': {0, 0, 0, 0, 0}, 'L': {4, 4, 4, 4, 7}, 'O': {7, 5, 5, 5, 7}, 'K': {5, 5, 6, 5, 5},
	'U': {5, 5, 5, 5, 7}, 'P': {7, 5, 7, 4, 4},
}

// Size of a large character: each bit is two columns wide and as many rows high
// as there is room for.
const (
	glyphRows = 5
	bitWidth  = 2
	glyphWide = 3*bitWidth + 1 // with the gap behind it
)

// large writes a text in large characters, tall rows a bit; what has no glyph is
// left out.
func large(text string, tall int) []string {
	rows := make([]strings.Builder, glyphRows)
	for _, c := range text {
		g, ok := glyphs[c]
		if !ok {
			continue
		}
		for i, bits := range g {
			for bit := 2; bit >= 0; bit-- {
				rows[i].WriteString(strings.Repeat(map[bool]string{true: "█", false: " "}[bits>>bit&1 == 1], bitWidth))
			}
			rows[i].WriteByte(' ')
		}
	}
	out := make([]string, 0, glyphRows*tall)
	for i := range rows {
		for range tall {
			out = append(out, rows[i].String())
		}
	}
	return out
}

// board is the large form for a screen that is read from some steps away: the
// height of each rocket in large digits, the urgent and the flying first. It has
// at most height rows of at most width columns; for whom there is no room is
// counted in the last row.
func (l *lines) board(width, height int) []string {
	var rows []string
	names := l.byUrgency()
	if slices.ContainsFunc(names, l.dangers) {
		for _, r := range large("LOOK UP", 1) {
			rows = append(rows, centred(r, width))
		}
		rows = append(rows, "")
	}
	each := glyphRows + 3
	tall := 1
	if n := len(names); n > 0 && len(rows)+n*(2*glyphRows+3) <= height {
		tall, each = 2, 2*glyphRows+3
	}
	for i, name := range names {
		if len(rows)+each > height-1 && i > 0 {
			rows = append(rows, fmt.Sprintf("and %d more", len(names)-i))
			break
		}
		rows = append(rows, l.boardRows(l.states[name], tall, width)...)
	}
	for i, r := range rows {
		rows[i] = clip(plain(r), width)
	}
	return rows[:min(len(rows), height)]
}

// boardRows is one rocket of the large form.
func (l *lines) boardRows(st flight.State, tall, width int) []string {
	rows := []string{fmt.Sprintf("%s  %s", st.Rocket, l.next(st))}
	height := "-"
	unit, per := l.reader.Unit("m")
	if st.AltitudeM != nil && l.now.Sub(st.At) <= staleAfter {
		height = fmt.Sprintf("%.0f", math.Round(*st.AltitudeM/per)+0) // + 0: no -0
	}
	digits := large(height, tall)
	beside := []string{unit, string(st.Phase), l.shown(st.SpeedMps, "%+.1f", "m/s"), "highest " + l.shown(st.HighestM, "%.0f", "m")}
	for i, d := range digits {
		if i < len(beside) {
			d += "  " + beside[i]
		}
		rows = append(rows, d)
	}
	for _, a := range l.alarms {
		if a.Rocket == st.Rocket && a.Active {
			return append(rows, alarmLine(l.reader, a), strings.Repeat("─", width))
		}
	}
	return append(rows, "", strings.Repeat("─", width))
}

// byUrgency orders the rockets: those with an alarm, by its priority, then those
// in the air, then the rest by name.
func (l *lines) byUrgency() []string {
	type place struct {
		name string
		rank int
	}
	var places []place
	for name, st := range l.states {
		p := place{name, int(flight.Know) + 2}
		if st.Phase != flight.Waiting && st.Phase != flight.Landed {
			p.rank--
		}
		for _, a := range l.alarms {
			if a.Rocket == name && a.Active {
				p.rank = min(p.rank, int(a.Priority))
			}
		}
		places = append(places, p)
	}
	slices.SortFunc(places, func(a, b place) int { return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.name, b.name)) })
	names := make([]string, len(places))
	for i, p := range places {
		names[i] = p.name
	}
	return names
}

func centred(s string, width int) string {
	return strings.Repeat(" ", max(0, width-len([]rune(s)))/2) + s
}

// redrawBoard draws the large form over the whole terminal.
func (l *lines) redrawBoard() {
	width, height := columns, 24
	if f, ok := fileOf(l.out); ok {
		if w, h, err := term.GetSize(int(f.Fd())); err == nil && w > 0 && h > 0 {
			width, height = w, h
		}
	}
	var b strings.Builder
	b.WriteString("\x1b[H")
	for _, r := range l.board(width, height-1) {
		b.WriteString(r + "\x1b[K\r\n")
	}
	b.WriteString(clip(plain(l.note), width-1) + "\x1b[J")
	_, _ = io.WriteString(l.out, b.String()) // a terminal that is gone ends the program by itself
}

// wholeScreen makes the lines large and takes the whole terminal, until the
// returned function gives it back.
func (v *view) wholeScreen() (leave func(), err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if !v.lines.live {
		return nil, usagef("--screen needs a terminal; here the output goes elsewhere")
	}
	v.lines.big = true
	// ECMA-48 private modes that common terminals know: another screen, no cursor.
	_, err = io.WriteString(v.lines.out, "\x1b[?1049h\x1b[?25l")
	return func() { _, _ = io.WriteString(v.lines.out, "\x1b[?25h\x1b[?1049l") }, err
}
