package web

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/storage/report"
)

// pages are the parsed templates: the frame around every page, and one each, in each
// language.
type pages map[phrase.Language]map[string]*template.Template

// pageNames are the templates in the folder, without frame.html.
var pageNames = [...]string{"board", "flights", "flight", "report", "sessions", "replay", "links", "compare", "clock", "sounder", "ready", "keys", "configuration", "alarms", "alarm", "join", "field", "signin", "error"}

// boardModules are what the board's script imports, named in the page so that
// a browser asks for all at once and not one layer after the other.
var boardModules = [...]string{"board.js", "live.js", "picture.js", "cards.js", "place.js", "results.js", "alarms.js", "sound.js", "awake.js", "fit.js", "strips.js",
	"shapes.js", "dom.js", "units.js", "settings.js", "canvas.js", "scale.js"}

func loadPages(a *assets) (pages, error) {
	p := pages{}
	for _, l := range phrase.Languages() {
		byName, err := pagesIn(l, a)
		if err != nil {
			return nil, err
		}
		p[l] = byName
	}
	return p, nil
}

func pagesIn(l phrase.Language, a *assets) (map[string]*template.Template, error) {
	frame := template.New("frame.html").Funcs(template.FuncMap{
		"asset": a.path, "path": url.PathEscape, "pm": plusMinus,
		"modules": func() []string { return boardModules[:] }, "typed": typedNum, "clock": clockTime, "day": dayTime, "span": spanWords, "size": sizeWords,
	})
	parse := func(t *template.Template, name string) error {
		text, err := files.ReadFile("templates/" + name + ".html")
		if err != nil {
			return err
		}
		_, err = t.Parse(inLanguage(string(text), says(l)))
		return err
	}
	for _, name := range []string{"frame", "parts"} {
		if err := parse(frame, name); err != nil {
			return nil, fmt.Errorf("parse the pages' %s: %w", name, err)
		}
	}
	byName := map[string]*template.Template{}
	for _, name := range pageNames {
		t, err := frame.Clone()
		if err != nil {
			return nil, fmt.Errorf("copy the pages' frame: %w", err)
		}
		if err := parse(t, name); err != nil {
			return nil, fmt.Errorf("parse page %s: %w", name, err)
		}
		byName[name] = t
	}
	return byName, nil
}

// pageData is what every template gets.
type pageData struct {
	Title   string
	Here    string // which entry of the navigation this is
	Station string
	Version string
	Token   string
	Role    string
	May     bool // may acknowledge and change
	Open    bool // no sign-in in use
	Doubt   bool // the station's clock is not trusted, and a person can mend it
	Units   reader
	Data    any
}

// render writes a page.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, name, here, title string, data any) error {
	as, token := s.gate.who(r)
	units, err := s.reader(r)
	if err != nil && status == http.StatusOK {
		return err
	}
	// Only a mark beside a link: what is wrong with the clock its page says.
	st, err := s.clockStatus(r)
	doubt := err == nil && s.opt.Clock != nil && !st.Trusted
	var out bytes.Buffer
	err = s.pages[units.Lang()][name].Execute(&out, pageData{
		Title: units.Say(title), Here: here, Station: s.opt.Station, Version: s.opt.Version,
		Token: token, Role: as.String(), May: as == crew, Open: s.gate.open, Doubt: doubt, Units: units, Data: data,
	})
	if err != nil {
		return fmt.Errorf("build page %s: %w", name, err)
	}
	w.Header().Set("Cache-Control", "no-store") // it carries the token
	if status != http.StatusOK {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(status)
		_, _ = w.Write(out.Bytes()) // the viewer may be gone
		return nil
	}
	writeBody(w, r, "text/html; charset=utf-8", out.Bytes())
	return nil
}

func (s *Server) pageError(w http.ResponseWriter, r *http.Request, e *apiError) {
	if err := s.render(w, r, e.Status, "error", "", "Not possible", e); err != nil {
		http.Error(w, e.Message+"\n"+e.Hint, e.Status)
	}
}

func (s *Server) pageBoard(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, "board", "board", "Board", s.boardData())
}

// boardData is what the board's page needs before the stream begins.
func (s *Server) boardData() any {
	names := make([]string, 0, len(s.configured.Load().rockets))
	for _, rk := range s.configured.Load().rockets {
		names = append(names, rk.Name)
	}
	return struct {
		Rockets string // JSON for the script
		Site    string
		Kinds   string
		Views   []rocketView // for browsers without scripts
		Stream  string
		First   string // JSON: the present picture, so that nobody waits for the stream to see it
		Session *Session
	}{string(encode(names)), string(encode(s.configured.Load().site)), kindsOfAlarms(), s.rocketViews(), "/api/v1/live?changes=1", string(encode(s.firstPicture())), nil}
}

