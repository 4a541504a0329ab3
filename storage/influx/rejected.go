package influx

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// rejectedFile is the name, within Options.Dir, of the file of lines that the
// server will not take.
const rejectedFile = "rejected.lp"

// rejectedMost bounds the file. When it is full it becomes rejectedFile.1 in place of
// an older one, so at most twice as much is kept.
const rejectedMost = 8 << 20

// badLine is a line with the reason why it was refused.
type badLine struct {
	text   string // with its line break
	reason string
}

// rejected keeps bad lines in a file that is line protocol again: the reason is a
// comment above each line, so a mended file can be sent as it is.
type rejected struct {
	dir  string
	most int64
	now  func() time.Time
	sync func(*os.File) error

	mu sync.Mutex
}

func newRejected(dir string) *rejected {
	return &rejected{dir: dir, most: rejectedMost, now: time.Now, sync: (*os.File).Sync}
}

func (a *rejected) path() string { return filepath.Join(a.dir, rejectedFile) }

// add appends lines and returns once they are on the disk.
func (a *rejected) add(bad []badLine) error {
	if len(bad) == 0 {
		return nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	var text strings.Builder
	stamp := a.now().UTC().Format(time.RFC3339)
	for _, b := range bad {
		fmt.Fprintf(&text, "# %s %s\n%s", stamp, strings.ReplaceAll(b.reason, "\n", " "), b.text)
	}
	if err := os.MkdirAll(a.dir, 0o755); err != nil {
		return fmt.Errorf("set lines aside: %w", err)
	}
	if st, err := os.Stat(a.path()); err == nil && st.Size() > 0 && st.Size()+int64(text.Len()) > a.most {
		if err := os.Rename(a.path(), a.path()+".1"); err != nil {
			return fmt.Errorf("set lines aside: %w", err)
		}
	}
	f, err := os.OpenFile(a.path(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("set lines aside: %w", err)
	}
	_, err = f.WriteString(text.String())
	if err == nil {
		err = a.sync(f) // they count as taken after this
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return fmt.Errorf("set lines aside: %w", err)
	}
	return nil
}
