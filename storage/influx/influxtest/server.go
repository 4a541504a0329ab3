package influxtest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// What a started server with authorisation knows.
const (
	User     = "club"
	password = "plum-stone-73"
)

// Server is a running server on the folder of a test.
type Server struct {
	URL      string
	Auth     bool
	Database string // that of Count, and the bucket for the v2 addresses

	t   testing.TB
	two *two // nil unless it is InfluxDB 2
	*process
}

// process is the running program, shared by the views of a server.
type process struct {
	make  func() *exec.Cmd
	ready string // address that answers once it is up
	cmd   *exec.Cmd
	log   bytes.Buffer
	count int // databases made
}

// NewDatabase is the same server with a new database for one test.
func (s *Server) NewDatabase(t testing.TB) *Server {
	t.Helper()
	s.count++
	n := *s
	n.t, n.Database = t, fmt.Sprintf("padlark%d", s.count)
	if n.two != nil {
		var made struct{ ID string }
		n.post("/api/v2/buckets", map[string]string{"orgID": n.two.orgID, "name": n.Database}, &made)
		return &n
	}
	n.InfluxQL("", "CREATE DATABASE "+n.Database)
	return &n
}

// Influx starts InfluxDB 1.8 with an empty database. With auth it knows one
// user, whose token is "User:Password". The test is skipped if influxd is not
// there, or fails if PADLARK_CI=1.
func Influx(t testing.TB, auth bool) *Server {
	t.Helper()
	bin := find(t, "influxd", "go install github.com/influxdata/influxdb/cmd/influxd@v1.8.10, outside of the module")
	dir, addr := t.TempDir(), freeAddr(t)
	config := filepath.Join(dir, "influxdb.conf")
	text := fmt.Sprintf("reporting-disabled = true\nbind-address = %q\n[meta]\n  dir = %q\n[data]\n  dir = %q\n  wal-dir = %q\n"+
		"[http]\n  bind-address = %q\n  flux-enabled = true\n  auth-enabled = %t\n  log-enabled = false\n[monitor]\n  store-enabled = false\n",
		freeAddr(t), filepath.Join(dir, "meta"), filepath.Join(dir, "data"), filepath.Join(dir, "wal"), addr, auth)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s := &Server{t: t, URL: "http://" + addr, Auth: auth, Database: "padlark", process: &process{ready: "http://" + addr + "/ping"}}
	s.make = func() *exec.Cmd { return exec.Command(bin, "-config", config) }
	t.Cleanup(s.Kill)
	s.Start()
	if auth {
		s.InfluxQL("", "CREATE USER "+User+" WITH PASSWORD '"+password+"' WITH ALL PRIVILEGES")
	}
	s.InfluxQL("", "CREATE DATABASE "+s.Database)
	return s
}

// Victoria starts an empty VictoriaMetrics that shows new points at once.
func Victoria(t testing.TB) *Server {
	t.Helper()
	bin := find(t, "victoria-metrics", "apt-get install victoria-metrics")
	dir, addr := t.TempDir(), freeAddr(t)
	s := &Server{t: t, URL: "http://" + addr, Database: "padlark", process: &process{ready: "http://" + addr + "/health"}}
	s.make = func() *exec.Cmd {
		return exec.Command(bin, "-storageDataPath="+dir, "-httpListenAddr="+addr, "-retentionPeriod=100y",
			"-search.latencyOffset=0s", "-memory.allowedBytes=64MB", "-search.disableCache", "-dedup.minScrapeInterval=1ms")
	}
	t.Cleanup(s.Kill)
	s.Start()
	return s
}

// find looks for a program in PATH and where go install puts it.
func find(t testing.TB, name, get string) string {
	t.Helper()
	if p, err := exec.LookPath(name); err == nil {
		return p
	}
	out, err := exec.Command("go", "env", "GOBIN", "GOPATH").Output()
	if err == nil {
		lines := strings.Split(string(out), "\n")
		for _, dir := range []string{lines[0], filepath.Join(lines[1], "bin")} {
			if p, err := exec.LookPath(filepath.Join(dir, name)); dir != "" && err == nil {
				return p
			}
		}
	}
	Missing(t, name+" is not here: "+get)
	return ""
}

