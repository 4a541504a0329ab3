package web

import (
	"fmt"
	"net/http"
	"sync"
	"time"

	"padlark/ingest"
)

// LinkGuess is what a link may be sending, as far as its bytes tell.
type LinkGuess struct {
	Link string `json:"link"`
	// None says why there is no guess, and what to do; the rest is empty then.
	None string `json:"none,omitempty"`
	// Heard is how many frames were looked at, Read how many of them the proposal reads.
	Heard int `json:"heard"`
	Read  int `json:"read"`
	// Config is the text for the configuration.
	Config string       `json:"config"`
	Points []GuessPoint `json:"points"`
	Frames []GuessFrame `json:"frames"`
	Asks   []string     `json:"asks"`
}

// GuessPoint is one thing about the whole, such as the framing.
type GuessPoint struct {
	What  string `json:"what"`
	Value string `json:"value"`
	Sure  string `json:"sure"` // in a word
	Why   string `json:"why"`
}

// GuessFrame is one frame as it came, beside what is made of it.
type GuessFrame struct {
	Layout  string          `json:"layout"`
	Hex     ingest.HexBytes `json:"hex"`
	Decoded string          `json:"decoded"`
	Columns []GuessColumn   `json:"columns"`
}

// GuessColumn is one field: as it came, as what it is taken, and how surely.
type GuessColumn struct {
	Raw   string `json:"raw"`
	Name  string `json:"name"` // "" if it is passed over
	Value string `json:"value"`
	Use   string `json:"use"` // what padlark uses it for, "" for nothing
	Sure  string `json:"sure"`
	Why   string `json:"why"`
	Ask   string `json:"ask,omitempty"`
}

// guessEvery is how long a guess holds: many pages may ask, and each takes some tenths
// of a second of a small computer.
const guessEvery = 5 * time.Second

// guesser guesses for one link at a time.
type guesser struct {
	mu   sync.Mutex
	last map[string]LinkGuess
	at   map[string]time.Time
}

// apiLinkGuess looks at what a link hears now and proposes a layout for it.
func (s *Server) apiLinkGuess(w http.ResponseWriter, r *http.Request) error {
	link := r.PathValue("link")
	if s.opt.Guess == nil {
		return absent("live link")
	}
	if !s.knowsLink(link) {
		return notFound("link", link, "see /api/v1/links for the links there are")
	}
	g := &s.guesser
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	if g.last == nil {
		g.last, g.at = map[string]LinkGuess{}, map[string]time.Time{}
	}
	if at, ok := g.at[link]; !ok || now.Sub(at) > guessEvery {
		one, err := s.opt.Guess(link)
		if err != nil {
			return fmt.Errorf("guess what link %s sends: %w", link, err)
		}
		g.last[link], g.at[link] = one, now
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, g.last[link])
}
