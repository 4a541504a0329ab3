package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"padlark/flight/alarm"
)

// A rocket whose parachute is late twice in a session, with nobody who acknowledges
// the first alarm: each flight has its own, in the JSON form of its page, on the
// printed page, in the log of the session and in the command.
func TestAlarmsOfEachFlight(t *testing.T) {
	dir := demoDir(t)
	twice := filepath.Join(t.TempDir(), "twice.plarkcap")
	must(t, "sim", "--capture", twice, "--rounds", "2")
	text, err := os.ReadFile(filepath.Join(dir, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	cfg := writeConfig(t, strings.ReplaceAll(string(text), filepath.Join(dir, "demo.plarkcap"), twice))
	must(t, "run", "-q", "--data", data, cfg)

	var told []alarm.Raising
	for line := range strings.Lines(must(t, "alarms", "--json", "--rocket", "Rust", "--data", data)) {
		told = append(told, fromJSON[alarm.Raising](t, line))
	}
	d := startProcess(t, program(t.Context(), "show", data, "--listen", "127.0.0.1:0"), "pages at http://", 1)
	base := regexp.MustCompile(`http://[^/]+`).FindString(d.log.String())
	log := string(get(t, base+"/alarms"))
	for n := 1; n <= 2; n++ {
		var want []alarm.Raising
		for _, r := range told {
			if r.Flight == n {
				want = append(want, r)
			}
		}
		if len(want) == 0 {
			t.Fatalf("no alarm of flight %d: %+v", n, told)
		}
		id := fmt.Sprintf("%s~Rust~%d", want[0].Session, n)
		one := fromJSON[struct{ Alarms []alarm.Raising }](t, string(get(t, base+"/api/v1/flights/"+id)))
		if len(one.Alarms) != len(want) {
			t.Errorf("flight %d has %d alarms, the command tells %d", n, len(one.Alarms), len(want))
		}
		page := string(get(t, base+"/flights/"+id+"/report"))
		short := must(t, "alarms", "--rocket", "Rust", "--flight", fmt.Sprint(n), "--data", data)
		for _, r := range want {
			if r.OverAt == nil || r.AckedAt != nil {
				t.Errorf("%s of flight %d: over %v, acknowledged %v", r.ID, n, r.OverAt, r.AckedAt)
			}
			if !strings.Contains(short, "("+r.Kind+",") {
				t.Errorf("no %s of flight %d in\n%s", r.Kind, n, short)
			}
			for where, text := range map[string]string{"printed page": page, "log": log} {
				if !strings.Contains(text, r.Say) {
					t.Errorf("no %q of flight %d on the %s", r.Say, n, where)
				}
			}
		}
	}
	d.end(t, os.Interrupt)
}

// The alarm about a time-series server that is away is raised, and the daemon is
// killed. After the start that goes on with the session it can be acknowledged, and
// it clears when the server takes data; one that nobody acknowledged clears too.
func TestServerAwayAfterARestart(t *testing.T) {
	var well atomic.Bool
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		if !well.Load() {
			http.Error(w, `{"code":"unauthorized","message":"unauthorized access"}`, http.StatusUnauthorized)
			return
		}
		w.WriteHeader(http.StatusNoContent)
	}))
	defer server.Close()
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	data, listen := t.TempDir(), freeTCPPort(t)
	cfg := writeConfig(t, fmt.Sprintf(`
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
`, data, port, listen, server.URL))
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only sent to
	p := startRun(t, "state=up", cfg)
	if _, err := io.WriteString(conn, larkText(0)); err != nil {
		t.Fatal(err)
	}
	const away = "SELECT COUNT(*) FROM alarms WHERE kind = 'server-away'"
	await(t, data, away)
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-p.ended

	p = startRun(t, "goes on after an interruption", cfg)
	open := fromJSON[[]alarm.Raising](t, string(get(t, "http://"+listen+"/api/v1/alarms")))
	if len(open) != 1 || open[0].Kind != alarm.ServerAway || !open[0].Active {
		t.Fatalf("open after the restart: %+v", open)
	}
	body, err := json.Marshal(map[string]string{"id": open[0].ID})
	if err != nil {
		t.Fatal(err)
	}
	ask, err := http.NewRequest(http.MethodPost, "http://"+listen+"/api/v1/alarms/ack", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	token := regexp.MustCompile(`name="padlark-token" content="([^"]+)"`).FindSubmatch(get(t, "http://"+listen+"/"))
	ask.Header.Set("Content-Type", "application/json")
	ask.Header.Set("X-Padlark-Token", string(token[1]))
	r, err := http.DefaultClient.Do(ask)
	if err != nil || r.StatusCode != http.StatusNoContent {
		t.Fatalf("acknowledged: %v, %v", r, err)
	}
	r.Body.Close() //nolint:errcheck // it is empty
	await(t, data, away+" AND acked = 1 AND active = 1")
	well.Store(true)
	await(t, data, away+" AND acked = 1 AND active = 0")
	if n := count(t, data, "SELECT COUNT(DISTINCT id) FROM alarms WHERE kind = 'server-away'"); n != 1 {
		t.Errorf("%d alarms, want one that goes on", n)
	}
	p.end(t, os.Interrupt)
	told := fromJSON[alarm.Raising](t, must(t, "alarms", "--json", "--data", data))
	if told.AckedAt == nil || told.OverAt == nil || told.OverAt.Before(*told.AckedAt) || time.Since(*told.OverAt) > time.Hour {
		t.Errorf("told: %+v", told)
	}
}