// firstPicture is what the stream would say first, without what is no longer
// news and without the traces, which the stream brings in a moment.
func (s *Server) firstPicture() any {
	session, _, _ := s.hub.status()
	p := s.hub.since(0)
	now := s.opt.Now().Truncate(time.Millisecond)
	return struct {
		Hello  helloView  `json:"hello"`
		Update updateView `json:"update"`
	}{
		helloView{Now: now, Station: s.opt.Station, Session: session, Version: s.opt.Version},
		updateView{Now: now, States: p.states, Alarms: p.alarms, Links: p.links, Crowded: p.crowded},
	}
}

func (s *Server) pageReplay(w http.ResponseWriter, r *http.Request) error {
	one, err := s.session(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	flights, err := s.listed(r.Context(), one.ID, "")
	if err != nil {
		return err
	}
	type mark struct {
		Rocket string  `json:"rocket"`
		Flight int     `json:"flight"`
		AtS    float64 `json:"at_s"`
	}
	marks := []mark{}
	for _, f := range flights.Flights {
		if f.LaunchedAt != nil {
			marks = append(marks, mark{f.Rocket, f.Flight, f.LaunchedAt.Sub(one.Epoch).Seconds()})
		}
	}
	slices.SortFunc(marks, func(a, b mark) int { return cmp.Compare(a.AtS, b.AtS) })
	length := 0.0
	if one.Last != nil {
		length = one.Last.Sub(one.Epoch).Seconds()
	}
	return s.render(w, r, http.StatusOK, "replay", "sessions", "Replay", struct {
		Rockets, Site, Kinds, Stream, Marks string
		Session                             *Session
		LengthS                             float64
	}{string(encode(one.Rockets)), string(encode(s.configured.Load().site)), kindsOfAlarms(),
		"/api/v1/sessions/" + url.PathEscape(one.ID) + "/replay", string(encode(marks)), &one, length})
}

func (s *Server) pageFlights(w http.ResponseWriter, r *http.Request) error {
	list, err := s.listed(r.Context(), r.URL.Query().Get("session"), r.URL.Query().Get("rocket"))
	if err != nil {
		return err
	}
	shown, all := list.first(r)
	return s.render(w, r, http.StatusOK, "flights", "flights", "Flights", struct {
		flightList
		Shown  []flightView
		All    string
		Totals totals
	}{list, shown, all, totalsOf(list.Flights)})
}

func (s *Server) pageFlight(w http.ResponseWriter, r *http.Request) error {
	units, err := s.reader(r)
	if err != nil {
		return err
	}
	id, res, err := s.findFlight(r)
	if err != nil {
		return err
	}
	checked, err := s.lastCheckup(r.Context(), units, res.Rocket)
	if err != nil {
		return err
	}
	corrected, err := s.corrected(r.Context(), id)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "flight", "flights", fmt.Sprintf("%s, %s %d", res.Rocket, units.Say("flight"), res.Flight), struct {
		ID      string
		Result  flight.Result
		Rows    []resultRow
		Notes   bool
		Checked string
		Voids   bool
		Void    bool
		Correct bool // flights may be corrected here
		Was     string
	}{id.String(), res, units.resultRows(res), s.opt.Notes != nil, checked, s.opt.Voids != nil, res.Level == flight.Void,
		s.opt.Corrector != nil, corrected})
}

// lastCheckup says when a rocket's altimeter was last checked on the bench, and
// with what verdict; empty where nobody knows of checkups.
func (s *Server) lastCheckup(ctx context.Context, units reader, rocket string) (string, error) {
	if s.opt.Checkups == nil {
		return "", nil
	}
	at, verdict, ok, err := s.opt.Checkups.LastCheckup(ctx, rocket)
	if err != nil {
		return "", err
	}
	if !ok {
		return units.Say("never (padlark checkup does it)"), nil
	}
	return at.Local().Format("2006-01-02 15:04") + ", " + verdict, nil
}

func (s *Server) pageReport(w http.ResponseWriter, r *http.Request) error {
	units, err := s.reader(r)
	if err != nil {
		return err
	}
	d, err := s.detail(r)
	if err != nil {
		return err
	}
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	course, expected, err := s.courses(r.Context(), id)
	if err != nil {
		return err
	}
	notes, err := s.notesOn(r.Context(), id)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "report", "flights", fmt.Sprintf("%s: %s, %s %d", units.Say("Report"), id.Rocket, units.Say("flight"), id.Flight), struct {
		*flightDetail
		Rows  []resultRow
		Plot  template.HTML
		Notes []storage.Note
	}{d, units.resultRows(d.Result), template.HTML(flightPicture(d.Result, course, expected, units).SVG()), notes}) // #nosec: the chart escapes its texts
}

