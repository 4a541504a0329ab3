package logimport

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"padlark/ingest"
)

// However many pieces in a row framing drops, only so many are under way at a
// time: a file of another kind is never in memory as a whole.
func TestDroppedPiecesAreHandedOn(t *testing.T) {
	const n = 60_000
	line := strings.Repeat("x", 40) + "\n" // longer than the limit below
	whole := []byte(strings.Repeat(line, n))
	var chunks []ingest.Chunk
	for i, b := range bytes.SplitAfter(whole, []byte("\n")) {
		if len(b) > 0 {
			chunks = append(chunks, ingest.Chunk{Heard: time.Duration(i) * time.Millisecond, Bytes: b})
		}
	}
	for name, data := range map[string][]byte{"a log": whole, "a capture": capture(t, "udp", chunks...)} {
		all, most, read := 0, 0, int64(0)
		err := cut(t.Context(), source(t, data), ingest.Framing{Kind: ingest.FramingLine}, 20, nil, func(b *batch) error {
			all, most, read = all+len(b.pieces), max(most, len(b.pieces)), max(read, b.read)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		// A batch that is nearly full and all of a block.
		if limit := batchPieces + blockBytes/len(line); most > limit {
			t.Errorf("%s: %d pieces are handed on together, want at most %d", name, most, limit)
		}
		if all != n || read != int64(len(whole)) {
			t.Errorf("%s: %d pieces of %d, %d bytes of %d", name, all, n, read, len(whole))
		}
	}
}
