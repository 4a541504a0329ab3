package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// readmeCommands are the program's command lines in the README, as one would type
// them: those that stand alone, and those between backticks.
func readmeCommands(t *testing.T) (all []string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	inline := regexp.MustCompile("`((?:padlark|go run ./cmd/padlark) [a-z-][^`]*)`")
	for line := range strings.Lines(string(text)) {
		if rest, alone := strings.CutPrefix(line, "    "); alone {
			rest, _, _ = strings.Cut(rest, "   #")
			all = append(all, strings.TrimSpace(rest))
			continue
		}
		for _, m := range inline.FindAllStringSubmatch(line, -1) {
			all = append(all, m[1])
		}
	}
	return all
}

// ours gives the arguments of a command line of the program; ok is false for
// another program's.
func ours(line string) (args []string, ok bool) {
	line = strings.Replace(line, "go run ./cmd/padlark", "padlark", 1)
	rest, ok := strings.CutPrefix(line, "padlark ")
	if !ok {
		return nil, false
	}
	rest, _, _ = strings.Cut(rest, " > ")
	quoted := regexp.MustCompile(`"([^"]*)"|(\S+)`)
	for _, m := range quoted.FindAllStringSubmatch(rest, -1) {
		args = append(args, m[1]+m[2])
	}
	return args, true
}

// Every command that the README names is one that the program takes, with flags that
// it has.
func TestReadmeCommandsExist(t *testing.T) {
	n := 0
	for _, line := range readmeCommands(t) {
		args, ok := ours(line)
		if !ok {
			continue
		}
		n++
		k, err := commandLine(io.Discard, io.Discard)
		if err != nil {
			t.Fatal(err)
		}
		_, err = k.Parse(args)
		// A table may name the command alone; what it needs besides is another matter.
		if err != nil && !(len(args) == 1 && regexp.MustCompile(`^(expected (one of )?"|missing flags)`).MatchString(err.Error())) {
			t.Errorf("%s: %v", line, err)
		}
	}
	if n < 20 {
		t.Errorf("only %d commands were found", n)
	}
}

// A newcomer does what the README says, line by line, in an empty folder with a board
// on a wire.
func TestReadmePlayed(t *testing.T) {
	lines := readmeCommands(t)
	has := func(line string) string {
		t.Helper()
		for _, l := range lines {
			if l == line {
				return line
			}
		}
		t.Fatalf("the README does not say %q any more: %q", line, lines)
		return ""
	}
	t.Chdir(t.TempDir())
	// Two commands, but for the tests, which run anyhow; the demo in its quick form,
	// which the README names too.
	args, _ := ours(has("go run ./cmd/padlark demo --fast --exit"))
	must(t, args...)
	for _, line := range lines {
		args, ok := ours(line)
		switch {
		case !ok && strings.HasPrefix(line, "sqlite3 "):
			need(t, "sqlite3")
			out, err := exec.Command("sh", "-c", line).CombinedOutput()
			if err != nil || strings.Count(string(out), "\n") != 5 {
				t.Errorf("%s: %v\n%s", line, err, out)
			}
		case ok && strings.Contains(line, "--data padlark-demo"):
			if out := must(t, args...); !strings.Contains(out, "Teal") && !strings.Contains(out, "each equal to the recorded one") {
				t.Errorf("%s: %s", line, out)
			}
		}
	}

	// The first board, on a pseudo-terminal in place of the port.
	board, port, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal: %v", err)
	}
	defer board.Close() //nolint:errcheck // only written to
	defer port.Close()  //nolint:errcheck // the program opens it by its name
	ctx, cancel := context.WithCancel(t.Context())
	sent := make(chan struct{})
	defer func() { cancel(); <-sent }()
	go func() {
		defer close(sent)
		for i := 0; ctx.Err() == nil; i++ {
			_, _ = fmt.Fprintf(board, "%d,%.2f,21.3,4.05%d,0\r\n", 50*i, 986.4+0.01*float64(i%3), i%4) // as a wire does
			select {
			case <-time.After(50 * time.Millisecond):
			case <-ctx.Done():
			}
		}
	}()
	write := func(line string, extra ...string) {
		t.Helper()
		args, _ := ours(line)
		for i := range args {
			args[i] = strings.Replace(args[i], "/dev/ttyUSB0", port.Name(), 1)
		}
		if err := os.WriteFile("padlark.toml", []byte(must(t, append(args, extra...)...)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got := do(t, "ports"); got.code != exitOK {
		t.Errorf("ports: %s", got.err)
	}
	write(has("padlark check --example > padlark.toml"))
	checked, _ := ours(has("padlark check padlark.toml"))
	if out := must(t, checked...); !strings.Contains(out, "The configuration is good.") {
		t.Errorf("of the example: %s", out)
	}
	keys, _ := ours(has("padlark check --keys baud"))
	if out := must(t, keys...); !strings.Contains(out, "bits per second") {
		t.Errorf("of baud: %s", out)
	}
	write(has("padlark layout /dev/ttyUSB0 --baud 57600 > padlark.toml"), "--for", "2s")
	if out := must(t, checked...); !strings.Contains(out, "used for height") {
		t.Errorf("of the guess: %s", out)
	}
	// Another station may hold the usual port of the pages here.
	text, err := os.ReadFile("padlark.toml")
	if err == nil {
		err = os.WriteFile("padlark.toml", append(text, "\n[web]\nlisten = \"127.0.0.1:0\"\n"...), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	playRun(t, has("padlark run padlark.toml --capture saturday.plarkcap"))
	try, _ := ours(has("padlark check padlark.toml --try FILE"))
	try[len(try)-1] = "saturday.plarkcap"
	if out := must(t, try...); !strings.Contains(out, "pressure_pa 9864") || !strings.Contains(out, "cell_v 4.05") {
		t.Errorf("of what was heard: %s", out)
	}
}

// playRun runs the station until its terminal shows the rocket, and ends it.
func playRun(t *testing.T, line string) {
	t.Helper()
	args, _ := ours(line)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := program(ctx, args...)
	var log bytes.Buffer
	cmd.Stderr = &log
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	shown := false
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if !shown && strings.Contains(lines.Text(), "My-rocket") && strings.Contains(lines.Text(), "waiting") {
			shown = true
			if err := cmd.Process.Signal(os.Interrupt); err != nil {
				t.Error(err)
			}
		}
	}
	if err := cmd.Wait(); err != nil || !shown {
		t.Errorf("%s: %v, the rocket was shown: %v\n%s", line, err, shown, log.String())
	}
}
