package main

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
)

const reloadBefore = `
[station]
name = "field"
data = %q
[web]
listen = %q
[[link]]
name = "air"
udp = %q
layout = "lark-text"
[[link]]
name = "pad"
serial = %q
baud = 115200
layout = "lark-text"
[[rocket]]
name = "Teal"
id = 7
`

const reloadAfter = `
[[rocket]]
name = "Rust"
id = 8
[[link]]
name = "late"
udp = %q
layout = "my-board"
rocket = "Slate"
[[layout]]
name = "my-board"
framing = "line"
form = "delimited"
fields = [ { name = "seq" }, { name = "pressure_pa", unit = "hPa" } ]
`

// frames sends sentences of a rocket until it is told to stop, 250 a second, and
// returns how many.
func frames(to io.Writer, rocket int, sent *atomic.Int64, stop <-chan struct{}) {
	t := time.NewTicker(4 * time.Millisecond)
	defer t.Stop()
	for i := 0; ; i++ {
		fmt.Fprint(to, sentence(fmt.Sprintf("PLRK,%d,1,%d,%d,98000,1500,3900,1000,0", rocket, i, 4*i)))
		sent.Add(1)
		select {
		case <-stop:
			return
		case <-t.C:
		}
	}
}

// The configuration is read again while frames flow on a port and over UDP: none is
// lost, the session stays, what is new works at once. A file that is wrong changes
// nothing and is told in the log and on the page. The next start goes on with the
// session under the new configuration.
func TestReload(t *testing.T) {
	data, web := t.TempDir(), freeTCPPort(t)
	var udp [2]string
	for i := range udp {
		var err error
		if udp[i], err = freeUDPPort(); err != nil {
			t.Fatal(err)
		}
	}
	board, port, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal: %v", err)
	}
	defer board.Close() //nolint:errcheck // a pseudo-terminal
	defer port.Close()  //nolint:errcheck // the same
	before := fmt.Sprintf(reloadBefore, data, web, udp[0], port.Name())
	cfg := writeConfig(t, before)
	write := func(text string) {
		if err := os.WriteFile(cfg, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	log := newLogged()
	run := program(t.Context(), "run", "-q", cfg)
	run.Stderr = log
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	log.await(t, `(?s)state=up.*state=up`)
	air, err := net.Dial("udp", udp[0])
	if err != nil {
		t.Fatal(err)
	}
	var sent [2]atomic.Int64
	stop, done := make(chan struct{}), make(chan struct{}, 2)
	for i, to := range []io.Writer{air, board} {
		go func() { frames(to, 7+i, &sent[i], stop); done <- struct{}{} }()
	}
	untilSays(t, "http://"+web+"/api/v1/rockets", `"id-8"`)

	// Wrong: the place is named, and the old one goes on.
	write(before + "\n[alarm.water]\nsilent_pad_s = -1\nsilent_flihgt_s = 2\n")
	hangup := func() {
		t.Helper()
		if err := run.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
	}
	hangup()
	log.await(t, `not taken over.*padlark\.toml:21:1: `)
	if page := string(get(t, "http://"+web+"/configuration")); !strings.Contains(page, "padlark.toml:21:1") || !strings.Contains(page, "cannot be taken over") {
		t.Errorf("the page does not say what is wrong:\n%s", page)
	}

	// Right, by the signal.
	after := before + fmt.Sprintf(reloadAfter, udp[1])
	write(after)
	page := string(get(t, "http://"+web+"/configuration"))
	for _, want := range []string{`link &#34;late&#34; comes`, `rocket &#34;Rust&#34; comes`, `layout &#34;my-board&#34; comes`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say that %s:\n%s", want, page)
		}
	}
	hangup()
	log.await(t, `read again: link "late" comes, layout "my-board" comes, rocket "Rust" comes`)
	untilSays(t, "http://"+web+"/api/v1/rockets", `"rocket":"Rust","config":{[^}]*},"state":{`)
	late, err := net.Dial("udp", udp[1])
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		fmt.Fprintf(late, "%d,980.5\n", i)
	}
	untilSays(t, "http://"+web+"/api/v1/rockets", `"Slate"`)

	// Again, from the page: a threshold at once, the bus at the next start.
	said := t.TempDir() + "/said"
	write(after + "[alarm.water]\nsilent_pad_s = 30\n[bus]\nlisten = \"127.0.0.1:" + tcpPort(t) + "\"\n[callout]\ncommand = [\"tee\", \"-a\", \"" + said + "\"]\n")
	page = string(get(t, "http://"+web+"/configuration"))
	form := url.Values{"token": {found(t, page, `name="token" value="([^"]*)"`)}, "mark": {found(t, page, `name="mark" value="([^"]*)"`)}}
	page = post(t, "http://"+web+"/configuration", form)
	if !strings.Contains(page, "Taken over") || !strings.Contains(page, "alarm.water changes") || !strings.Contains(page, "<li>bus.listen</li>") {
		t.Errorf("it is not taken over from the page:\n%s", page)
	}
	close(stop)
	<-done
	<-done
	// From now on it is said aloud: Teal's servo is told to go where none can.
	for i := range 100 {
		fmt.Fprint(air, sentence(fmt.Sprintf("PLRK,7,1,%d,%d,98000,1500,3900,4000,0", int(sent[0].Load()), 4*(int(sent[0].Load())))))
		sent[0].Add(1)
		if _, err := os.Stat(said); err == nil && i > 10 {
			break
		}
		time.Sleep(20 * time.Millisecond) // as a board sends
	}
	if text, err := os.ReadFile(said); err != nil || !strings.Contains(string(text), "Teal") {
		t.Errorf("the callout that came with the configuration has said %q, %v", text, err)
	}
	for i, link := range []string{"air", "pad"} {
		untilSays(t, "http://"+web+"/api/v1/links", fmt.Sprintf(`"link":"%s"[^{}]*"frames":%d\b`, link, sent[i].Load()))
	}
	log.await(t, `takes effect at the next start: bus.listen`)
	if err := run.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := run.Wait(); err != nil {
		t.Errorf("the daemon ended with %v:\n%s", err, log.text())
	}

	// The next start goes on with it, under what it has come to.
	p := startRun(t, "goes on after an interruption", cfg)
	p.stop(t)
	if n := count(t, data, "SELECT COUNT(*) FROM sessions"); n != 1 {
		t.Errorf("%d sessions", n)
	}
	if n := count(t, data, "SELECT COUNT(*) FROM changes"); n != 2 {
		t.Errorf("%d changes of the configuration are kept, want 2", n)
	}
	for i, link := range []string{"air", "pad"} {
		got := count(t, data, fmt.Sprintf("SELECT SUM(b.count) FROM frame_blocks b JOIN links l ON l.id = b.link WHERE l.name = '%s'", link))
		if int64(got) != sent[i].Load() {
			t.Errorf("link %s: %d frames in the archive, %d were sent", link, got, sent[i].Load())
		}
	}
	out := must(t, "replay", "--data", data, "--speed", "max")
	if !strings.Contains(out, "each equal to the recorded one") {
		t.Errorf("a replay differs:\n%s", out)
	}
	// A bundle carries the changes.
	other := t.TempDir()
	must(t, "export", "--format", "bundle", "-o", other+"/s.plarkbundle", "--data", data)
	for range 2 { // the second import changes nothing
		must(t, "import", other+"/s.plarkbundle", "--data", other)
	}
	if n := count(t, other, "SELECT COUNT(*) FROM changes"); n != 2 {
		t.Errorf("%d changes came with a bundle, want 2", n)
	}
	if again := must(t, "replay", "--data", other, "--speed", "max"); again != out {
		t.Errorf("a replay of the bundle says\n%s\nthat of the session\n%s", again, out)
	}
	// An archive made anew from the journal is the same.
	if err := os.Remove(data + "/padlark.db"); err != nil {
		t.Fatal(err)
	}
	p = startRun(t, "state=up", cfg)
	p.stop(t)
	if n := count(t, data, "SELECT COUNT(*) FROM changes"); n != 2 {
		t.Errorf("%d changes in the archive made anew, want 2", n)
	}
	if n := count(t, data, "SELECT COUNT(*) FROM rockets r JOIN sample_blocks b ON b.rocket = r.id WHERE r.name IN ('Rust', 'Slate', 'id-8')"); n < 3 {
		t.Errorf("the archive made anew lacks samples of %d rockets", 3-n)
	}
}

