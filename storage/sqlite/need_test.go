package sqlite

import (
	"os"
	"testing"
)

// need skips a test that lacks something, or fails it where everything is meant
// to be there.
func need(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("PADLARK_CI") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}
