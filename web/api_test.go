package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
)

// live fills a server with a picture: the first 40 s of a session.
func live(t *testing.T) (*invented, *Server, string) {
	t.Helper()
	v := recorded()
	opt := v.options()
	opt.Now = func() time.Time { return inventedEpoch.Add(40 * time.Second) }
	opt.Copier, opt.Uplink = waitingCopy{}, waitingUplink{}
	s, base := serve(t, opt)
	e := newEngine("20250614-093000-efgh", inventedEpoch)
	all := v.samples["20250614-093000-efgh"]
	for i := range all {
		if all[i].Passed > int64(40*time.Second) {
			break
		}
		f := frameOf(&all[i])
		v.publish(Message{Frame: &f})
		v.publish(Message{Sample: &all[i]})
		out := e.Sample(&all[i])
		for k := range out.Events {
			v.publish(Message{Event: &out.Events[k]})
		}
	}
	v.publishStates(e)
	v.publish(Message{Alarm: &flight.Alarm{Session: "20250614-093000-efgh", ID: "Rust 1 ballistic", Change: 1, Rocket: "Rust", Kind: "ballistic",
		Priority: flight.LookUp, Active: true, RaisedAt: inventedEpoch, ChangedAt: inventedEpoch, Say: "Look up", Reason: "a test"}})
	return v, s, base
}

// ask sends a request and returns the status, header and body.
func ask(t *testing.T, method, address, body string, header ...string) (int, http.Header, []byte) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	// No transparent gzip and no following of redirects: the tests look at both.
	client := &http.Client{
		Transport:     &http.Transport{DisableCompression: true, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	res, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	out, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, res.Header, out
}

var teal = "/api/v1/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1")

// A rocket with a receiver: where it came down, its path, and where it is now.
func TestPositionsInAPI(t *testing.T) {
	_, _, base := live(t)
	var d struct {
		Track   struct{ T_s, East_m, North_m, Height_m []float64 }
		Landing *flight.Landing
		Result  flight.Result
	}
	_, _, body := ask(t, "GET", base+teal, "")
	if err := json.Unmarshal(body, &d); err != nil {
		t.Fatal(err)
	}
	// The invented wind: 3 m/s east and 1 m/s north from the top on.
	fell := d.Result.TouchdownAt.Sub(*d.Result.ApogeeAt).Seconds()
	l := d.Landing
	if l == nil || l.Source != flight.FromGPS || math.Abs(l.EastM-3*fell) > 5 || math.Abs(l.NorthM-fell) > 3 || math.Abs(l.BearingDeg-71.6) > 1 {
		t.Fatalf("fell for %.1f s, landing %+v", fell, l)
	}
	if n := len(d.Track.T_s); n < 20 || len(d.Track.East_m) != n || len(d.Track.Height_m) != n || math.Abs(d.Track.East_m[n-1]-l.EastM) > 4 {
		t.Errorf("track %+v", d.Track)
	}
	var rockets []struct{ State *flight.State }
	_, _, body = ask(t, "GET", base+"/api/v1/rockets", "")
	if err := json.Unmarshal(body, &rockets); err != nil {
		t.Fatal(err)
	}
	st := rockets[0].State // it is coming down
	if p := st.Position; p == nil || p.Source != flight.FromGPS || math.Abs(p.BearingDeg-71.6) > 1 || p.ElevationDeg == nil ||
		math.Abs(*p.ElevationDeg-math.Atan2(*st.AltitudeM, p.RangeM)*180/math.Pi) > 0.2 {
		t.Errorf("%s: position %+v", st.Phase, p)
	}
}

