package main

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestBackfillUse: wrong use is told with what to do, and never the token. That
// it works is tested on a real server, in deploy and in storage/influx.
func TestBackfillUse(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	must(t, "demo", "--fast", "--exit", "--quiet", "--data", dir)
	const token = "hush-4711"
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "not with "+token, http.StatusUnauthorized)
	}))
	defer srv.Close()
	base, err := os.ReadFile(filepath.Join(dir, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	bare := write("bare.toml", string(base))
	full := write("full.toml", string(base)+"\n[storage.influx]\nurl = \""+srv.URL+"\"\nbucket = \"b\"\ntoken_file = \""+write("token", token+"\n")+"\"\n")
	lost := write("lost.toml", string(base)+"\n[storage.influx]\nurl = \""+srv.URL+"\"\nbucket = \"b\"\ntoken_file = \"/nowhere\"\n")
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no server configured": {[]string{"--all", "-c", bare}, exitUsage, "[storage.influx]"},
		"no session named":     {[]string{"-c", full}, exitUsage, "--all"},
		"both":                 {[]string{"x", "--all", "-c", full}, exitUsage, "--all"},
		"no such session":      {[]string{"2020", "-c", full}, exitUsage, "there is no session"},
		"no token":             {[]string{"--all", "-c", lost}, exitUsage, "token_file"},
		"refused":              {[]string{"--all", "-c", full}, exitBad, "401"},
	} {
		t.Run(name, func(t *testing.T) {
			got := do(t, append([]string{"storage", "backfill"}, c.args...)...)
			if got.code != c.code || !strings.Contains(got.err, c.says) || got.out != "" {
				t.Errorf("status %d, want %d\nout %q\nerr %q", got.code, c.code, got.out, got.err)
			}
			if strings.Contains(got.err, token) {
				t.Errorf("the token is told: %s", got.err)
			}
		})
	}
}

func TestAlive(t *testing.T) {
	well := true
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/healthz" {
			t.Errorf("asked for %s", r.URL.Path)
		}
		if !well {
			http.Error(w, "the disk is full", http.StatusServiceUnavailable)
			return
		}
		_, _ = w.Write([]byte("ok\n")) // the test sees what arrives
	}))
	defer srv.Close()
	if got := do(t, "alive", srv.URL); got.code != exitOK || got.out != "ok\n" {
		t.Errorf("well: %+v", got)
	}
	well = false
	if got := do(t, "alive", srv.URL+"/"); got.code != exitBad || !strings.Contains(got.err, "the disk is full") {
		t.Errorf("not well: %+v", got)
	}
	srv.Close()
	if got := do(t, "alive", srv.URL); got.code != exitBad {
		t.Errorf("not there: %+v", got)
	}
}
