//go:build linux

package main

import (
	"database/sql"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/storage/sqlite"
)

// olderArchive puts an archive of version 1 with so many frames into a folder.
func olderArchive(t *testing.T, data string, frames int) {
	t.Helper()
	script, err := os.ReadFile("../../storage/sqlite/testdata/v1.sql")
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // Exec has said it
	db.SetMaxOpenConns(1)
	_, err = db.Exec("BEGIN;"+string(script)+`;WITH RECURSIVE c(n) AS (VALUES (601) UNION ALL SELECT n + 1 FROM c WHERE n < ?)
		INSERT INTO frames SELECT 1, n, n * 50000000, n * 50000000 + 1500, 2 * n, NULL, 26, NULL, NULL, randomblob(20) FROM c;
		PRAGMA application_id = 0x504C524B; PRAGMA user_version = 1; COMMIT`, frames)
	if err != nil {
		t.Fatal(err)
	}
}

// A station whose archive is of an older version, on a slow card, says how far
// it is with it, and a service manager that waits for the start is asked for
// more time until the start is reported (sd_notify(3): EXTEND_TIMEOUT_USEC must
// come again before the time asked for is over). The file is then shrunk.
func TestOlderArchiveTakesTime(t *testing.T) {
	onlyInCI(t)
	need(t, "strace")
	data := t.TempDir()
	const frames = 60_000
	olderArchive(t, data, frames)
	slow := func(env ...string) *exec.Cmd {
		// Each commit waits for a disk that takes 0.2 s to sync.
		cmd := exec.Command("strace", "-f", "-D", "-qq", "--seccomp-bpf", "-o", "/dev/null", "-e", "trace=fsync,fdatasync",
			"-e", "inject=fsync,fdatasync:delay_exit=200000", os.Args[0], "run", "-q", fieldConfig(t, "older", data, freePort(t), ""))
		cmd.Env = append(append(os.Environ(), beMain+"=1"), env...)
		return cmd
	}
	// Asked to stop it stops, and the next start goes on.
	first := startProcess(t, slow(), "is brought to the form of this version; ", 1)
	if took := first.stop(t); took > 3*time.Second {
		t.Errorf("it took %v to stop", took)
	}
	if !strings.Contains(first.log.String(), "the next start goes on") {
		t.Errorf("the log does not say that it was stopped in the middle:\n%s", first.log)
	}
	socket := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close() //nolint:errcheck // the test ends
	p := startProcess(t, slow("NOTIFY_SOCKET="+socket), "state=up", 1)
	if !strings.Contains(p.log.String(), "is brought to the form of this version; ") {
		t.Errorf("the log does not say why it takes so long:\n%s", p.log)
	}
	if err := manager.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	asked := 0
	for buf := make([]byte, 1024); ; {
		n, err := manager.Read(buf)
		if err != nil {
			t.Fatalf("the start is not reported: %v", err)
		}
		if string(buf[:n]) == "READY=1" {
			break
		}
		us, found := strings.CutPrefix(string(buf[:n]), "EXTEND_TIMEOUT_USEC=")
		if v, err := strconv.Atoi(us); !found || err != nil || time.Duration(v)*time.Microsecond < 10*time.Second {
			t.Errorf("the service manager hears %q", buf[:n])
		}
		asked++
	}
	if asked == 0 {
		t.Error("the service manager is not asked for time")
	}
	p.stop(t)
	if got := count(t, data, "SELECT SUM(count) FROM frame_blocks"); got != frames {
		t.Errorf("%d frames, want %d", got, frames)
	}
	t.Logf("asked %d times:\n%s", asked, p.log)
}

// A command that only reads brings an older archive to the present form too,
// and does so once.
func TestCommandsReadOlderArchive(t *testing.T) {
	data := t.TempDir()
	olderArchive(t, data, 700)
	for range 2 {
		if out := must(t, "sessions", "--data", data); !strings.Contains(out, "700") {
			t.Errorf("sessions: %s", out)
		}
	}
}

// One that is damaged is read as far as it can be, and what is lost is told.
func TestCommandsReadDamagedOlderArchive(t *testing.T) {
	data := t.TempDir()
	const frames = 5000
	olderArchive(t, data, frames)
	path := filepath.Join(data, sqlite.FileName)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b[:len(b)*3/4/4096*4096], 0o644); err != nil {
		t.Fatal(err)
	}
	r := do(t, "export", "--data", data)
	if r.code != 0 || len(strings.Split(r.out, "\n")) < 500 || !strings.Contains(r.err, "the archive is damaged: frames of session s1, link pad-radio: nothing ") {
		t.Errorf("exit status %d, %d bytes, %s", r.code, len(r.out), r.err)
	}
}
