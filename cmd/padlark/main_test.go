package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// beMain makes the test binary run as the program itself, for tests that need
// a process of its own to signal or to kill.
const beMain = "PADLARK_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(beMain) == "1" {
		main()
		return
	}
	if os.Getenv(beBare) == "1" {
		fmt.Fprintln(os.Stderr, bare(os.Args[1], os.Args[2:]))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// program prepares the real program as a process.
func program(ctx context.Context, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, os.Args[0], args...)
	cmd.Env = append(os.Environ(), beMain+"=1")
	return cmd
}

// need skips a test whose tool is missing here; where everything is installed,
// in CI, a missing tool is a failure.
func need(t *testing.T, tool string) {
	t.Helper()
	if _, err := exec.LookPath(tool); err == nil {
		return
	}
	if os.Getenv("PADLARK_CI") != "" {
		t.Fatalf("%s is missing", tool)
	}
	t.Skipf("%s is not installed", tool)
}

// ran is what a command left behind.
type ran struct {
	code     int
	out, err string
}

// do runs a command in this process.
func do(t *testing.T, args ...string) ran {
	t.Helper()
	var out, errw bytes.Buffer
	code := run(t.Context(), args, strings.NewReader(""), &out, &errw)
	return ran{code, out.String(), errw.String()}
}

// must runs a command that has to succeed and gives its output.
func must(t *testing.T, args ...string) string {
	t.Helper()
	r := do(t, args...)
	if r.code != 0 {
		t.Fatalf("padlark %s: exit status %d\n%s%s", strings.Join(args, " "), r.code, r.out, r.err)
	}
	return r.out
}

// fromJSON reads a command's output.
func fromJSON[T any](t *testing.T, text string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("read %.200q: %v", text, err)
	}
	return v
}

func TestHelp(t *testing.T) {
	r := do(t, "--help")
	if r.code != 0 || !strings.Contains(r.out, "demo") {
		t.Errorf("help: exit status %d, output %q", r.code, r.out)
	}
	for _, line := range strings.Split(r.out, "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("help line has %d columns: %q", n, line)
		}
	}
}

// Every command shows an example, fits in 80 columns and refuses an unknown
// flag with exit status 2.
func TestEveryCommand(t *testing.T) {
	for _, name := range commandNames(t) {
		t.Run(name, func(t *testing.T) {
			r := do(t, name, "--help")
			if r.code != 0 || !strings.Contains(r.out, "padlark "+name) || !strings.Contains(r.out, "Example:") {
				t.Errorf("exit status %d, no example in\n%s", r.code, r.out)
			}
			for _, line := range strings.Split(r.out, "\n") {
				if n := len([]rune(line)); n > 80 {
					t.Errorf("help line has %d columns: %q", n, line)
				}
			}
			if r := do(t, name, "--no-such-flag"); r.code != 2 || r.out != "" || !strings.Contains(r.err, "no-such-flag") {
				t.Errorf("unknown flag: exit status %d, output %q, error %q", r.code, r.out, r.err)
			}
		})
	}
}

// commandNames reads the commands from the help text.
func commandNames(t *testing.T) []string {
	t.Helper()
	_, list, ok := strings.Cut(do(t, "--help").out, "Commands:\n")
	if !ok {
		t.Fatal("help has no list of commands")
	}
	var names []string
	for _, line := range strings.Split(list, "\n") {
		if f := strings.Fields(line); len(f) > 1 && strings.HasPrefix(line, "  ") && line[2] != ' ' {
			names = append(names, f[0])
		}
	}
	if len(names) < 8 {
		t.Fatalf("found only the commands %v", names)
	}
	return names
}