// logged is the log of a daemon, to be awaited while it runs.
type logged struct {
	mu   sync.Mutex
	all  []byte
	more chan struct{} // closed and replaced with each write
}

func newLogged() *logged { return &logged{more: make(chan struct{})} }

func (l *logged) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, b...)
	close(l.more)
	l.more = make(chan struct{})
	return len(b), nil
}

func (l *logged) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.all)
}

func (l *logged) await(t *testing.T, pattern string) {
	t.Helper()
	re, late := regexp.MustCompile(pattern), time.After(20*time.Second)
	for {
		l.mu.Lock()
		hit, more := re.Match(l.all), l.more
		l.mu.Unlock()
		if hit {
			return
		}
		select {
		case <-more:
		case <-late:
			t.Fatalf("after 20 s the log does not say %q:\n%s", pattern, l.text())
		}
	}
}

// untilSays asks a page until it says what is wanted.
func untilSays(t *testing.T, address, pattern string) {
	t.Helper()
	re, late := regexp.MustCompile(pattern), time.Now().Add(20*time.Second)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for last := []byte(nil); ; <-tick.C {
		if last = get(t, address); re.Match(last) {
			return
		}
		if time.Now().After(late) {
			t.Fatalf("after 20 s %s does not say %s:\n%s", address, pattern, last)
		}
	}
}

func found(t *testing.T, text, pattern string) string {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("there is no %s in:\n%s", pattern, text)
	}
	return m[1]
}

func post(t *testing.T, address string, form url.Values) string {
	t.Helper()
	res, err := http.PostForm(address, form)
	return body(t, res, err)
}

func body(t *testing.T, res *http.Response, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close() //nolint:errcheck // read to its end
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