// TestAnswersFitDescription asks every address of the API and checks the answer
// against the description that is served beside it.
func TestAnswersFitDescription(t *testing.T) {
	_, s, base := live(t)
	_, _, raw := ask(t, "GET", base+"/api/v1/openapi.json", "")
	spec := readSpec(t, raw)

	token := []string{tokenHeader, s.gate.openToken, "Content-Type", "application/json"}
	wav, err := ear{}.Beep("", 42)
	if err != nil {
		t.Fatal(err)
	}
	tones, err := ear{}.Hear(t.Context(), "", bytes.NewReader(wav))
	if err != nil || len(tones) != 1 {
		t.Fatalf("%d tones, %v", len(tones), err)
	}
	strip := base64.StdEncoding.EncodeToString(tones[0].Strip)
	calls := []struct {
		method, path, at, body string // path as described, address asked
		want                   int
	}{
		{"GET", "/openapi.json", "/api/v1/openapi.json", "", 200},
		{"GET", "/rockets", "/api/v1/rockets", "", 200},
		{"GET", "/links", "/api/v1/links", "", 200},
		{"GET", "/links/{link}/frames", "/api/v1/links/pad-radio/frames", "", 200},
		{"GET", "/links/{link}/guess", "/api/v1/links/pad-radio/guess", "", 200},
		{"GET", "/copy", "/api/v1/copy", "", 200},
		{"GET", "/uplink", "/api/v1/uplink", "", 200},
		{"GET", "/alarms", "/api/v1/alarms", "", 200},
		{"POST", "/alarms/ack", "/api/v1/alarms/ack", `{"id":"Rust 1 ballistic"}`, 204},
		{"GET", "/sessions", "/api/v1/sessions", "", 200},
		{"GET", "/sessions/{id}", "/api/v1/sessions/20250614-093000-efgh", "", 200},
		{"GET", "/sessions/{id}/samples", "/api/v1/sessions/20250614-093000-efgh/samples?rocket=Teal&points=50", "", 200},
		{"GET", "/flights", "/api/v1/flights?rocket=Teal", "", 200},
		{"GET", "/flights/{id}", teal, "", 200},
		{"GET", "/flights/{id}/samples", teal + "/samples?channels=cell_v,pressure_pa&from_s=-1&to_s=5&points=30", "", 200},
		{"GET", "/flights/{id}/frames", teal + "/frames?at_s=3", "", 200},
		{"GET", "/flights/{id}/sounder", teal + "/sounder", "", 200},
		{"POST", "/flights/{id}/notes", teal + "/notes", `{"text":"0.6 l, 5 bar"}`, 200},
		{"GET", "/flights/{id}/notes", teal + "/notes", "", 200},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{"rocket":" Gold "}`, 200},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{"split_s":95.5}`, 200},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{"undo":true}`, 200},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{"join":true}`, 409},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{"rocket":"a~b"}`, 400},
		{"POST", "/flights/{id}/correct", teal + "/correct", `{}`, 400},
		{"POST", "/flights/{id}/void", teal + "/void", `{"void":true,"why":"a bump"}`, 200},
		{"GET", "/flights/{id}/export/{format}", teal + "/export/csv", "", 200},
		{"GET", "/time", "/api/v1/time", "", 200},
		{"POST", "/time", "/api/v1/time", `{"session_time":"2025-06-14T09:30:00Z","true_time":"2025-06-14T12:30:00Z","sd_s":0.02}`, 200},
		{"POST", "/trouble", "/api/v1/trouble", `{"page":"/","errors":3,"last":"a rocket's state: s is null"}`, 204},
		{"GET", "/sounder/beep", "/api/v1/sounder/beep?number=42", "", 200},
		{"POST", "/sounder", "/api/v1/sounder", string(wav), 200},
		{"POST", "/sounder/keep", "/api/v1/sounder/keep", `{"layout":"my-sounder","rocket":"Teal","strip":"` + strip + `"}`, 200},
		// The streams are described; their events are tested with the stream.
		{"GET", "/live", "", "", 0},
		{"GET", "/sessions/{id}/replay", "", "", 0},
	}
	var called []string
	for _, c := range calls {
		called = append(called, c.method+" "+c.path)
		if c.at == "" {
			continue
		}
		code, h, body := ask(t, c.method, base+c.at, c.body, token...)
		if code != c.want {
			t.Errorf("%s %s: status %d, want %d: %s", c.method, c.at, code, c.want, body)
			continue
		}
		spec.check(t, c.method, c.path, code, h.Get("Content-Type"), body)
	}
	var described, served []string
	for path, methods := range spec.Paths {
		for m := range methods {
			described = append(described, strings.ToUpper(m)+" "+path)
		}
	}
	for _, rt := range s.table() {
		if p, ok := strings.CutPrefix(rt.pattern, "/api/v1"); ok {
			served = append(served, rt.method+" "+p)
		}
	}
	slices.Sort(described)
	slices.Sort(served)
	slices.Sort(called)
	called = slices.Compact(called) // some are called in several ways
	if d := cmp.Diff(served, described); d != "" {
		t.Errorf("described (+) and served (-) differ:\n%s", d)
	}
	if d := cmp.Diff(described, called); d != "" {
		t.Errorf("called (+) and described (-) differ:\n%s", d)
	}
}

// spec is as much of OpenAPI 3.1 and JSON Schema as our description uses.
type spec struct {
	Paths map[string]map[string]struct {
		Responses map[string]struct {
			Content map[string]struct{ Schema *schema }
		}
	}
	Components struct{ Schemas map[string]*schema }
}

type schema struct {
	Ref                  string `json:"$ref"`
	OneOf                []*schema
	Type                 any // a name or a list of names
	Enum                 []any
	Format               string
	Required             []string
	Properties           map[string]*schema
	AdditionalProperties any
	Items                *schema
}

func readSpec(t *testing.T, raw []byte) *spec {
	t.Helper()
	var s spec
	if err := json.Unmarshal(raw, &s); err != nil {
		t.Fatal(err)
	}
	return &s
}

func (s *spec) check(t *testing.T, method, path string, code int, kind string, body []byte) {
	t.Helper()
	responses := s.Paths[path][strings.ToLower(method)].Responses
	r, ok := responses[fmt.Sprint(code)]
	if !ok {
		r = responses["default"]
	}
	kind, _, _ = strings.Cut(kind, ";")
	if len(r.Content) == 0 {
		if len(body) > 0 {
			t.Errorf("%s %s: a body of %d bytes that is not described", method, path, len(body))
		}
		return
	}
	c, ok := r.Content[kind]
	if !ok {
		t.Errorf("%s %s: answers %q, described are %v", method, path, kind, slices.Collect(maps.Keys(r.Content)))
		return
	}
	if c.Schema == nil || kind != "application/json" {
		return
	}
	var v any
	if err := json.Unmarshal(body, &v); err != nil {
		t.Errorf("%s %s: %v", method, path, err)
		return
	}
	if err := s.fits(c.Schema, v); err != nil {
		t.Errorf("%s %s: %v\nin %.600s", method, path, err, body)
	}
}

// fits says where a value does not fit a schema.
func (s *spec) fits(sc *schema, v any) error {
	if sc.Ref != "" {
		name := strings.TrimPrefix(sc.Ref, "#/components/schemas/")
		to := s.Components.Schemas[name]
		if to == nil {
			return fmt.Errorf("no schema %s", name)
		}
		return s.fits(to, v)
	}
	if len(sc.OneOf) > 0 {
		var errs []string
		for _, o := range sc.OneOf {
			err := s.fits(o, v)
			if err == nil {
				return nil
			}
			errs = append(errs, err.Error())
		}
		return fmt.Errorf("none of: %s", strings.Join(errs, "; "))
	}
	if err := s.fitsType(sc, v); err != nil {
		return err
	}
	switch x := v.(type) {
	case map[string]any:
		return s.fitsObject(sc, x)
	case []any:
		for i, e := range x {
			if sc.Items == nil {
				return fmt.Errorf("a list whose items are not described")
			}
			if err := s.fits(sc.Items, e); err != nil {
				return fmt.Errorf("[%d]: %w", i, err)
			}
		}
	case string:
		if sc.Format == "date-time" {
			if _, err := time.Parse(time.RFC3339Nano, x); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *spec) fitsType(sc *schema, v any) error {
	is := "null"
	switch x := v.(type) {
	case string:
		is = "string"
	case bool:
		is = "boolean"
	case float64:
		is = "number"
		if x == math.Trunc(x) {
			is = "integer"
		}
	case []any:
		is = "array"
	case map[string]any:
		is = "object"
	}
	var may []any
	switch x := sc.Type.(type) {
	case string:
		may = []any{x}
	case []any:
		may = x
	}
	if !slices.Contains(may, any(is)) && !(is == "integer" && slices.Contains(may, any("number"))) {
		return fmt.Errorf("is %s, described as %v", is, may)
	}
	if len(sc.Enum) > 0 && !slices.Contains(sc.Enum, v) {
		return fmt.Errorf("is %v, described as one of %v", v, sc.Enum)
	}
	return nil
}

func (s *spec) fitsObject(sc *schema, x map[string]any) error {
	for _, name := range sc.Required {
		if _, ok := x[name]; !ok {
			return fmt.Errorf("%s is missing", name)
		}
	}
	for name, e := range x {
		p := sc.Properties[name]
		if p == nil {
			extra, ok := sc.AdditionalProperties.(map[string]any)
			if !ok {
				if sc.AdditionalProperties == false {
					return fmt.Errorf("%s is not described", name)
				}
				continue
			}
			p = &schema{Type: extra["type"]}
		}
		if err := s.fits(p, e); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// TestCheckerFindsFaults keeps the checker above honest.
func TestCheckerFindsFaults(t *testing.T) {
	sp := &spec{}
	sp.Components.Schemas = map[string]*schema{"A": {Type: "object", Required: []string{"n"}, AdditionalProperties: false,
		Properties: map[string]*schema{"n": {Type: []any{"number", "null"}}, "t": {Type: "string", Format: "date-time"}}}}
	a := &schema{Ref: "#/components/schemas/A"}
	for body, ok := range map[string]bool{
		`{"n":1}`: true, `{"n":null,"t":"2025-06-14T09:30:00Z"}`: true,
		`{}`: false, `{"n":"1"}`: false, `{"n":1,"x":2}`: false, `{"n":1,"t":"today"}`: false, `[]`: false,
	} {
		var v any
		if err := json.Unmarshal([]byte(body), &v); err != nil {
			t.Fatal(err)
		}
		if err := sp.fits(a, v); (err == nil) != ok {
			t.Errorf("%s: %v, want fit %v", body, err, ok)
		}
	}
}

func TestErrorsSayHowToMend(t *testing.T) {
	_, s, base := live(t)
	for _, c := range []struct {
		method, at, body string
		code             int
		says             string
	}{
		{"GET", "/api/v1/flights/nonsense", "", 400, "session~rocket~number"},
		{"GET", "/api/v1/flights/x~Teal~7", "", 404, "/flights"},
		{"GET", "/api/v1/sessions/x", "", 404, "/sessions"},
		{"GET", teal + "/samples?channels=mood", "", 400, "pressure_pa"},
		{"GET", teal + "/samples?from_s=5&to_s=1", "", 400, "after from_s"},
		{"GET", teal + "/samples?from_s=NaN", "", 400, "number of seconds"},
		{"GET", teal + "/samples?points=0", "", 400, "1 to 4000"},
		{"GET", teal + "/export/xls", "", 400, "csv, parquet and svg"},
		{"GET", teal + "/export/parquet", "", 501, "padlark run"},
		{"GET", "/api/v1/live?hz=90", "", 400, "1 to 20"},
		{"GET", "/api/v1/links/none/frames", "", 404, "/api/v1/links"},
		{"GET", "/api/v1/sessions/20250614-093000-efgh/samples?rocket=Nobody", "", 400, "Teal"},
		{"GET", "/api/v1/sessions/20250614-093000-efgh/replay?speed=-1", "", 400, "0 (stand still) to 64"},
		{"POST", "/api/v1/alarms/ack", `{"id":"no such"}`, 404, "/api/v1/alarms"},
		{"POST", "/api/v1/alarms/ack", `{"ID":`, 400, "openapi"},
		{"POST", "/api/v1/alarms/ack", `{"id":"a","who":"b"}`, 400, "openapi"},
		{"POST", teal + "/notes", `{"text":"   "}`, 400, "1 to 4000"},
		{"POST", teal + "/notes", `{"text":"` + strings.Repeat("x", 70_000) + `"}`, 413, "at most"},
		{"POST", "/api/v1/time", `{"session_time":"2025-06-14T09:30:00Z","true_time":"1970-01-01T00:00:00Z","sd_s":0.1}`, 400, "set it first"},
		{"POST", "/api/v1/time", `{"session_time":"2025-06-14T09:30:00Z","true_time":"2025-06-14T09:30:00Z","sd_s":60}`, 400, "up to 5 s"},
		{"GET", "/api/v1/nothing", "", 404, "openapi.json"},
	} {
		code, h, body := ask(t, c.method, base+c.at, c.body, tokenHeader, s.gate.openToken, "Content-Type", "application/json")
		var e struct{ Error, Hint string }
		if err := json.Unmarshal(body, &e); err != nil || code != c.code || !strings.Contains(e.Error+" "+e.Hint, c.says) || e.Hint == "" {
			t.Errorf("%s %s: %d %s (%v), want %d and %q", c.method, c.at, code, body, err, c.code, c.says)
		}
		if kind := h.Get("Content-Type"); kind != "application/json; charset=utf-8" {
			t.Errorf("%s: content type %q", c.at, kind)
		}
	}
}

func TestUnchangedAndCompressed(t *testing.T) {
	_, s, base := live(t)
	code, h, plain := ask(t, "GET", base+"/api/v1/flights", "")
	tag := h.Get("ETag")
	if code != 200 || tag == "" || h.Get("Content-Encoding") != "" {
		t.Fatalf("status %d, tag %q, encoding %q", code, tag, h.Get("Content-Encoding"))
	}
	if code, _, body := ask(t, "GET", base+"/api/v1/flights", "", "If-None-Match", tag); code != 304 || len(body) != 0 {
		t.Errorf("unchanged: status %d with %d bytes, want 304 and none", code, len(body))
	}
	_, h, zipped := ask(t, "GET", base+"/api/v1/flights", "", "Accept-Encoding", "br, gzip")
	if h.Get("Content-Encoding") != "gzip" || len(zipped) >= len(plain) {
		t.Fatalf("encoding %q, %d bytes of %d", h.Get("Content-Encoding"), len(zipped), len(plain))
	}
	z, err := gzip.NewReader(bytes.NewReader(zipped))
	if err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(z)
	if err != nil || !bytes.Equal(got, plain) {
		t.Errorf("unzipped differs (%v)", err)
	}
	if _, h, _ := ask(t, "GET", base+"/api/v1/flights", "", "Accept-Encoding", "gzip;q=0"); h.Get("Content-Encoding") != "" {
		t.Error("gzip sent to one who refuses it")
	}
	path, err := s.assets.path("board.js")
	if err != nil {
		t.Fatal(err)
	}
	if _, h, _ := ask(t, "GET", base+path, ""); !strings.Contains(h.Get("Cache-Control"), "immutable") {
		t.Errorf("an asset of this version: Cache-Control %q", h.Get("Cache-Control"))
	}
	if _, h, _ := ask(t, "GET", base+"/static/old/board.js", ""); h.Get("Cache-Control") != "no-cache" {
		t.Errorf("an asset of another version: Cache-Control %q", h.Get("Cache-Control"))
	}
}

func TestExportCSV(t *testing.T) {
	_, _, base := live(t)
	code, h, body := ask(t, "GET", base+teal+"/export/csv", "")
	lines := strings.Split(strings.TrimSpace(string(body)), "\n")
	if code != 200 || !strings.Contains(h.Get("Content-Disposition"), `filename="20250614-093000-efgh~Teal~1.csv"`) {
		t.Errorf("status %d, disposition %q", code, h.Get("Content-Disposition"))
	}
	if want := "at,t_s,pressure_pa,temperature_c,cell_v,release_us,release_on,armed,latitude_deg,longitude_deg"; lines[0] != want {
		t.Errorf("head %q, want %q", lines[0], want)
	}
	if ok, _ := regexp.MatchString(`^2025-06-14T09:30:[12]\d\.\d{6}Z,-[45]\.\d{6},100\d{3},21\.5,3\.9\d+,1100,0,0,52\.1\d*,5\.3$`, lines[1]); !ok {
		t.Errorf("first line %q", lines[1])
	}
	if len(lines) < 400 {
		t.Errorf("%d lines", len(lines))
	}
}

func TestHealthAndMetrics(t *testing.T) {
	v := recorded()
	opt := v.options()
	sick := error(nil)
	opt.Healthy = func() error { return sick }
	_, base := serve(t, opt)
	if code, _, body := ask(t, "GET", base+"/healthz", ""); code != 200 || string(body) != "ok\n" {
		t.Errorf("well: %d %q", code, body)
	}
	sick = context.DeadlineExceeded
	if code, _, _ := ask(t, "GET", base+"/healthz", ""); code != 503 {
		t.Errorf("sick: %d", code)
	}
	h := 42.5
	v.publish(Message{State: &flight.State{Session: "s", Rocket: "Te\"al\n", AltitudeM: &h, Frames: 9, Heard: time.Now()}})
	_, kind, body := ask(t, "GET", base+"/metrics", "")
	for _, want := range []string{
		`padlark_rocket_height_metres{rocket="Te\"al\n"} 42.5`, `padlark_rocket_frames_total{rocket="Te\"al\n"} 9`,
		`padlark_web_requests_total{code="503",route="/healthz"} 1`, `padlark_alarms{priority="1"} 0`, "padlark_web_viewers 0",
	} {
		if !strings.Contains(string(body), want) {
			t.Errorf("no %s in the metrics", want)
		}
	}
	if !strings.HasPrefix(kind.Get("Content-Type"), "text/plain") {
		t.Errorf("content type %q", kind.Get("Content-Type"))
	}
}
