package sounder

import (
	"fmt"
	"strings"

	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
)

// drawMs is the time of one character.
const drawMs = 50

// Draw shows a strip in characters, not wider than width: how far the tone stood out
// of the noise, and below it how the beeps are grouped, with the count of each
// group. Only what belongs to one whole repeat is drawn, or the beginning of what was
// heard where there is none.
func Draw(t Heard, width int) []string {
	const per = drawMs / hear.StepMs
	from, to := window(t)
	levels := []rune(" ▁▂▃▄▅▆▇█")
	var top, below []rune
	for at := from; at < to; at += per {
		most := 0.0
		for _, db := range t.Strip.DB[at:min(at+per, to)] {
			most = max(most, db)
		}
		top = append(top, levels[min(len(levels)-1, int(most/3))])
		below = append(below, ' ')
	}
	mark(below, t.Reading.Beeps, from, per)
	var out []string
	for i := 0; i < len(top); i += width {
		end := min(len(top), i+width)
		out = append(out, strings.TrimRight(string(top[i:end]), " "), strings.TrimRight(string(below[i:end]), " "))
	}
	return out
}

// window is the part that is drawn: the first repeat that is whole.
func window(t Heard) (from, to int) {
	all := len(t.Strip.DB)
	const around = 300 / hear.StepMs
	first, last, pick := -1, -1, 0
	if n := len(t.Reading.Beeps); n > 0 && t.Reading.Beeps[n-1].Repeat > 0 {
		pick = 1 // the first may have been heard in part
	}
	for _, b := range t.Reading.Beeps {
		if b.Repeat == pick {
			if first < 0 {
				first = b.From
			}
			last = b.To
		}
	}
	if first < 0 {
		return 0, min(all, 10000/hear.StepMs)
	}
	return max(0, first-around), min(all, last+around)
}

// mark draws the groups below the beeps.
func mark(line []rune, all []beeps.Beep, from, per int) {
	type group struct {
		from, to, n int
		kind        string
	}
	var groups []group
	last := [2]int{-1, -1}
	for _, b := range all {
		i, j := (b.From-from)/per, (b.To-1-from)/per
		if b.From < from || j >= len(line) {
			continue
		}
		at := [2]int{b.Repeat, b.Group}
		if at != last || b.Kind == "lead" || groups[len(groups)-1].kind != b.Kind {
			groups = append(groups, group{i, j, 0, b.Kind})
		}
		g := &groups[len(groups)-1]
		g.to, g.n, last = j, g.n+1, at
	}
	for _, g := range groups {
		text := fmt.Sprint(g.n)
		switch g.kind {
		case "lead":
			text = "lead"
		case "long":
			text += "×long"
		}
		for i := g.from; i <= g.to; i++ {
			line[i] = '─'
		}
		if g.to > g.from {
			line[g.from], line[g.to] = '└', '┘'
		}
		at := (g.from + g.to + 1 - len([]rune(text))) / 2
		for i, r := range []rune(text) {
			if k := max(0, at) + i; k < len(line) {
				line[k] = r
			}
		}
	}
}

// Words say what was heard of one tone, in one line.
func Words(t Heard, code beeps.Code) string {
	r, c := t.Reading, code.Filled()
	s := fmt.Sprintf("tone of %d Hz: ", r.PitchHz)
	switch {
	case !r.Found:
		return s + "no reading, " + r.Why
	case !r.Sure:
		return s + fmt.Sprintf("not sure: perhaps %d %s, but %s", r.Number, c.Unit, r.Why)
	}
	times := "once"
	if r.Repeats > 1 {
		times = fmt.Sprintf("%d times", r.Repeats)
	}
	return s + fmt.Sprintf("%g %s, heard %s", float64(r.Number)*c.Step, c.Unit, times)
}
