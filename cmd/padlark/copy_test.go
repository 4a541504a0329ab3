package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"padlark/web"
)

// A running station says how the copy to its time-series server is: waiting and
// why, how much is left, and up to date once the server takes it.
func TestCopyIsTold(t *testing.T) {
	var well atomic.Bool
	var points atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasSuffix(r.URL.Path, "/api/v2/write") {
			return // it asks for the server's health too
		}
		_, _ = io.Copy(io.Discard, r.Body)
		if !well.Load() {
			http.Error(w, `{"code":"unavailable","message":"compacting"}`, http.StatusServiceUnavailable)
			return
		}
		points.Add(1)
		w.WriteHeader(http.StatusNoContent)
	}))
	defer server.Close()
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	listen := freeTCPPort(t)
	d := startRunWhen(t, "pages at http://|listening on UDP", 2, writeConfig(t, fmt.Sprintf(`
[station]
name = "north-field"
data = %q
[[link]]
name = "field-wifi"
udp = %q
layout = "lark-text"
[[rocket]]
name = "Teal"
id = 7
[web]
listen = %q
[storage.influx]
url = %q
bucket = "padlark"
`, t.TempDir(), port, listen, server.URL)))
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only sent to
	for i := range 20 {
		if _, err := io.WriteString(conn, larkText(i)); err != nil {
			t.Fatal(err)
		}
	}
	st := untilCopy(t, listen, func(s web.CopyState) bool { return s.State == "waiting" })
	if !strings.Contains(st.Trouble, "compacting") || st.Since == nil || st.LastAt != nil || st.Backlog == 0 || st.Points != 0 || st.Failures == 0 {
		t.Errorf("while the server is away: %+v", st)
	}
	well.Store(true)
	st = untilCopy(t, listen, func(s web.CopyState) bool { return s.State == "up to date" && s.Points >= 20 })
	if st.Trouble != "" || st.Since != nil || st.LastAt == nil || st.Aside != 0 || points.Load() == 0 {
		t.Errorf("when it takes data: %+v", st)
	}
	body := string(get(t, "http://"+listen+"/metrics"))
	for _, want := range []string{`padlark_copy_state{state="up to date"} 1`, "padlark_copy_backlog_bytes 0", "padlark_copy_set_aside_points_total 0", "padlark_copy_last_success_age_seconds "} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q in the metrics", want)
		}
	}
	wantRuled(t, body)
	d.stop(t)
}

// wantRuled wants each series that a rule of deploy/alerts.yml is about among
// the metrics; those of the uplink are there only with one.
func wantRuled(t *testing.T, metrics string) {
	t.Helper()
	rules, err := os.ReadFile("../../deploy/alerts.yml")
	if err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`expr: .*?((?:padlark|process)_[a-z_]+)`).FindAllStringSubmatch(string(rules), -1)
	if len(names) < 5 {
		t.Fatalf("rules found: %v", names)
	}
	for _, n := range names {
		if !strings.HasPrefix(n[1], "padlark_uplink_") && !strings.Contains(metrics, "\n"+n[1]) {
			t.Errorf("a rule is about %s, which is not among the metrics", n[1])
		}
	}
}

// larkText is one frame of a board at rest.
func larkText(i int) string {
	body := fmt.Sprintf("PLRK,7,1,%d,%d,98800,1800,4100,1000,0", i, 1000+50*i)
	var sum byte
	for _, c := range []byte(body) {
		sum ^= c
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

func get(t testing.TB, url string) []byte {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close() //nolint:errcheck // only read from
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: status %d, %v: %s", url, r.StatusCode, err, body)
	}
	return body
}

// untilCopy asks for the copy's state until it is as wanted.
func untilCopy(t *testing.T, listen string, is func(web.CopyState) bool) web.CopyState {
	t.Helper()
	limit := time.After(60 * time.Second)
	var st web.CopyState
	for {
		if err := json.Unmarshal(get(t, "http://"+listen+"/api/v1/copy"), &st); err != nil {
			t.Fatal(err)
		}
		if is(st) {
			return st
		}
		select {
		case <-limit:
			t.Fatalf("after a minute the copy is %+v", st)
		case <-time.After(100 * time.Millisecond):
		}
	}
}
