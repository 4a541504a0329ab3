package main

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"

	"padlark/storage/sqlite"
)

// Where the samples cannot be read an export says that, and not that there are
// none.
func TestExportOfDamagedBlocks(t *testing.T) {
	dir := demoDir(t)
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Exec(`UPDATE sample_blocks SET data = substr(data, 1, length(data) - 40) || zeroblob(40)`)
	if closed := db.Close(); err == nil {
		err = closed
	}
	if err != nil {
		t.Fatal(err)
	}
	r := do(t, "export", "--data", dir, "--format", "csv")
	if r.code == 0 || strings.Contains(r.err, "matches") || !strings.Contains(r.err, "damaged") {
		t.Errorf("exit status %d: %.600s", r.code, r.err)
	}
}
