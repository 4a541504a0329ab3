//go:build linux

package ingest

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// asked opens a pseudo-terminal and answers, with each piece in a write of its
// own, once the request has come.
func asked(t *testing.T, request string, pieces ...string) cable {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatalf("no pseudo-terminals: %v", err)
		}
		t.Skipf("no pseudo-terminals: %v", err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf, got := make([]byte, 64), ""
		for {
			n, err := far.Read(buf)
			got += string(buf[:n])
			if err != nil {
				return
			}
			if got == request {
				for _, p := range pieces {
					if _, err := far.WriteString(p); err != nil {
						return
					}
				}
				return // so that pull closes the device at once
			}
		}
	}()
	t.Cleanup(func() {
		_ = near.Close()
		_ = far.Close()
		<-done
	})
	return cable{far, near.Name()}
}

func dumpOf(c cable, end string) Dump {
	return Dump{
		Port: LinkConfig{Name: "dump", Serial: c.path, Baud: 115200}, Request: []byte("LOG\r"), End: []byte(end),
		Answer: 5 * time.Second, Quiet: 300 * time.Millisecond, Most: 1 << 20,
	}
}

func TestDump(t *testing.T) {
	for name, c := range map[string]struct {
		pieces []string
		end    string
		want   string
		torn   string
	}{
		"end mark":                 {[]string{"1,2\r\n", "3,4\r\n", "END\r\nready> "}, "END\r\n", "1,2\r\n3,4\r\nEND\r\n", ""},
		"end mark in three pieces": {[]string{"1,2\r\nE", "N", "D\r\nnoise"}, "END\r\n", "1,2\r\nEND\r\n", ""},
		"a pause":                  {[]string{"1,2\r\n", "3,4\r\n"}, "", "1,2\r\n3,4\r\n", ""},
		"a pause before the mark":  {[]string{"1,2\r\n", "3,"}, "END", "1,2\r\n3,", "the end mark"},
	} {
		t.Run(name, func(t *testing.T) {
			board := asked(t, "LOG\r", c.pieces...)
			var got strings.Builder
			res, err := dumpOf(board, c.end).Run(t.Context(), StartClock(), func(k Chunk) error {
				got.Write(k.Bytes)
				return nil
			})
			if err != nil || got.String() != c.want || res.Bytes != int64(got.Len()) {
				t.Errorf("%q (%d bytes), %v; want %q", got.String(), res.Bytes, err, c.want)
			}
			if !strings.Contains(res.Torn, c.torn) || c.torn == "" && res.Torn != "" {
				t.Errorf("torn: %q, want %q", res.Torn, c.torn)
			}
		})
	}
}

func TestDumpUnplugged(t *testing.T) {
	const whole = "1,2\r\n3,4\r\n"
	board := asked(t, "LOG\r", whole)
	var got strings.Builder
	res, err := dumpOf(board, "END").Run(t.Context(), StartClock(), func(k Chunk) error {
		got.Write(k.Bytes)
		if got.Len() == len(whole) {
			board.pull()
		}
		return nil
	})
	if err != nil || got.String() != whole || !strings.Contains(res.Torn, "went away in the middle") {
		t.Errorf("%q, %+v, %v", got.String(), res, err)
	}
}

func TestDumpInterrupted(t *testing.T) {
	board := asked(t, "LOG\r", "1,2\r\n")
	ctx, cancel := context.WithCancel(t.Context())
	d := dumpOf(board, "END")
	d.Quiet = time.Hour
	res, err := d.Run(ctx, StartClock(), func(Chunk) error { cancel(); return nil })
	if err != nil || res.Torn != "it was interrupted" || res.Bytes != 5 {
		t.Errorf("%+v, %v", res, err)
	}
}

func TestDumpTooLong(t *testing.T) {
	board := asked(t, "LOG\r", strings.Repeat("1,2\r\n", 400))
	d := dumpOf(board, "END")
	d.Most = 1000
	res, err := d.Run(t.Context(), StartClock(), func(Chunk) error { return nil })
	if err != nil || !strings.Contains(res.Torn, "more than") {
		t.Errorf("%+v, %v", res, err)
	}
}

func TestDumpNoAnswer(t *testing.T) {
	board := asked(t, "something else")
	d := dumpOf(board, "")
	d.Answer = 200 * time.Millisecond
	res, err := d.Run(t.Context(), StartClock(), func(Chunk) error { return nil })
	if err == nil || res.Bytes != 0 || !strings.Contains(err.Error(), board.path+": no answer to the request within 0.2 s") {
		t.Errorf("%+v, %v", res, err)
	}
}
