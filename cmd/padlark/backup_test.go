package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"padlark/storage/backup"
	"padlark/storage/sqlite"
)

var onDisk = regexp.MustCompile(`(?m)^ *"disk_bytes.*$`)

// A backup is made while a station has the archive open; it reads like the
// folder it was made of; it is not copied twice; and one changed byte is found.
func TestBackup(t *testing.T) {
	data, to := t.TempDir(), filepath.Join(t.TempDir(), "stick")
	must(t, "demo", "--fast", "--exit", "--quiet", "--data", data)
	running, err := sqlite.Open(t.Context(), filepath.Join(data, sqlite.FileName), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer running.Close() //nolint:errcheck // nothing is written
	if out := must(t, "storage", "backup", to, "--data", data); !strings.Contains(out, "read back") {
		t.Errorf("backup says %q", out)
	}
	for _, args := range [][]string{{"flights", "--json"}, {"events", "--json"}, {"sessions", "--json"}} {
		was, is := must(t, append(args, "--data", data)...), must(t, append(args, "--data", to)...)
		if args[0] == "sessions" { // the copy is packed, and may take some pages less
			was, is = onDisk.ReplaceAllString(was, ""), onDisk.ReplaceAllString(is, "")
		}
		if was == "" || was != strings.ReplaceAll(is, to, data) {
			t.Errorf("%v of the copy:\n%s\nof what was copied:\n%s", args, is, was)
		}
	}
	journals, err := filepath.Glob(filepath.Join(to, "journal", "*.plarkcap*"))
	if err != nil || len(journals) == 0 {
		t.Fatalf("journals in the copy: %v, %v", journals, err)
	}
	before, err := os.Stat(journals[0])
	if err != nil {
		t.Fatal(err)
	}
	must(t, "storage", "backup", to, "--data", data)
	after, err := os.Stat(journals[0])
	if err != nil || !os.SameFile(before, after) {
		t.Errorf("a journal that was there was copied again (%v)", err)
	}
	// To restore is to copy the folder; a replay needs frames and configuration.
	must(t, "replay", "--speed", "max", "--data", to)

	must(t, "storage", "verify", to)
	bytes, err := os.ReadFile(journals[0])
	if err != nil {
		t.Fatal(err)
	}
	bytes[len(bytes)/2] ^= 1
	if err := os.WriteFile(journals[0], bytes, 0o640); err != nil {
		t.Fatal(err)
	}
	if got := do(t, "storage", "verify", to); got.code != exitBad || !strings.Contains(got.err, filepath.Base(journals[0])) {
		t.Errorf("one changed byte: %+v", got)
	}
	must(t, "storage", "backup", to, "--data", data)
	must(t, "storage", "verify", to)
}

func TestBackupRefused(t *testing.T) {
	data := t.TempDir()
	must(t, "demo", "--fast", "--exit", "--quiet", "--data", data)
	if got := do(t, "storage", "backup", filepath.Join(data, "copy"), "--data", data); got.code != exitBad || !strings.Contains(got.err, "lies within it") {
		t.Errorf("into itself: %+v", got)
	}
	if got := do(t, "storage", "verify", t.TempDir()); got.code != exitBad || !strings.Contains(got.err, backup.ListName) {
		t.Errorf("no copy: %+v", got)
	}
	// Its journals are copied although the archive is damaged, and it is told.
	db := filepath.Join(data, sqlite.FileName)
	st, err := os.Stat(db)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(db, st.Size()/2); err != nil {
		t.Fatal(err)
	}
	to := t.TempDir()
	if got := do(t, "storage", "backup", to, "--data", data); got.code != exitBad || !strings.Contains(got.err, "damaged") {
		t.Errorf("damaged archive: %+v", got)
	}
	if journals, err := filepath.Glob(filepath.Join(to, "journal", "*.plarkcap*")); err != nil || len(journals) == 0 {
		t.Errorf("journals in the copy: %v, %v", journals, err)
	}
}
