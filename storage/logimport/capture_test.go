package logimport

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/ingest"
)

// capture is what a link kept of these chunks.
func capture(t *testing.T, kind string, chunks ...ingest.Chunk) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := ingest.NewCaptureWriter(&b, ingest.CaptureInfo{
		Station: "s", Epoch: time.Unix(1_781_000_000, 0), Links: []ingest.CaptureLink{{Name: "x", Kind: kind}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range chunks {
		c.Link, c.Heard = "x", time.Duration(i)*time.Second
		if err := w.WriteChunk(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestSkippedLineOfEachSender: each sender's lines are counted by themselves,
// however their pieces came in between each other, and the sender is named.
func TestSkippedLineOfEachSender(t *testing.T) {
	const a, b = "10.0.0.2:5000", "10.0.0.3:6000"
	from := func(peer, text string) ingest.Chunk { return ingest.Chunk{Peer: peer, Bytes: []byte(text)} }
	ended := func(peer, text string) ingest.Chunk {
		return ingest.Chunk{Peer: peer, Bytes: []byte(text), End: ingest.EndCut}
	}
	gram := func(text string) ingest.Chunk {
		return ingest.Chunk{Peer: a, Bytes: []byte(text), Datagram: true}
	}
	cases := map[string]struct {
		kind   string
		chunks []ingest.Chunk
		want   []string // sender, line, byte, first bytes
	}{
		"two senders, in pieces": {"tcp", []ingest.Chunk{
			from(a, "0,1013"), from(b, "bad one\n0,101"), from(a, "25,3.9\n20,101325,3.9\nbad"),
			from(b, "325,3.9\n"), from(a, " two\n40,101325,3.9\n"), from(b, "20,101325,3.9\nbad three\nto"),
		}, []string{b + " 1 0 bad one", a + " 3 27 bad two", b + " 4 35 bad three", b + " 5 45 to"}},
		"a sender connects once more": {"tcp", []ingest.Chunk{
			from(a, "0,101325,3.9\nbad one\n"), ended(a, "to"), from(a, "bad two\n"),
		}, []string{a + " 2 13 bad one", a + " 3 21 to", a + " 1 0 bad two"}},
		"a port that was lost and came back": {"serial", []ingest.Chunk{
			from("", "0,101325,3.9\n"), ended("", "to"), from("", "bad\n"),
		}, []string{" 2 13 to", " 3 15 bad"}},
		"datagrams with and without a line end": {"udp", []ingest.Chunk{
			gram("0,101325,3.9"), gram("bad one"), gram("20,101325,3.9\nbad two\n"), gram("bad three"),
		}, []string{" 2 12 bad one", " 4 33 bad two", " 5 41 bad three"}},
		"a dump": {dumpKind, []ingest.Chunk{from("", "0,101"), from("", "325,3.9\nba"), from("", "d\n")},
			[]string{" 2 13 bad"}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var got []string
			cfg := plain()
			cfg.OnSkip = func(s Skip) { got = append(got, fmt.Sprint(s.Sender, " ", s.Line, " ", s.Offset, " ", s.Text)) }
			if _, err := Read(t.Context(), source(t, capture(t, c.kind, c.chunks...)), cfg); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// TestSkippedLineAtBorders: a log is read in blocks, and a skipped line has its
// number wherever the border between two lies.
func TestSkippedLineAtBorders(t *testing.T) {
	for name, end := range map[string]string{"LF": "\n", "CR LF": "\r\n", "CR": "\r"} {
		t.Run(name, func(t *testing.T) {
			var text bytes.Buffer
			want := map[int]bool{}
			for n := 1; text.Len() < 3*blockBytes; n++ {
				// Every line that lies over a border is bad, and some others.
				if at := text.Len() % blockBytes; n%997 == 0 || at > blockBytes-40 {
					fmt.Fprintf(&text, "bad line %d, padded to lie over it all%s", n, end)
					want[n] = true
					continue
				}
				fmt.Fprintf(&text, "%d,101325,3.9%s", 20*n, end)
			}
			got := map[int]bool{}
			cfg := plain()
			cfg.OnSkip = func(s Skip) { got[s.Line] = true }
			l, err := Read(t.Context(), source(t, text.Bytes()), cfg)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			if n := len(framesOf(t, l)); n != l.Good+l.Bad {
				t.Errorf("%d frames of %d good and %d bad lines", n, l.Good, l.Bad)
			}
		})
	}
}

// TestEachRefusesAnotherLog: the log is read twice, and must not change.
func TestEachRefusesAnotherLog(t *testing.T) {
	data := []byte(lines(100, 0))
	l, err := Read(t.Context(), source(t, data), plain())
	if err != nil {
		t.Fatal(err)
	}
	copy(data[len(data)/2:], "xxxxxxxxxxxxxxxxxxxxxxxx\nxxx")
	err = l.Each(t.Context(), "s", time.Unix(0, 0), func(*ingest.Frame, *decode.Parsed) error { return nil })
	if err == nil {
		t.Error("a log that changed was taken for the same")
	}
}
