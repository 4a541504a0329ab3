package web

import (
	"net/http"
	"strings"
	"sync"
	"time"
	"unicode"
)

// troubleEvery is how often a failed page is written to the log at most: a
// hundred open pages fail together, and the log is to say it once.
const troubleEvery = 10 * time.Second

// troubles counts what open pages report of themselves. It is safe for
// concurrent use.
type troubles struct {
	mu     sync.Mutex
	n      uint64
	logged time.Time
}

// note counts a report and says whether it is to be logged.
func (t *troubles) note(now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.n++
	if now.Sub(t.logged) < troubleEvery {
		return false
	}
	t.logged = now
	return true
}

func (t *troubles) count() uint64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.n
}

// apiTrouble takes a page's report that something in it has thrown.
func (s *Server) apiTrouble(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Page   string `json:"page"`
		Errors int    `json:"errors"`
		Last   string `json:"last"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	if s.troubles.note(time.Now()) {
		s.opt.Log.Error().Str("page", plain(in.Page, 200)).Int("errors", in.Errors).Str("last", plain(in.Last, 500)).
			Msg("an open page has failed and says NOT LIVE")
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// plain is text that a terminal takes as text: no control characters, and not
// longer than n bytes.
func plain(text string, n int) string {
	text = strings.ToValidUTF8(text[:min(len(text), n)], "?")
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
}