// Missing skips a test for want of something, or fails it where everything has
// to be there.
func Missing(t testing.TB, why string) {
	t.Helper()
	if os.Getenv("PADLARK_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

func freeAddr(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // only to find a port
	return l.Addr().String()
}

// Start starts the server on what it had stored, and waits until it answers.
func (s *Server) Start() {
	s.t.Helper()
	if err := s.start(); err != nil {
		s.t.Fatal(err)
	}
}

func (p *process) start() error {
	p.cmd = p.make()
	p.cmd.Stdout, p.cmd.Stderr = &p.log, &p.log
	if err := p.cmd.Start(); err != nil {
		return fmt.Errorf("start server: %w", err)
	}
	for end := time.Now().Add(60 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		resp, err := http.Get(p.ready)
		if err == nil {
			resp.Body.Close()
			if resp.StatusCode < 300 {
				return nil
			}
		}
		if time.Now().After(end) {
			p.kill()
			return fmt.Errorf("server did not come up: %w\n%s", err, p.log.String())
		}
	}
}

// Kill ends the server at once, as a crash would. It may be started again.
func (s *Server) Kill() { s.kill() }

func (p *process) kill() {
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Kill() // it may have ended already
	_ = p.cmd.Wait()         // and then there is nothing to report
	p.cmd = nil
}

// Token is what the writer needs.
func (s *Server) Token() string {
	switch {
	case !s.Auth:
		return ""
	case s.two != nil:
		return s.two.token
	}
	return User + ":" + password
}

// Row is one point of an answer, by column.
type Row map[string]any

// InfluxQL runs a statement on a database and returns all rows; times are whole
// ns as json.Number, as are all numbers.
func (s *Server) InfluxQL(db, q string) []Row {
	s.t.Helper()
	form := url.Values{"db": {db}, "q": {q}, "epoch": {"ns"}}
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.URL+"/query", strings.NewReader(form.Encode()))
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	switch {
	case s.two != nil:
		req.Header.Set("Authorization", "Token "+s.two.token)
	case s.Auth:
		req.SetBasicAuth(User, password)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatalf("query %s: %v", q, err)
	}
	defer resp.Body.Close()
	var out struct {
		Error   string
		Results []struct {
			Error  string
			Series []struct {
				Columns []string
				Tags    map[string]string
				Values  [][]any
			}
		}
	}
	dec := json.NewDecoder(resp.Body)
	dec.UseNumber()
	if err := dec.Decode(&out); err != nil {
		s.t.Fatalf("query %s: %v", q, err)
	}
	var rows []Row
	for _, r := range out.Results {
		out.Error += r.Error
		for _, series := range r.Series {
			for _, v := range series.Values {
				row := Row{}
				for i, c := range series.Columns {
					row[c] = v[i]
				}
				for k, v := range series.Tags {
					row[k] = v
				}
				rows = append(rows, row)
			}
		}
	}
	if out.Error != "" {
		s.t.Fatalf("query %s: %s", q, out.Error)
	}
	return rows
}

// Count is the number of points of a measurement that have the field.
func (s *Server) Count(measurement, field string) int {
	s.t.Helper()
	rows := s.InfluxQL(s.Database, fmt.Sprintf("SELECT count(%q) FROM %q", field, measurement))
	if len(rows) == 0 {
		return 0
	}
	n, err := rows[0]["count"].(json.Number).Int64()
	if err != nil {
		s.t.Fatal(err)
	}
	return int(n)
}

// Get reads an address of the server.
func (s *Server) Get(path string) string {
	s.t.Helper()
	resp, err := http.Get(s.URL + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		s.t.Fatalf("get %s: %s %v %s", path, resp.Status, err, body)
	}
	return string(body)
}
