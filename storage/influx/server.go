package influx

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// verdict says what a failed request means for the lines in it.
type verdict int

const (
	// tryAgain: the server is away, busy or full; the lines are not to blame.
	tryAgain verdict = iota
	// refused: token, organisation or bucket are wrong; a person must act.
	refused
	// tooLarge: fewer lines at once may pass.
	tooLarge
	// badLines: the server says that lines are wrong.
	badLines
	// unclear: a 4xx answer that does not say whether the lines are to blame.
	unclear
)

// failure is why the server did not take lines. Its text never holds the token.
type failure struct {
	verdict    verdict
	status     int // HTTP, 0 if there was no answer
	reason     string
	retryAfter time.Duration
	dropped    int // how many lines the server says it dropped, 0 if it does not say
	timeout    bool
}

func (f *failure) Error() string {
	if f.status == 0 {
		return f.reason
	}
	return fmt.Sprintf("HTTP status %d: %s", f.status, f.reason)
}

// server is the far end: the client library with answers made clear.
type server struct {
	opt    Options
	client influxdb2.Client
	write  api.WriteAPIBlocking
}

func newServer(o Options) *server {
	co := influxdb2.DefaultOptions().
		SetHTTPRequestTimeout(uint(max(1, o.Timeout/time.Second))).
		SetApplicationName("padlark").
		SetUseGZip(!loopback(o.URL)) // worth its processor time on a mobile uplink
	c := influxdb2.NewClientWithOptions(o.URL, o.Token, co)
	// Below a second only in tests: the library counts in seconds.
	c.Options().HTTPClient().Timeout = o.Timeout
	return &server{opt: o, client: c, write: c.WriteAPIBlocking(o.Org, o.Bucket)}
}

func loopback(raw string) bool {
	u, err := url.Parse(raw)
	if err != nil {
		return false
	}
	h := u.Hostname()
	return h == "localhost" || h == "::1" || strings.HasPrefix(h, "127.")
}

// close releases the connections.
func (s *server) close() { s.client.Close() }

// lines writes whole lines in one request; nil means that all were taken.
func (s *server) lines(ctx context.Context, text string) *failure {
	err := s.write.WriteRecord(ctx, text)
	if err == nil {
		return nil
	}
	return s.explain(err)
}

// explain sorts an error of the client library.
func (s *server) explain(err error) *failure {
	var he *influxhttp.Error
	if !errors.As(err, &he) || he.StatusCode == 0 {
		var t interface{ Timeout() bool }
		timeout := errors.As(err, &t) && t.Timeout()
		// The address is known: only what was wrong with it.
		said := err.Error()
		if u := (*url.Error)(nil); errors.As(err, &u) {
			said = u.Err.Error()
		}
		return &failure{verdict: tryAgain, reason: s.clean(said), timeout: timeout}
	}
	msg := he.Message
	if msg == "" && he.Header != nil {
		msg = he.Header.Get("X-Influxdb-Error")
	}
	if msg == "" {
		msg = http.StatusText(he.StatusCode)
	}
	f := &failure{status: he.StatusCode, reason: s.clean(msg), retryAfter: time.Duration(he.RetryAfter) * time.Second}
	f.verdict = judge(he.StatusCode, msg)
	if m := droppedCount.FindStringSubmatch(msg); m != nil {
		f.dropped, _ = strconv.Atoi(m[1]) // digits only, by the pattern
	}
	return f
}

var droppedCount = regexp.MustCompile(`dropped=(\d+)`)

// aboutLines are words with which servers blame lines and nothing else. They are
// those of InfluxDB 1.8 and 2 (from their source, models and tsdb).
var aboutLines = []string{
	"partial write", "unable to parse", "field type conflict", "points beyond retention policy",
	"invalid field format", "missing fields", "missing tag", "invalid number", "bad timestamp",
}

func judge(status int, msg string) verdict {
	switch {
	case status == http.StatusRequestEntityTooLarge:
		return tooLarge
	case status == http.StatusUnauthorized, status == http.StatusForbidden, status == http.StatusNotFound:
		return refused
	case status == http.StatusTooManyRequests, status == http.StatusRequestTimeout, status >= 500, status < 400:
		return tryAgain
	}
	low := strings.ToLower(msg)
	for _, w := range aboutLines {
		if strings.Contains(low, w) {
			return badLines
		}
	}
	return unclear
}

// clean makes a server's words fit for a log: short, on one line, and without
// the token, should the server repeat it.
func (s *server) clean(msg string) string {
	if s.opt.Token != "" {
		msg = strings.ReplaceAll(msg, s.opt.Token, "(token)")
		if _, password, ok := strings.Cut(s.opt.Token, ":"); ok && password != "" {
			msg = strings.ReplaceAll(msg, password, "(token)")
		}
	}
	msg = strings.Join(strings.Fields(msg), " ")
	const most = 300
	if len(msg) > most {
		msg = strings.ToValidUTF8(msg[:most], "") + " …"
	}
	return msg
}

// forget deletes all points of a session.
func (s *server) forget(ctx context.Context, session string) error {
	quoted := strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(session)
	body, err := json.Marshal(map[string]string{
		"start": "1970-01-01T00:00:00Z", "stop": "2200-01-01T00:00:00Z", "predicate": `session="` + quoted + `"`,
	})
	if err != nil {
		return fmt.Errorf("delete session %s on the server: %w", session, err)
	}
	svc := s.client.HTTPService()
	where := svc.ServerAPIURL() + "delete?" + url.Values{"org": {s.opt.Org}, "bucket": {s.opt.Bucket}}.Encode()
	asJSON := func(r *http.Request) { r.Header.Set("Content-Type", "application/json") }
	// The library's own call hides the status of the answer.
	refusal := svc.DoPostRequest(ctx, where, bytes.NewReader(body), asJSON, func(r *http.Response) error { return r.Body.Close() })
	if refusal == nil {
		return nil
	}
	f := s.explain(refusal)
	if f.status == http.StatusNotFound || f.status == http.StatusMethodNotAllowed {
		// InfluxDB 1.8 has no such address, but an older language for the same.
		f = s.forgetOld(ctx, session)
	}
	if f != nil {
		return fmt.Errorf("delete session %s on the server: %w", session, f)
	}
	return nil
}

func (s *server) forgetOld(ctx context.Context, session string) *failure {
	db, _, _ := strings.Cut(s.opt.Bucket, "/")
	quoted := strings.NewReplacer(`\`, `\\`, `'`, `\'`).Replace(session)
	form := url.Values{"db": {db}, "q": {`DROP SERIES WHERE "session" = '` + quoted + `'`}}
	where := strings.TrimSuffix(s.opt.URL, "/") + "/query?" + form.Encode()
	var said string
	err := s.client.HTTPService().DoPostRequest(ctx, where, nil, nil, func(r *http.Response) error {
		defer r.Body.Close() //nolint:errcheck // only read from
		body, err := io.ReadAll(io.LimitReader(r.Body, answerMost))
		said = string(body)
		return err
	})
	if err != nil {
		return s.explain(err)
	}
	// This address reports what went wrong within an answer of status 200.
	if strings.Contains(said, `"error"`) {
		return &failure{verdict: refused, status: http.StatusOK, reason: s.clean(said)}
	}
	return nil
}

// answerMost bounds how much of an answer is read.
const answerMost = 16 << 10
