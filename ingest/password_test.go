//go:build unix

package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A secret is read only where others can neither read nor change it; the error says
// what mends that.
func TestReadSecret(t *testing.T) {
	path := filepath.Join(t.TempDir(), "word")
	if err := os.WriteFile(path, []byte("hush\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for mode, good := range map[os.FileMode]bool{0o600: true, 0o400: true, 0o640: true, 0o440: true, 0o644: false, 0o660: false, 0o602: false, 0o604: false} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		word, err := ReadSecret("bus.token_file", path)
		if good && (err != nil || word != "hush") {
			t.Errorf("%o: %q, %v", mode, word, err)
		}
		if !good && (err == nil || !strings.Contains(err.Error(), "chmod o=,g-w "+path) || !strings.Contains(err.Error(), "bus.token_file")) {
			t.Errorf("%o: %q, %v", mode, word, err)
		}
	}
}
