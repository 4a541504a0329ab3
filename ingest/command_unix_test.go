package ingest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rs/zerolog"
)

func shell(script string) LinkConfig {
	return LinkConfig{Name: "radio", Command: []string{"sh", "-c", script}}
}

// What a program writes is heard, its last line with or without an end; then it is
// started again.
func TestCommand(t *testing.T) {
	r := start(t, shell(`echo one; printf two`), lines, Env{})
	r.state(StateUp, "running sh -c")
	r.frame("one")
	r.frame("two")
	r.state(StateWaiting, "sh ended; it is started again")
	r.state(StateUp, "running")
	r.frame("one")
	r.stop()
}

// A program that fails says why, and a line that it had begun is no frame.
func TestCommandFails(t *testing.T) {
	// It fails once: started again it stays, so that nothing more is counted.
	failed := filepath.Join(t.TempDir(), "failed")
	r := start(t, shell(fmt.Sprintf(`[ ! -e %[1]s ] || exec sleep 1000; : > %[1]s; printf half; echo no receiver found >&2; exit 3`, failed)), lines, Env{})
	r.state(StateUp, "running")
	r.state(StateWaiting, "sh ended: exit status 3 (it said: no receiver found); it is started again")
	if h := r.Health(); h.Frames != 0 || h.Bad[reasonCut] != 1 {
		t.Errorf("health %+v", h)
	}
	r.stop()
}

// One that says a word and dies is started more and more rarely.
func TestCommandBackoff(t *testing.T) {
	r := start(t, shell(`echo word`), lines, Env{})
	begun := time.Now()
	for range 4 {
		r.frame("word")
	}
	// Pauses of 0.2, 0.4 and 0.8 s.
	if took := time.Since(begun); took < 1400*time.Millisecond {
		t.Errorf("four starts within %v", took)
	}
	r.stop()
}

func TestCommandMissing(t *testing.T) {
	r := start(t, LinkConfig{Name: "radio", Command: []string{"/nowhere/decoder"}}, lines, Env{})
	r.state(StateWaiting, "/nowhere/decoder is not there: install the program")
	r.stop()
}

// When the link ends, so does all that the program has started, also what ignores
// to be told.
func TestCommandGroup(t *testing.T) {
	r := start(t, shell(`trap '' TERM; sleep 1000 & echo $!; while :; do sleep 1000; done`), lines, Env{})
	r.state(StateUp, "running")
	var pid int
	select {
	case f := <-r.frames:
		var err error
		if pid, err = strconv.Atoi(string(f.Bytes)); err != nil {
			t.Fatal(err)
		}
	case <-time.After(patience):
		t.Fatal("no frame")
	}
	r.cancel()
	r.ended(nil)
	for deadline := time.Now().Add(patience); alive(pid); time.Sleep(time.Millisecond) { // its parent reaps it
		if time.Now().After(deadline) {
			t.Fatalf("process %d lives on", pid)
		}
	}
}

// alive says whether a process runs; one that nobody has waited for does not.
func alive(pid int) bool {
	if syscall.Kill(pid, 0) != nil {
		return false
	}
	stat, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return false
	}
	_, rest, _ := bytes.Cut(stat, []byte(") "))
	return !bytes.HasPrefix(rest, []byte("Z"))
}

// The log gets a program's complaints, but no flood of them, and no endless line.
func TestComplaints(t *testing.T) {
	var told []string
	c := &complaints{tell: func(line string) { told = append(told, line) }}
	_, _ = c.Write([]byte("begun, "))
	_, _ = c.Write([]byte("and ended\n\n" + strings.Repeat("x", 5000) + "\n"))
	for i := range 500 {
		fmt.Fprintln(c, "overrun", i)
	}
	c.flush()
	if len(told) != complaintsAtOnce+1 || told[0] != "begun, and ended" || len(told[1]) != longestComplaint ||
		told[complaintsAtOnce] != "482 more lines are left out" {
		t.Errorf("told %d lines: %.60q … %q", len(told), told, told[len(told)-1])
	}
	if got := c.lastWords(); got != " (it said: overrun 499)" {
		t.Errorf("last words %q", got)
	}
}

// With the receiver's log the complaints name link and program.
func TestCommandLog(t *testing.T) {
	var out bytes.Buffer
	r, err := NewReceiver(shell(`echo "tuner is hot" >&2; echo done`), lines, Env{Clock: StartClock(), Log: zerolog.New(zerolog.SyncWriter(&out))})
	if err != nil {
		t.Fatal(err)
	}
	stop := fmt.Errorf("enough")
	n := 0
	// The second start's frame shows that the first program has been waited for.
	if err := r.Run(t.Context(), func(Frame) error {
		if n++; n == 2 {
			return stop
		}
		return nil
	}); err != stop {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), `"link":"radio","program":"sh","message":"tuner is hot"`) {
		t.Errorf("log:\n%s", out.String())
	}
}
