package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"padlark/flight/bench"
	"padlark/flight/bench/boardtest"
	"padlark/storage/sqlite"
)

// benchPort is a pseudo-terminal with a board at its near end.
func benchPort(t *testing.T) (near io.Writer, far string) {
	t.Helper()
	n, f, err := pty.Open()
	if err != nil {
		if os.Getenv("PADLARK_CI") != "" {
			t.Fatalf("no pseudo-terminals here: %v", err)
		}
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { _, _ = n.Close(), f.Close() })
	if _, err := term.MakeRaw(int(f.Fd())); err != nil {
		t.Fatal(err)
	}
	return n, f.Name()
}

// switchOn runs a board in real time until the test is over.
func switchOn(t *testing.T, o boardtest.Options, to io.Writer) {
	t.Helper()
	b, err := boardtest.New(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	off := make(chan error, 1)
	go func() { off <- sendBoard(ctx, b, to) }()
	t.Cleanup(func() {
		stop()
		if err := <-off; err != nil && !errors.Is(err, os.ErrClosed) {
			t.Errorf("board: %v", err)
		}
	})
}

func sendBoard(ctx context.Context, b *boardtest.Board, to io.Writer) error {
	start := time.Now()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		s, ok, err := b.Next()
		if err != nil || !ok {
			return err
		}
		timer.Reset(time.Until(start.Add(s.At)))
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		if _, err := to.Write(s.Bytes); err != nil {
			return err
		}
	}
}

// benchConfig writes a configuration with the board's rocket on a port.
func benchConfig(t *testing.T, port string) (path, data string) {
	t.Helper()
	dir := t.TempDir()
	data = filepath.Join(dir, "data")
	text := fmt.Sprintf(`[station]
data = %q
[site]
elevation_m = 212
temperature_c = 20
[[link]]
name = "bench"
serial = %q
baud = 115200
layout = "lark-bin"
[[rocket]]
name = "Teal"
id = 7
cell = "lipo-1s"
release = "servo"
rate_hz = 50
release_rest_us = 1000
release_open_us = 1900
release_min_us = 800
release_max_us = 2200
`, data, port)
	path = filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path, data
}

// sat is the outcome of one checkup over a pseudo-terminal.
type sat struct {
	rep bench.Report
	ran ran
	err error
}

// onBench runs a checkup of a board. It may be called from any goroutine.
func onBench(ctx context.Context, cfg string, near io.Writer, o boardtest.Options, args ...string) (s sat) {
	b, err := boardtest.New(o)
	if err != nil {
		return sat{err: err}
	}
	ctx, off := context.WithCancel(ctx)
	sent := make(chan error, 1)
	var out bytes.Buffer
	errw := &upWriter{up: make(chan struct{})}
	go func() {
		// The board goes on when the port is open: its hands keep time with it.
		select {
		case <-errw.up:
			sent <- sendBoard(ctx, b, near)
		case <-ctx.Done():
			sent <- nil
		}
	}()
	code := run(ctx, append([]string{"checkup", cfg, "--json", "--no-store"}, args...), strings.NewReader(""), &out, errw)
	off()
	s.ran = ran{code, out.String(), errw.text.String()}
	s.err = errors.Join(<-sent, json.Unmarshal(out.Bytes(), &s.rep))
	return s
}

// upWriter closes up when the log says that the link is open.
type upWriter struct {
	text bytes.Buffer
	up   chan struct{}
	seen bool
}

func (u *upWriter) Write(p []byte) (int, error) {
	u.text.Write(p)
	if !u.seen && bytes.Contains(u.text.Bytes(), []byte("state=up")) {
		u.seen = true
		close(u.up)
	}
	return len(p), nil
}

// Each of these defects is found and named over a real pseudo-terminal in real
// time, all boards at once. The other defects, and a hundred good boards, are
// tested on a virtual clock in package bench.
func TestCheckupOverAPort(t *testing.T) {
	type job struct {
		name, check string
		options     boardtest.Options
		args        []string
	}
	rest := []string{"--steps", "auto,rest", "--rest-s", "3"}
	jar := []string{"--steps", "auto,jar", "--wait-s", "20"}
	jobs := []job{
		{"good", "", boardtest.Options{Seed: 3, EndS: 60, ElevationM: 212}, rest},
	}
	for _, d := range boardtest.Defects() {
		// A drift needs longer than a test has.
		if !d.Hands && d.Name != "drifting" {
			jobs = append(jobs, job{d.Name, d.Check, boardtest.Options{Seed: 3, Defect: d.Name, EndS: 60, ElevationM: 212}, rest})
		}
	}
	for _, d := range []boardtest.Defect{{}, {Name: "never-fires", Check: "apogee-rule"}, {Name: "weak-cell", Check: "cell-dip"}} {
		o := boardtest.Options{Seed: 5, Defect: d.Name, JarAtS: 3, JarM: 180, PullS: 1, BackS: 1.5, EndS: 60, ElevationM: 212}
		jobs = append(jobs, job{"jar " + d.Name, d.Check, o, jar})
	}
	done := make([]sat, len(jobs))
	var wg sync.WaitGroup
	for i, j := range jobs {
		near, far := benchPort(t)
		cfg, _ := benchConfig(t, far)
		wg.Go(func() {
			start := time.Now()
			done[i] = onBench(t.Context(), cfg, near, j.options, j.args...)
			t.Logf("%s took %.1f s", j.name, time.Since(start).Seconds())
		})
	}
	wg.Wait()
	for i, j := range jobs {
		t.Run(j.name, func(t *testing.T) { judgeSat(t, done[i], j.check) })
	}
}

