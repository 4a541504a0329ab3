package bundle

import (
	"archive/zip"
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A small file that unpacks to hundreds of megabytes is refused before it is
// unpacked.
func TestBombIsRefused(t *testing.T) {
	var packed bytes.Buffer
	packed.Write(head())
	z := zip.NewWriter(&packed)
	z.SetOffset(int64(packed.Len()))
	for _, name := range append([]string{manifestEntry}, entries()...) {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if name == framesEntry {
			line := []byte(`{"session":"` + strings.Repeat("a", 4000) + `"}` + "\n")
			for range 70_000 {
				if _, err := w.Write(line); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "bomb")
	if err := os.WriteFile(path, packed.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	_, err := Open(path)
	if !errors.Is(err, errDamaged) || !strings.Contains(err.Error(), "unpack") {
		t.Fatalf("%v", err)
	}
	if took := time.Since(begin); took > time.Second {
		t.Errorf("it took %v to find out", took)
	}
	t.Logf("%d bytes: %v", packed.Len(), err)
}
