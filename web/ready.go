package web

import (
	"context"
	"net/http"
	"sync"
)

// Finding is one thing of the station's computer that was looked at.
type Finding struct {
	Part  string `json:"part"`  // such as "link pad-radio", "disk"
	State string `json:"state"` // good, look (a person should know it) or bad (it will not work)
	Found string `json:"found"` // in words, with units
	Mend  string `json:"mend,omitempty"`
}

// looker looks at the computer, one look at a time: each writes to the disk.
type looker struct {
	mu  sync.Mutex
	run func(context.Context) []Finding // nil where there is no station
}

// pageReady shows what a look at the station's computer finds.
func (s *Server) pageReady(w http.ResponseWriter, r *http.Request) error {
	var found []Finding
	if s.ready.run != nil {
		s.ready.mu.Lock()
		found = s.ready.run(r.Context())
		s.ready.mu.Unlock()
	}
	return s.render(w, r, http.StatusOK, "ready", "links", "This computer", found)
}
