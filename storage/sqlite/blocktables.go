package sqlite

import (
	"context"
	"database/sql"
	"slices"

	"padlark/storage/sqlite/block"
)

type (
	frameTable  = blockTable[block.Frames, *block.Frames]
	sampleTable = blockTable[block.Samples, *block.Samples]
)

// mostChannels is how many channels one sample may have; a layout has some
// dozens. A batch may have the double, mostColumns, which with blockRows rows
// still fits in a block.
const (
	mostChannels = 1000
	mostColumns  = 2 * mostChannels
)

const (
	frameTrack  = "?1 = 0 AND link = ?2"
	sampleTrack = "rocket = ?1 AND link = ?2"
)

// newFrameTable is the table of frames. Frames are seldom read and pack well
// already by some dozens, so only the very small blocks of a flight's short
// commits are merged.
func newFrameTable() *frameTable {
	s := &frameTable{
		table: "frame_blocks", track: frameTrack, small: 64, mergeRows: blockRows / 2,
		encode: (*block.Codec).EncodeFrames, decode: (*block.Codec).DecodeFrames,
		cut: func(f *block.Frames, i int) int {
			k, size := i, 0
			for k < f.Rows() && k-i < blockRows && (k == i || size+len(f.Bytes[k]) <= blockBytes) {
				size += len(f.Bytes[k])
				k++
			}
			return k
		},
		insert: insertFrames,
		wide:   func(*block.Frames) bool { return false },
	}
	s.forget()
	return s
}

// newSampleTable is the table of samples. A channel of hours is read block by
// block, so there should be few.
func newSampleTable() *sampleTable {
	s := &sampleTable{
		table: "sample_blocks", track: sampleTrack, small: 1024, mergeRows: blockRows / 2,
		encode: (*block.Codec).EncodeSamples, decode: (*block.Codec).DecodeSamples,
		cut:    func(m *block.Samples, i int) int { return min(i+blockRows, m.Rows()) },
		insert: insertSamples,
		wide: func(m *block.Samples) bool {
			return len(m.Channels) > mostColumns && m.Columns() > mostColumns
		},
	}
	s.forget()
	return s
}

func insertFrames(in *inserter, ctx context.Context, t track, f *block.Frames, data []byte) (sql.Result, error) {
	size := 0
	for _, b := range f.Bytes {
		size += len(b)
	}
	n := f.Numbers()
	return in.exec(ctx, `INSERT INTO frame_blocks (link, n_first, n_last, count, bytes, passed_first_ns, passed_last_ns, data)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
		t.link, n[0], n[len(n)-1], len(n), size, slices.Min(f.Passed), slices.Max(f.Passed), data)
}

func insertSamples(in *inserter, ctx context.Context, t track, m *block.Samples, data []byte) (sql.Result, error) {
	n := m.Numbers()
	return in.exec(ctx, `INSERT INTO sample_blocks (rocket, link, n_first, n_last, count, at_first_ns, at_last_ns, passed_first_ns, passed_last_ns, data)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		t.rocket, t.link, n[0], n[len(n)-1], len(n), slices.Min(m.At), slices.Max(m.At), slices.Min(m.Passed), slices.Max(m.Passed), data)
}
