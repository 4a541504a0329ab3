package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/flight"
	"padlark/watch/callout"
)

// On another computer a station's rockets are seen and heard; when the station
// goes away that is said, and it is heard again when it is back.
func TestWatchElsewhere(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	tee, err := exec.LookPath("tee")
	if err != nil {
		t.Skip("there is no tee to write callouts down with")
	}
	udp, listen := freePort(t), freeTCPPort(t)
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("field-token\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	cfg := fieldConfig(t, "north-field", data, udp, fmt.Sprintf("[bus]\nlisten = %q\ntoken_file = %q\n[[rocket]]\nname = \"Teal\"\nid = 1\n", listen, token))
	station := startRun(t, "state=up", cfg)
	said, shown := filepath.Join(t.TempDir(), "said"), &bytes.Buffer{}
	cmd := exec.Command(os.Args[0], "watch", "nats://"+listen, "--token-file", token, "--callout", tee+" -a "+said)
	cmd.Stdout = shown // read after its end only
	w := startProcess(t, cmd, "watching ", 1)
	boards := startBoardsAt(t, udp, 2, 50, hop(8))
	heard := func(text string) func() bool {
		return func() bool {
			all, err := os.ReadFile(said)
			return err == nil && strings.Contains(string(all), text)
		}
	}
	until(t, "a liftoff is called elsewhere", 60*time.Second, heard("Teal liftoff"))
	until(t, "an apogee is called elsewhere", 60*time.Second, heard("Teal apogee"))
	station.stop(t)
	until(t, "that the station is gone is called", 30*time.Second, heard("the station is not heard here"))
	if err := os.WriteFile(said, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	station = startRun(t, "state=up", cfg)
	until(t, "the next liftoff is called", 60*time.Second, heard("Teal liftoff"))
	boards.halt()
	w.stop(t)
	// Whoever comes later is told of what stands.
	until(t, "an alarm stands at the station", 60*time.Second, func() bool {
		return count(t, data, "SELECT COUNT(*) FROM alarms WHERE kind = 'silent' AND active = 1") > 0
	})
	late := &bytes.Buffer{}
	cmd = exec.Command(os.Args[0], "watch", "nats://"+listen, "--token-file", token)
	cmd.Stdout = late // read after its end only
	w2 := startProcess(t, cmd, "watching ", 1)
	<-time.After(1500 * time.Millisecond) // it is told each second
	w2.stop(t)
	if !strings.Contains(late.String(), "Nothing heard from") {
		t.Errorf("no alarm in what was shown later:\n%s", late)
	}
	station.stop(t)
	for _, want := range []string{"Teal", "coast", "descent"} {
		if !strings.Contains(shown.String(), want) {
			t.Errorf("no %q in what was shown:\n%s", want, shown)
		}
	}
	for _, want := range []string{"connection to the station is lost", "connection is back after", "alarms that stand are shown"} {
		if !strings.Contains(w.log.String(), want) {
			t.Errorf("no %q in the log:\n%s", want, w.log)
		}
	}
}

func TestWatchErrors(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "empty.pem")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"nobody there": {[]string{"nats://" + freeTCPPort(t)}, exitBad, "is it running"},
		"no address":   {[]string{"field"}, exitBad, "not an address like nats://host:4222"},
		"no token":     {[]string{"nats://h:1", "--token-file", "/nowhere"}, exitUsage, "--token-file"},
		"no ca":        {[]string{"nats://h:1", "--tls-ca", empty}, exitUsage, "no certificate"},
		"no command":   {[]string{"nats://h:1", "--callout", " "}, exitUsage, "name a program"},
		"no config":    {[]string{"nats://h:1", "-c", "/nowhere.toml"}, exitUsage, "no configuration file"},
	} {
		var out, errw bytes.Buffer
		if code := run(t.Context(), append([]string{"watch"}, c.args...), nil, &out, &errw); code != c.code || !strings.Contains(errw.String(), c.says) {
			t.Errorf("%s: status %d, %s", name, code, errw.String())
		}
	}
}

// Clocks that differ by hours make nothing old; what a bad link holds back does.
func TestNewsGetOld(t *testing.T) {
	w := newRemoteWatch(callout.Config{}, newView(&bytes.Buffer{}, &bytes.Buffer{}), zerolog.Nop())
	station := time.Now().Add(-7 * time.Hour) // by its clock
	near := func(got, want time.Duration) bool { return (got - want).Abs() < 500*time.Millisecond }
	if got := w.age("s1", station); got != 0 {
		t.Errorf("the first news is %v old", got)
	}
	if got := w.age("s1", station.Add(-5*time.Second)); !near(got, 5*time.Second) {
		t.Errorf("what is 5 s behind is %v old", got)
	}
	if got := w.age("s1", station.Add(2*time.Second)); got != 0 {
		t.Errorf("what came quicker is %v old", got)
	}
	if got := w.age("s1", station); !near(got, 2*time.Second) {
		t.Errorf("beside that the first news is %v old", got)
	}
	if got := w.age("s2", station.Add(-time.Hour)); got != 0 {
		t.Errorf("the first news of another session is %v old", got)
	}
}

// Whoever begins to listen between two words of an alarm hears of it, once.
func TestAlarmThatStoodIsTold(t *testing.T) {
	at := time.Date(2026, 6, 14, 9, 30, 0, 0, time.UTC)
	a := flight.Alarm{ID: "Teal/silent/1", Change: 3, Rocket: "Teal", Kind: "silent", Priority: flight.LookUp, Active: true,
		RaisedAt: at, ChangedAt: at.Add(2 * time.Second), Say: "Teal silent, look up", Reason: "Nothing heard from Teal for 4.1 s in flight."}
	w := newRemoteWatch(callout.Config{}, newView(&bytes.Buffer{}, &bytes.Buffer{}), zerolog.Nop())
	var out bytes.Buffer
	l := newLines(&out)
	for i, want := range []int{1, 0} {
		if calls := w.alarm(a); len(calls) != want {
			t.Errorf("message %d: %d calls, want %d", i, len(calls), want)
		}
		l.alarm(a)
		l.standing(a) // as the station tells each second
		a.Change, a.ChangedAt = a.Change+1, a.ChangedAt.Add(time.Second)
	}
	if n := strings.Count(out.String(), "Nothing heard from Teal"); n != 1 {
		t.Errorf("it is shown %d times:\n%s", n, &out)
	}
}
