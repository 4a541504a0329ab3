package ingest

import (
	"bytes"
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
