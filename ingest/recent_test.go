package ingest

import (
	"bytes"
	"context"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// What a link has heard lately is the end of all that it has heard, at least so much
// of it, in so little memory, and messages stay apart.
func TestRecent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r Receiver
		whole := rapid.Bool().Draw(t, "datagrams")
		var all []byte
		var sizes []int
		for i := range rapid.IntRange(1, 300).Draw(t, "chunks") {
			b := bytes.Repeat([]byte{byte(i)}, rapid.IntRange(0, 2000).Draw(t, "size"))
			r.recent.add(Chunk{Heard: time.Duration(i) * time.Second, Bytes: b, Datagram: whole})
			if all = append(all, b...); len(b) > 0 {
				sizes = append(sizes, len(b))
			}
			if len(r.recent.bytes) > 2*recentMost || len(r.recent.marks) > 2*recentMarks {
				t.Fatalf("%d bytes in %d pieces are kept", len(r.recent.bytes), len(r.recent.marks))
			}
		}
		got := r.Recent()
		one := got.Bytes
		for i := range got.Messages {
			m := got.Messages[len(got.Messages)-1-i]
			if want := sizes[len(sizes)-1-i]; len(m) != want {
				t.Fatalf("message %d from the end has %d bytes, not %d", i, len(m), want)
			}
		}
		one = append(one, bytes.Join(got.Messages, nil)...)
		if !bytes.HasSuffix(all, one) || len(one) < min(len(all), recentMost-2000) || whole == (got.Bytes != nil) && len(all) > 0 {
			t.Fatalf("%d bytes and %d messages of %d bytes", len(got.Bytes), len(got.Messages), len(all))
		}
	})
}

// chunks is a link that hears these, and then ends.
type chunks []Chunk

func (chunks) Name() string { return "pad" }

func (l chunks) Run(_ context.Context, out func(Chunk) error) error {
	for _, c := range l {
		if err := out(c); err != nil {
			return err
		}
	}
	return nil
}

// TestGather: a stream and messages are told apart, the time is from the first byte to
// the last, and what is more than enough ends it.
func TestGather(t *testing.T) {
	stream := chunks{{Heard: time.Second}, {Bytes: []byte("ab"), Heard: 2 * time.Second}, {Bytes: []byte("cd"), Heard: 5 * time.Second}, {Bytes: []byte("ef"), Heard: 6 * time.Second}}
	r, err := Gather(t.Context(), stream, 100, 100)
	if err != nil || string(r.Bytes) != "abcdef" || r.Messages != nil || r.Seconds != 4 {
		t.Errorf("a stream: %+v, %v", r, err)
	}
	if r, err = Gather(t.Context(), stream, 3, 100); err != nil || string(r.Bytes) != "abcd" || r.Seconds != 3 {
		t.Errorf("more than 3 bytes: %+v, %v", r, err)
	}
	grams := chunks{{Bytes: []byte("ab"), Datagram: true, Heard: 1}, {Bytes: []byte("cd"), Datagram: true, Heard: 2}, {Bytes: []byte("ef"), Datagram: true, Heard: 3}}
	if r, err = Gather(t.Context(), grams, 100, 1); err != nil || r.Bytes != nil || len(r.Messages) != 2 || string(r.Messages[1]) != "cd" {
		t.Errorf("more than one message: %+v, %v", r, err)
	}
}
