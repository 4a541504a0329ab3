package station

import (
	"bytes"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/storage/sqlite"
)

// Who presses "keep" twice has one flight of the sounder, one journal of it, and no
// error; what the station beeps it reads itself.
func TestSounderKeptTwiceAtOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	cfg, err := config.Parse("sounder.toml", []byte(`
[station]
name = "bench"
data = "`+filepath.ToSlash(dir)+`"
[[rocket]]
name = "Wren"
id = 3
[[link]]
name = "pad"
udp = "127.0.0.1:0"
layout = "lark-text"
[[layout]]
name = "my-sounder"
form = "beeps"
framing = "beeps"
[layout.beeps]
repeats = 3
`))
	if err != nil {
		t.Fatal(err)
	}
	archive, err := sqlite.Open(t.Context(), filepath.Join(dir, sqlite.FileName), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer archive.Close() //nolint:errcheck // what it holds has been read
	s := sounders{func() *config.Config { return cfg }, archive, "test", new(sync.Mutex)}
	wav, err := s.Beep("my-sounder", 143)
	if err != nil {
		t.Fatal(err)
	}
	tones, err := s.Hear(t.Context(), "my-sounder", bytes.NewReader(wav))
	if err != nil || len(tones) == 0 || tones[0].Number == nil || *tones[0].Number != 143 || !tones[0].Sure {
		t.Fatalf("heard %+v, %v", tones, err)
	}
	var wg sync.WaitGroup
	at := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	for range 8 {
		wg.Go(func() {
			id, err := s.Keep(t.Context(), "my-sounder", "Wren", tones[0].Strip, at)
			if err != nil || id.Rocket != "Wren" || id.Flight != 1 {
				t.Errorf("kept as %+v, %v", id, err)
			}
		})
	}
	wg.Wait()
	sessions, err := archive.Sessions(t.Context())
	if err != nil || len(sessions) != 1 {
		t.Errorf("%d sessions, %v", len(sessions), err)
	}
	left, err := os.ReadDir(filepath.Join(dir, "journal"))
	if err != nil || len(left) != 1 || left[0].IsDir() {
		t.Errorf("in the folder of journals: %v, %v", left, err)
	}
}
