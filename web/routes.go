package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// route is one address and who may use it.
type route struct {
	method  string
	pattern string // as net/http.ServeMux takes it, without the method
	needs   role
	serve   func(http.ResponseWriter, *http.Request) error
}

// table lists every address there is. The API part is described for others in
// api/openapi.json; a test compares the two.
func (s *Server) table() []route {
	return []route{
		{"GET", "/{$}", viewer, s.pageBoard},
		{"GET", "/flights", viewer, s.pageFlights},
		{"GET", "/flights/{id}", viewer, s.pageFlight},
		{"GET", "/flights/{id}/curve", viewer, s.pageCurve},
		{"GET", "/flights/{id}/report", viewer, s.pageReport},
		{"GET", "/sessions", viewer, s.pageSessions},
		{"GET", "/sessions/{id}", viewer, s.pageReplay},
		{"GET", "/links", viewer, s.pageLinks},
		{"GET", "/compare", viewer, s.pageCompare},
		{"GET", "/clock", viewer, s.pageClock},
		{"GET", "/sounder", viewer, s.pageSounder},
		{"GET", "/ready", crew, s.pageReady},
		{"GET", "/keys", viewer, s.pageKeys},
		{"GET", "/configuration", crew, s.pageConfig},
		{"POST", "/configuration", crew, s.takeConfig},
		{"GET", "/alarms", viewer, s.pageAlarms},
		{"GET", "/alarms/{kind}", viewer, s.pageAlarm},
		{"GET", "/signin", nobody, s.pageSignIn},
		{"POST", "/signin", nobody, s.signIn},
		{"POST", "/signout", viewer, s.signOut},
		{"GET", "/field", viewer, s.pageField},
		{"GET", "/join", viewer, s.pageJoin},
		{"GET", "/worker.js", nobody, s.serveWorker},
		{"GET", "/manifest.webmanifest", nobody, s.serveManifest},
		{"GET", "/static/{version}/{file...}", nobody, s.serveAsset},

		{"GET", "/api/v1/openapi.json", viewer, s.serveOpenAPI},
		{"GET", "/api/v1/live", viewer, s.serveLive},
		{"GET", "/api/v1/rockets", viewer, s.apiRockets},
		{"GET", "/api/v1/links", viewer, s.apiLinks},
		{"GET", "/api/v1/links/{link}/frames", viewer, s.apiLinkFrames},
		{"GET", "/api/v1/links/{link}/guess", crew, s.apiLinkGuess},
		{"GET", "/api/v1/copy", viewer, s.apiCopy},
		{"GET", "/api/v1/uplink", viewer, s.apiUplink},
		{"GET", "/api/v1/alarms", viewer, s.apiAlarms},
		{"POST", "/api/v1/alarms/ack", crew, s.apiAck},
		{"POST", "/api/v1/trouble", viewer, s.apiTrouble},
		{"GET", "/api/v1/sessions", viewer, s.apiSessions},
		{"GET", "/api/v1/sessions/{id}", viewer, s.apiSession},
		{"GET", "/api/v1/sessions/{id}/samples", viewer, s.apiSessionSamples},
		{"GET", "/api/v1/sessions/{id}/replay", viewer, s.serveReplay},
		{"GET", "/api/v1/flights", viewer, s.apiFlights},
		{"GET", "/api/v1/flights/{id}", viewer, s.apiFlight},
		{"GET", "/api/v1/flights/{id}/samples", viewer, s.apiFlightSamples},
		{"GET", "/api/v1/flights/{id}/frames", viewer, s.apiFlightFrames},
		{"GET", "/api/v1/flights/{id}/sounder", viewer, s.apiFlightSounder},
		{"GET", "/api/v1/flights/{id}/notes", viewer, s.apiNotes},
		{"POST", "/api/v1/flights/{id}/notes", crew, s.apiAddNote},
		{"POST", "/api/v1/flights/{id}/void", crew, s.apiVoid},
		{"POST", "/api/v1/flights/{id}/correct", crew, s.apiCorrect},
		{"GET", "/api/v1/flights/{id}/export/{format}", viewer, s.apiExport},
		{"POST", soundPath, crew, s.apiHear},
		{"POST", soundPath + "/keep", crew, s.apiKeepSound},
		{"GET", soundPath + "/beep", viewer, s.apiBeep},
		{"GET", "/api/v1/time", viewer, s.apiTime},
		{"POST", "/api/v1/time", crew, s.apiFixTime},

		{"GET", "/healthz", nobody, s.serveHealth},
		{"GET", "/metrics", viewer, s.serveMetrics},
	}
}

