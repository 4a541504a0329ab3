package influxtest

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// envTwo names the variable with the path of an InfluxDB 2 server. Nothing
// installs one in the time that a test run has: a person who has one runs the
// tests with it.
const envTwo = "PADLARK_INFLUXD2"

// two is what only InfluxDB 2 has.
type two struct{ token, org, orgID string }

// Influx2 starts InfluxDB 2 and sets it up as the container of docker-compose.yml
// does: a first user, an organisation, a bucket, and a token that may do all.
func Influx2(t testing.TB) *Server {
	t.Helper()
	bin := os.Getenv(envTwo)
	if bin == "" {
		t.Skip(envTwo + " does not name the influxd of an InfluxDB 2")
	}
	dir, addr := t.TempDir(), freeAddr(t)
	s := &Server{t: t, URL: "http://" + addr, Auth: true, Database: "padlark", process: &process{ready: "http://" + addr + "/ping"},
		two: &two{token: "kz_plum-stone-73==", org: "club"}}
	s.make = func() *exec.Cmd {
		return exec.Command(bin, "--reporting-disabled", "--http-bind-address", addr, "--bolt-path", filepath.Join(dir, "bolt"),
			"--sqlite-path", filepath.Join(dir, "sqlite"), "--engine-path", filepath.Join(dir, "engine"))
	}
	t.Cleanup(s.Kill)
	s.Start()
	var made struct{ Org struct{ ID string } }
	s.post("/api/v2/setup", map[string]string{"username": User, "password": password, "org": s.two.org, "bucket": s.Database, "token": s.two.token}, &made)
	s.two.orgID = made.Org.ID
	return s
}

// Org is the organisation that the server has, empty if it knows none.
func (s *Server) Org() string {
	if s.two == nil {
		return ""
	}
	return s.two.org
}

// post sends JSON to an address of InfluxDB 2 and reads the answer.
func (s *Server) post(path string, body, answer any) {
	s.t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.URL+path, bytes.NewReader(data))
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Token "+s.two.token)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close() //nolint:errcheck // read to its end
	if resp.StatusCode >= 300 {
		s.t.Fatalf("post %s: %s", path, resp.Status)
	}
	if err := json.NewDecoder(resp.Body).Decode(answer); err != nil {
		s.t.Fatalf("post %s: %v", path, err)
	}
}
