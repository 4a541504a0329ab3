package beeps

import "testing"

// A strip that ends to the step with a tone as long as it may be has a path that
// goes back to its beginning, and not into what an earlier search has left.
func TestPathToTheEnd(t *testing.T) {
	c := Code{BeepMs: 80, PauseMs: 200}.Filled()
	timing := c.at(1)
	longest := timing.spans(&ear{row: make([]float64, 2)}, 10).longest(short)
	e := &ear{row: make([]float64, longest+1)}
	for i := range longest { // loud at its begin and its end alone: no other beep is as likely
		e.row[i+1] = e.row[i] - 30
		if i == 0 || i == longest-1 {
			e.row[i+1] = e.row[i] + 5000
		}
	}
	g := chain([]kind{short, inner, short})
	w := &search{trace: true, from: make([]int32, 1<<12), prev: make([]int32, 1<<12)}
	for i := range w.from { // what was left leads nowhere
		w.from[i], w.prev[i] = -1, -1
	}
	s := timing.spans(e, 10)
	_, end := w.run(g, s, false)
	path := w.walk(s.steps, end)
	if last := len(path) - 1; last < 0 || path[last].node != 0 || path[last].from != 0 || path[last].to != longest {
		t.Errorf("the path is %+v, want one tone of %d steps", path, longest)
	}
}