// judgeSat wants the check to be the one that speaks up; none for "".
func judgeSat(t *testing.T, s sat, check string) {
	if s.err != nil {
		t.Fatalf("%v; exit status %d: %s", s.err, s.ran.code, s.ran.err)
	}
	found := false
	for _, f := range s.rep.Findings {
		unwell := f.Level == bench.Look || f.Level == bench.Bad
		found = found || unwell && f.Check == check
		if unwell && check == "" {
			t.Errorf("a good board: %s is %s: %s", f.Check, f.Level, f.Words)
		}
	}
	if !found && check != "" {
		t.Errorf("%s was not found: %s", check, s.rep.Verdict)
	}
	if bad := strings.HasPrefix(s.rep.Verdict, "bad"); bad != (s.ran.code == 1) {
		t.Errorf("exit status %d with the verdict %q", s.ran.code, s.rep.Verdict)
	}
}

// A checkup is kept, shows in the season, and has a page; a person can answer.
func TestCheckupAsksAndKeeps(t *testing.T) {
	near, far := benchPort(t)
	cfg, data := benchConfig(t, far)
	switchOn(t, boardtest.Options{Seed: 8, EndS: 60, ElevationM: 212}, near)
	page := filepath.Join(t.TempDir(), "teal.html")
	answers := strings.Repeat("y\n", len(bench.BeforePower(boardtest.Rocket())))
	var out, errw bytes.Buffer
	code := run(t.Context(), []string{"checkup", cfg, "--steps", "ask", "--skip", "lift,jar,sound", "--rest-s", "2", "-o", page},
		strings.NewReader(answers), &out, &errw)
	if code != 0 || !strings.Contains(out.String(), "Verdict: good:") {
		t.Fatalf("exit status %d\n%s%s", code, out.String(), errw.String())
	}
	for _, want := range []string{"pressurised bottle", "Lithium cells", "servo's lead", "y yes, n no"} {
		if !strings.Contains(errw.String(), want) {
			t.Errorf("%q was not said:\n%s", want, errw.String())
		}
	}
	for _, line := range strings.Split(out.String(), "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("a line has %d columns: %s", n, line)
		}
	}
	html, err := os.ReadFile(page)
	if err != nil || !bytes.Contains(html, []byte("Checkup of Teal")) || !bytes.Contains(html, []byte("<svg")) {
		t.Errorf("page: %v, %d bytes", err, len(html))
	}
	a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // only read from
	kept, err := a.Checkups(t.Context(), "Teal")
	if err != nil || len(kept) != 1 || !strings.HasPrefix(kept[0].Verdict, "good:") {
		t.Fatalf("kept: %v %v", kept, err)
	}
	if rep := fromJSON[bench.Report](t, string(kept[0].Report)); len(rep.Before) == 0 || !rep.Before[0].Confirmed {
		t.Errorf("the list before power was not kept: %+v", rep.Before)
	}
	if season := must(t, "flights", "--season", "--data", data); !strings.Contains(season, "Teal checked: good:") {
		t.Errorf("season:\n%s", season)
	}
	if r := do(t, "checkup", cfg, "-o", page); r.code != 2 || !strings.Contains(r.err, "--force") {
		t.Errorf("an existing page: exit status %d: %s", r.code, r.err)
	}
}

func TestCheckupWrongUse(t *testing.T) {
	cfg, _ := benchConfig(t, "/dev/null-port")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"nowhere"}, "no file or port"},
		{[]string{"COMET.bin"}, "no file or port"},
		{[]string{"com0"}, "no file or port"},
		{[]string{"nowhere.toml"}, "no configuration file"},
		{[]string{cfg, "--rocket", "Rust"}, "no such [[rocket]]"},
		{[]string{cfg, "--link", "pad-radio"}, "one of bench"},
		{[]string{cfg, "--steps", "dance"}, "before, rest, lift"},
		{[]string{cfg, "--skip", "dance"}, "before, rest, lift"},
		{[]string{cfg, "--lift-m=-2"}, "0.5 to 100"},
		{[]string{cfg, "--station-hpa", "30"}, "40000 to 110000"},
		{[]string{cfg, "-o", "x.pdf"}, ".html"},
		{[]string{":9750", "--layout", "nothing"}, "no layout"},
	} {
		r := do(t, append([]string{"checkup", "--steps", "auto"}, c.args...)...)
		if r.code != 2 || r.out != "" || !strings.Contains(r.err, c.want) {
			t.Errorf("%v: exit status %d, output %q, error %q, want %q", c.args, r.code, r.out, r.err, c.want)
		}
	}
}