// routes builds the handler: the table inside the rules that hold everywhere.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for _, rt := range s.table() {
		mux.Handle(rt.method+" "+rt.pattern, s.guard(rt))
	}
	mux.Handle("/", s.guard(route{pattern: "(none)", needs: nobody, serve: s.noSuchPage}))
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		writeError(w, &apiError{http.StatusForbidden, "the request came from another site", "open the board itself and try again there"})
	}))
	return s.always(cross.Handler(mux))
}

// always sets the headers of every answer and refuses a foreign host name.
func (s *Server) always(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		// Scripts and styles come from our own files only: nothing that a frame
		// or a note contains can become one.
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; "+
			"img-src 'self' data:; connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(self), payment=()")
		if r.ContentLength != 0 {
			// Whoever sends a body sends it now: a byte each few seconds would hold the
			// connection for hours. The server sets the deadline anew for the next request.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyTime))
		}
		if !s.gate.knownHost(r) {
			writeError(w, &apiError{http.StatusForbidden, "the board does not answer to the name " + strconv.Quote(r.Host),
				"open it as http://127.0.0.1:9700, or set a passphrase and listen on a wider address"})
			return
		}
		next.ServeHTTP(w, r)
	})
}

// guard checks who asks and whether the request is forged, serves, and turns an
// error into an answer.
func (s *Server) guard(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begin := time.Now()
		rec := &statusRecorder{ResponseWriter: w}
		err := s.admit(rec, r, rt)
		if err == nil {
			err = rt.serve(rec, r)
		}
		if err != nil && !errors.Is(err, errAnswered) {
			s.answerError(rec, r, err)
		}
		s.metrics.request(rt.pattern, rec.status, time.Since(begin))
	})
}

// bodyTime is how long a request's body may take.
const bodyTime = 10 * time.Second

// errAnswered says that the answer has been given already.
var errAnswered = errors.New("answered")

func (s *Server) admit(w http.ResponseWriter, r *http.Request, rt route) error {
	as, token := s.gate.who(r)
	if as < rt.needs {
		api := strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/metrics"
		switch {
		case as == nobody && !api && r.Method == http.MethodGet:
			http.Redirect(w, r, "/signin?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
			return errAnswered
		case as == nobody:
			return &apiError{http.StatusUnauthorized, "sign in first", "open /signin and give the passphrase"}
		default:
			return &apiError{http.StatusForbidden, "viewers may look but not change anything", "sign in with the crew's passphrase"}
		}
	}
	if as > nobody && r.ContentLength == 0 {
		s.conns.used(r.Context())
	}
	if r.Method == http.MethodPost && rt.needs > nobody {
		r.Body = http.MaxBytesReader(w, r.Body, bodyMost(rt))
		if forged(r, token) {
			return &apiError{http.StatusForbidden, "the request does not carry this page's token",
				"load the page again; a program sends the token from the page's meta element in " + tokenHeader}
		}
	}
	return nil
}

// answerError logs what is the station's own fault and answers.
func (s *Server) answerError(w *statusRecorder, r *http.Request, err error) {
	e := asAPIError(err)
	if e.Status >= http.StatusInternalServerError && e.Status != http.StatusNotImplemented && r.Context().Err() == nil {
		s.opt.Log.Error().Err(err).Str("method", r.Method).Str("path", r.URL.Path).Msg("answer request")
	}
	if w.status != 0 {
		return // too late: the answer has begun
	}
	if strings.HasPrefix(r.URL.Path, "/api/") {
		writeError(w, e)
		return
	}
	s.pageError(w, r, e)
}

func (s *Server) noSuchPage(_ http.ResponseWriter, r *http.Request) error {
	return notFound("page", r.URL.Path, "the board is at /, the interface for programs is described in /api/v1/openapi.json")
}

// statusRecorder remembers the status for the metrics.
type statusRecorder struct {
	http.ResponseWriter
	status int
}

func (w *statusRecorder) WriteHeader(code int) {
	if w.status == 0 {
		w.status = code
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *statusRecorder) Write(b []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return w.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (w *statusRecorder) Unwrap() http.ResponseWriter { return w.ResponseWriter }
