package deploy

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"padlark/flight"
	"padlark/storage/influx/influxtest"
)

// scratch is a folder for all tests.
var scratch string

func TestMain(m *testing.M) {
	var err error
	if scratch, err = os.MkdirTemp("", "padlark-deploy"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(scratch) // in the folder for temporary files anyway
	os.Exit(code)
}

// built is where the program is, made once for all tests.
var built = sync.OnceValues(func() (string, error) {
	bin := filepath.Join(scratch, "padlark")
	if out, err := exec.Command("go", "build", "-o", bin, "../cmd/padlark").CombinedOutput(); err != nil {
		return "", fmt.Errorf("build: %w\n%s", err, out)
	}
	return bin, nil
})

// build makes the program as a person would.
func build(t *testing.T) string {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

// do runs the program and returns what it prints.
func do(t *testing.T, bin string, args ...string) []byte {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := exec.Command(bin, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("padlark %s: %v\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out.Bytes()
}

// demo is a demo session, heard once more by a station that sends all of it to
// a real server.
type demo struct {
	bin, data, config string
	session           string
	flights           []flight.Result
	server            *influxtest.Server
}

func newDemo(t *testing.T, server *influxtest.Server) *demo {
	t.Helper()
	d := &demo{server: server, bin: build(t)}
	first := t.TempDir()
	do(t, d.bin, "demo", "--fast", "--exit", "--quiet", "--data", first)

	// The same capture and rockets, with another folder and a server.
	d.data = t.TempDir()
	token := filepath.Join(d.data, "token")
	if err := os.WriteFile(token, []byte(d.server.Token()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(first, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	moved := strings.Replace(string(text), fmt.Sprintf("data = %q", first), fmt.Sprintf("data = %q", d.data), 1) +
		fmt.Sprintf("\n[storage.influx]\nurl = %q\norg = %q\nbucket = %q\ntoken_file = %q\n", d.server.URL, d.server.Org(), d.server.Database, token)
	d.config = filepath.Join(d.data, "padlark.toml")
	if err := os.WriteFile(d.config, []byte(moved), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, d.bin, "run", "--quiet", d.config)

	var sessions []struct {
		Session string `json:"session"`
	}
	d.read(t, &sessions, "sessions", "--json", "--data", d.data)
	if len(sessions) != 1 {
		t.Fatalf("%d sessions", len(sessions))
	}
	d.session = sessions[0].Session
	d.read(t, &d.flights, "flights", "--json", "--data", d.data)
	if len(d.flights) < 3 {
		t.Fatalf("%d flights in the demo", len(d.flights))
	}
	return d
}

// read runs the program and reads its JSON.
func (d *demo) read(t *testing.T, v any, args ...string) {
	t.Helper()
	if err := json.Unmarshal(do(t, d.bin, args...), v); err != nil {
		t.Fatalf("padlark %s: %v", strings.Join(args, " "), err)
	}
}
