package web

import (
	"fmt"
	"net/http"
	"net/netip"
	"sync"
)

// Live streams and replays are shared out: nobody holds more than a part of them,
// and some are kept for the crew and for this computer's own screen.
const (
	viewersEach    = 12 // streams of one sign-in, or of one address without
	viewersForCrew = 32 // of maxViewers
	replaysEach    = 3
	replaysForCrew = 2 // of maxReplays
)

// shares counts who follows. It is safe for concurrent use.
type shares struct {
	most, forCrew, each int
	own                 int // of this computer's own screen, at most

	mu  sync.Mutex
	all int
	by  map[string]int
}

func newShares(most, forCrew, each, own int) *shares {
	return &shares{most: most, forCrew: forCrew, each: each, own: own, by: map[string]int{}}
}

// shareOf is by what a viewer's streams are counted.
func shareOf(r *http.Request) string {
	if c, err := r.Cookie(cookieName); err == nil {
		return "sign-in " + c.Value
	}
	return "address " + addressOf(r.RemoteAddr)
}

// enter takes one stream; leave gives it back.
func (s *shares) enter(holder string, as role, addr string) (leave func(), err error) {
	ip, bad := netip.ParseAddr(addr)
	own := bad == nil && ip.IsLoopback()
	most, each := s.most, s.each
	if as < crew && !own {
		most -= s.forCrew
	}
	if own {
		each = s.own
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	// A sign-in must not multiply an address' part, nor the other way round.
	keys := []string{holder}
	if other := "address " + addr; other != holder && as < crew {
		keys = append(keys, other)
	}
	for _, k := range keys {
		if s.by[k] >= each {
			return nil, &apiError{Status: http.StatusServiceUnavailable, Message: "too many pages of yours follow already",
				Hint: fmt.Sprintf("at most %d may at once: close one", each)}
		}
	}
	if s.all >= most {
		return nil, &apiError{Status: http.StatusServiceUnavailable, Message: "too many viewers",
			Hint: fmt.Sprintf("at most %d pages may follow at once, %d of them the crew's: close one", s.most, s.forCrew)}
	}
	s.all++
	for _, k := range keys {
		s.by[k]++
	}
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.all--
		for _, k := range keys {
			if s.by[k]--; s.by[k] == 0 {
				delete(s.by, k)
			}
		}
	}, nil
}

func (s *shares) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all
}
