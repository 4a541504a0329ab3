package web

import (
	"net/http/httptest"
	"testing"
)

// serve starts a server over the invented station.
func serve(t *testing.T, opt Options) (*Server, string) {
	t.Helper()
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	stop, err := s.Watch(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		close(s.stopping)
		srv.Close()
		stop()
	})
	return s, srv.URL
}
