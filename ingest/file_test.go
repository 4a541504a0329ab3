package ingest

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func writeFile(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "frames")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFilePlain(t *testing.T) {
	path := writeFile(t, []byte("one\ntwo\nthree"))
	r := start(t, LinkConfig{Name: "bench", File: path}, lines, Env{})
	r.state(StateUp, "reading "+path)
	r.frame("one")
	r.frame("two")
	r.frame("three") // the end of a file ends a line
	r.state(StateDown, "was read to its end")
	r.ended(nil)
}

func TestFileEmpty(t *testing.T) {
	r := start(t, LinkConfig{Name: "bench", File: writeFile(t, nil)}, lines, Env{})
	r.ended(nil)
	if h := r.Health(); h.State != StateDown || h.LastHeard != nil || h.Frames != 0 {
		t.Errorf("health %+v", h)
	}
}

func TestFileMissingThenThere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "frames")
	r := start(t, LinkConfig{Name: "bench", File: path}, lines, Env{})
	r.state(StateWaiting, "is not there: correct the path")
	if err := os.WriteFile(path+".new", []byte("one\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
	r.frame("one")
	r.ended(nil)
}

func TestFileIsFolder(t *testing.T) {
	r := start(t, LinkConfig{Name: "bench", File: t.TempDir()}, lines, Env{})
	select {
	case err := <-r.done:
		if err == nil || !strings.Contains(err.Error(), "it is a folder; name a file") {
			t.Errorf("got %v", err)
		}
	case <-time.After(patience):
		t.Fatal("the link goes on")
	}
}

// A plain file with a rate comes as slowly as a line at that rate: 96 bytes at
// 9600 baud and ten bits a byte take 0.1 s.
func TestFilePlainAtRate(t *testing.T) {
	data := []byte(strings.Repeat("0123456789abcde\n", 6))
	v := NewVirtualClock(time.Date(2026, 5, 16, 9, 0, 0, 0, time.UTC))
	r := start(t, LinkConfig{Name: "bench", File: writeFile(t, data), Baud: 9600}, lines, Env{Clock: v.Clock()})
	r.ended(nil)
	var last Frame
	for range 6 {
		last = r.frame("0123456789abcde")
	}
	if got, want := time.Duration(last.Mono), 100*time.Millisecond; got != want || last.Baud != 9600 {
		t.Errorf("virtual clock: the last line came at %v, want %v", got, want)
	}

	r = start(t, LinkConfig{Name: "bench", File: writeFile(t, data), Baud: 9600}, lines, Env{})
	r.ended(nil)
	for range 6 {
		last = r.frame("0123456789abcde")
	}
	if got := time.Duration(last.Mono); got < 100*time.Millisecond { // the clock started before the link
		t.Errorf("running clock: the lines came within %v", got)
	}
}

func TestWireTime(t *testing.T) {
	// Ten bits a byte: 960 bytes a second at 9600 baud.
	if got := wireTime(960*86400*30, 9600); got != 30*24*time.Hour {
		t.Errorf("a month at 9600 baud: %v", got)
	}
	if got := wireTime(1, 115200); got != 86805*time.Nanosecond {
		t.Errorf("a byte at 115200 baud: %v, want 86.805 us", got)
	}
}

func TestFileCaptureVirtual(t *testing.T) {
	path := writeFile(t, writeCapture(t, testInfo, []Chunk{
		{Link: "pad-radio", Heard: 250 * time.Millisecond, Bytes: []byte("one\nhal")},
		{Link: "wifi", Heard: 260 * time.Millisecond, Bytes: []byte("other\n"), RSSI: ptr(-80.0)},
		{Link: "pad-radio", Heard: time.Hour, Bytes: []byte("f\n")},
		{Link: "wifi", Heard: time.Hour, Bytes: []byte("no end")},
	}))
	v := NewVirtualClock(testInfo.Epoch.Add(-time.Second))
	r := start(t, LinkConfig{Name: "pad-radio", File: path}, lines, Env{Clock: v.Clock()})
	f := r.frame("one")
	if want := testInfo.Epoch.Add(250 * time.Millisecond); !f.Heard.Equal(want) || f.Mono != int64(1250*time.Millisecond) || f.Baud != 9600 {
		t.Errorf("frame %+v, want it heard at %v", f, want)
	}
	r.frame("half")
	r.ended(nil)

	r = start(t, LinkConfig{Name: "bench", File: path, CaptureLink: "wifi"}, lines, Env{Clock: v.Clock()})
	if f := r.frame("other"); f.RSSI == nil || *f.RSSI != -80 {
		t.Errorf("frame %+v", f)
	}
	r.ended(nil)
	if n := len(r.frames); n != 0 {
		t.Errorf("%d more frames: a capture's end is not the end of a line", n)
	}
}

// On a running clock the chunks keep their distances, from the first of them.
func TestFileCaptureRunning(t *testing.T) {
	path := writeFile(t, writeCapture(t, testInfo, []Chunk{
		{Link: "wifi", Heard: time.Hour, Bytes: []byte("x\n")},
		{Link: "pad-radio", Heard: time.Hour + 20*time.Millisecond, Bytes: []byte("one\n")},
		{Link: "pad-radio", Heard: time.Hour + 120*time.Millisecond, Bytes: []byte("two\n")},
	}))
	r := start(t, LinkConfig{Name: "pad-radio", File: path}, lines, Env{})
	one, two := r.frame("one"), r.frame("two")
	// The first may come late on a busy machine, neither may come early: the clock
	// started before the link.
	if got := time.Duration(two.Mono); got < 100*time.Millisecond || two.Mono-one.Mono > int64(time.Second) {
		t.Errorf("100 ms apart became %v and %v after the start", time.Duration(one.Mono), got)
	}
	r.ended(nil)
}

func TestFileCaptureErrors(t *testing.T) {
	whole := writeCapture(t, testInfo, testChunks)
	late := NewVirtualClock(testInfo.Epoch.Add(time.Hour)).Clock()
	tests := []struct {
		name string
		data []byte
		link string
		env  Env
		want string
	}{
		{"no such link", whole, "gate", Env{}, `the capture has no link "gate": correct capture_link; it has ["pad-radio" "wifi"]`},
		{"which link", whole, "", Env{}, `the capture has no link "bench": say with capture_link which to read`},
		{"damaged", append(append([]byte{}, whole...), 1, 2, 3, 4, 5), "wifi", Env{}, "the file is damaged from there on"},
		{"newer", append([]byte(captureMagic), 9, 0, 0, 0, 0, 0), "wifi", Env{}, "its version is 9"},
		{"before the epoch", whole, "wifi", Env{Clock: late}, "before the session's epoch"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			r := start(t, LinkConfig{Name: "bench", File: writeFile(t, tc.data), CaptureLink: tc.link}, lines, tc.env)
			select {
			case err := <-r.done:
				if err == nil || !strings.Contains(err.Error(), tc.want) {
					t.Errorf("got %v, want it to say %q", err, tc.want)
				}
			case <-time.After(patience):
				t.Fatal("the link goes on")
			}
		})
	}
}

func TestStdin(t *testing.T) {
	r := start(t, LinkConfig{Name: "pipe", Stdin: true}, lines, Env{Stdin: strings.NewReader("one\ntwo")})
	r.frame("one")
	r.frame("two")
	r.state(StateUp, "reading standard input")
	r.state(StateDown, "standard input was read to its end")
	r.ended(nil)

	r = start(t, LinkConfig{Name: "wifi", Stdin: true}, lines, Env{
		Stdin: bytes.NewReader(writeCapture(t, testInfo, testChunks)), Clock: NewVirtualClock(testInfo.Epoch).Clock(),
	})
	r.frame("hello")
	r.ended(nil)
}

// A pipe that nothing comes from does not hold the link up when it is stopped.
func TestStdinPipeStops(t *testing.T) {
	near, far, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _, _ = near.Close(), far.Close() }()
	r := start(t, LinkConfig{Name: "pipe", Stdin: true}, lines, Env{Stdin: near})
	if _, err := io.WriteString(far, "the first line\nhalf"); err != nil {
		t.Fatal(err)
	}
	r.frame("the first line")
	r.stop()
}
