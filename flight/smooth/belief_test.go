package smooth

import (
	"math"
	"strings"
	"testing"

	"padlark/flight/phrase"
)

// TestTwoExplanations: where two lie apart and both live, no number stands between
// them, and the verdict's words name both; where one is left, it is the number.
func TestTwoExplanations(t *testing.T) {
	mix := func(p float64) belief {
		b := belief{ok: true, chances: []chance{{lag: -0.5, sd: 0.1, p: p}, {lag: 0.5, sd: 0.1, p: 1 - p}}}
		g := together(b.chances)
		b.lag, b.sd = g.lag, g.sd
		return b
	}
	b := mix(0.2) // its sd alone, 0.41 s, might just pass for one that is late
	if b.known() {
		t.Errorf("released %.2f ± %.2f s, with 20 %% a second before", b.lag, b.sd)
	}
	a := analysis{belief: b, fit: &fit{}}
	words := phrase.Reader{}.Write(*a.lag().Phrase, "")
	if !strings.Contains(words, "0.5 ± 0.1 s after (80 %)") || !strings.Contains(words, "0.5 ± 0.1 s before apogee (20 %)") {
		t.Errorf("released %s", words)
	}
	b = mix(0.01)
	if !b.known() || math.Abs(b.lag-0.49) > 0.01 {
		t.Errorf("released %.2f ± %.2f s, with 1 %% a second before; known %v", b.lag, b.sd, b.known())
	}
}

// TestTempered: what the readings say counts for a third of itself, what is known
// beforehand for all of it.
func TestTempered(t *testing.T) {
	near, odd := cell{weight: -1, log: 100 - 1}, cell{weight: -4, log: 106 - 4}
	if odd.log <= near.log || near.tempered() <= odd.tempered() {
		t.Errorf("6 units of evidence outweigh 3 of what is common: %.1f and %.1f", near.tempered(), odd.tempered())
	}
	odd.log += 6
	if near.tempered() >= odd.tempered() {
		t.Errorf("12 units of evidence do not outweigh 3: %.1f and %.1f", near.tempered(), odd.tempered())
	}
}