func (s *Server) pageSessions(w http.ResponseWriter, r *http.Request) error {
	list, err := s.sessionList(r.Context())
	if err != nil {
		return err
	}
	flights, err := s.listed(r.Context(), "", "")
	if err != nil {
		return err
	}
	count := map[string]int{}
	for _, f := range flights.Flights {
		count[f.Session]++
	}
	return s.render(w, r, http.StatusOK, "sessions", "sessions", "Sessions", struct {
		Sessions []Session
		Flights  map[string]int
	}{list, count})
}

func (s *Server) pageLinks(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, "links", "links", "Links", s.hub.healths())
}

func (s *Server) pageField(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, "field", "field", "Field", string(encode(s.configured.Load().site)))
}

func (s *Server) pageCompare(w http.ResponseWriter, r *http.Request) error {
	list, err := s.listed(r.Context(), "", "")
	if err != nil {
		return err
	}
	views := list.Flights
	chosen := map[string]bool{}
	for _, id := range r.URL.Query()["flight"] {
		chosen[id] = true
	}
	rocket := r.URL.Query().Get("rocket")
	// Whoever asks for nothing sees the two newest of the rocket that flew last, and
	// how the page works.
	if len(chosen) == 0 && rocket == "" && len(views) > 0 {
		rocket = views[0].Rocket
	}
	var rockets []string
	for _, v := range views {
		if !slices.Contains(rockets, v.Rocket) {
			rockets = append(rockets, v.Rocket)
		}
	}
	room := shownFirst
	views = slices.DeleteFunc(views, func(v flightView) bool {
		if rocket != "" && rocket != allRockets && v.Rocket != rocket && !chosen[v.ID] {
			return true
		}
		room--
		return room < 0 && !chosen[v.ID]
	})
	for i := 0; len(r.URL.Query()["flight"]) == 0 && i < min(2, len(views)); i++ {
		chosen[views[i].ID] = true
	}
	shown, any, err := s.withSetups(r.Context(), views)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "compare", "compare", "Compare", struct {
		Flights []comparedView
		Any     report.Typed // which columns have anything
		Chosen  map[string]bool
		Rockets []string
		Rocket  string
	}{shown, any, chosen, rockets, rocket})
}

// allRockets stands for every rocket where one is asked for.
const allRockets = "*"

func (s *Server) pageClock(w http.ResponseWriter, r *http.Request) error {
	st, err := s.clockStatus(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "clock", "clock", "Clock", struct {
		ClockStatus
		CanFix bool
	}{st, s.opt.Clock != nil})
}

// signInData is what the sign-in page shows.
type signInData struct {
	Next   string
	Wrong  bool
	WaitS  int
	Viewer bool // there is a viewers' passphrase too
}

func (s *Server) pageSignIn(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, "signin", "", "Sign in", signInData{Next: ownPath(r.URL.Query().Get("next")), Viewer: s.gate.viewer != nil})
}

// signIn checks a passphrase. Cross-origin forms never get here.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, 8<<10)
	if err := r.ParseForm(); err != nil {
		return &apiError{http.StatusBadRequest, "the form cannot be read", "load /signin and try again"}
	}
	data := signInData{Next: ownPath(r.PostForm.Get("next")), Viewer: s.gate.viewer != nil}
	if s.gate.open {
		http.Redirect(w, r, data.Next, http.StatusSeeOther)
		return nil
	}
	cookie, _, wait := s.gate.enter(r.Context(), clientAddr(r), r.PostForm.Get("passphrase"))
	switch {
	case wait > 0:
		data.WaitS = int(wait.Seconds())
		w.Header().Set("Retry-After", fmt.Sprint(data.WaitS))
		return s.render(w, r, http.StatusTooManyRequests, "signin", "", "Sign in", data)
	case cookie == "":
		data.Wrong = true
		s.opt.Log.Warn().Str("from", clientAddr(r)).Msg("wrong passphrase for the board")
		return s.render(w, r, http.StatusForbidden, "signin", "", "Sign in", data)
	}
	http.SetCookie(w, signInCookie(cookie, r.TLS != nil, int(signedInFor/time.Second)))
	http.Redirect(w, r, data.Next, http.StatusSeeOther)
	return nil
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request) error {
	s.gate.leave(r)
	http.SetCookie(w, signInCookie("", r.TLS != nil, -1))
	http.Redirect(w, r, "/signin", http.StatusSeeOther)
	return nil
}

// ownPath is a path of this site to go on to, or the board: a link to sign in
// must not lead elsewhere.
func ownPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(next, "/") ||
		strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n\t") {
		return "/"
	}
	return next
}

func (s *Server) serveOpenAPI(w http.ResponseWriter, r *http.Request) error {
	body, err := files.ReadFile("api/openapi.json")
	if err != nil {
		return fmt.Errorf("read the API description: %w", err)
	}
	if !json.Valid(body) {
		return fmt.Errorf("read the API description: it is not JSON")
	}
	writeBody(w, r, "application/json; charset=utf-8", body)
	return nil
}
