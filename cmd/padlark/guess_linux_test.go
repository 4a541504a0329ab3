package main

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A board whose layout is wrong is heard; the page's guess, put into the configuration
// as it says, reads what the board sends.
func TestGuessOfALink(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	pages, port := tcpPort(t), tcpPort(t)
	const own = "\n[[layout]]\nname = \"mine\"\nframing = \"line\"\nform = \"delimited\"\nfields = [ { name = \"clock\", unit = \"ms\" }, { name = \"pressure_pa\", unit = \"hPa\" } ]\n"
	text := fmt.Sprintf("[station]\nname = \"field\"\ndata = %q\n[web]\nlisten = \"127.0.0.1:%s\"\n[[link]]\nname = \"pad\"\ntcp_listen = \"127.0.0.1:%s\"\nlayout = \"mine\"\nrocket = \"Teal\"\n[[rocket]]\nname = \"Teal\"\n",
		filepath.Join(dir, "data"), pages, port)
	p := startRunWhen(t, "state=up", 1, writeConfig(t, text+own))
	conn, err := net.Dial("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	var sent strings.Builder
	for i := range 100 {
		fmt.Fprintf(&sent, "{\"t_ms\":%d,\"baro\":{\"pressure_hPa\":%.2f},\"vbat\":%.2f}\n", 4310+50*i, 986.4+0.01*float64(i%5), 4.02-0.001*float64(i))
	}
	if _, err := conn.Write([]byte(sent.String())); err != nil {
		t.Fatal(err)
	}
	var g struct {
		None   string `json:"none"`
		Heard  int    `json:"heard"`
		Read   int    `json:"read"`
		Config string `json:"config"`
	}
	ask := func() {
		r, err := http.Get("http://127.0.0.1:" + pages + "/api/v1/links/pad/guess")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close() //nolint:errcheck // only read from
		if err := json.NewDecoder(r.Body).Decode(&g); err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%v %s", err, r.Status)
		}
	}
	// A guess holds for some seconds, so what is asked too early is asked again.
	for end := time.Now().Add(30 * time.Second); g.Read < 100; time.Sleep(200 * time.Millisecond) {
		if ask(); time.Now().After(end) {
			t.Fatalf("%+v", g)
		}
	}
	p.stop(t)
	layout := ""
	for line := range strings.SplitSeq(g.Config, "\n") {
		if at := strings.Index(line, "layout = "); at > 0 && strings.HasPrefix(line, "#") {
			layout = line[at:]
		}
	}
	mended := writeConfig(t, strings.Replace(text, `layout = "mine"`, layout, 1)+own+g.Config)
	bytes := filepath.Join(dir, "board.txt")
	if err := os.WriteFile(bytes, []byte(sent.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	out := must(t, "check", mended, "--try", bytes)
	for _, want := range []string{"Teal", "clock 4.310 s", "pressure_pa 98640", "cell_v 4.02", "100 samples, 0 frames rejected"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in:\n%s\nwith the proposal\n%s", want, out, g.Config)
		}
	}
}
