package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// storedFrame is a frame with its place in the stream, which settles the order
// of frames that passed in the same moment.
type storedFrame struct {
	ingest.Frame
	ord uint64
}

// lateness bounds how long after it was heard a frame passes, in ns.
const lateness = int64(10 * time.Second)

// Frames calls fn for every frame of one session that q chooses, in the order in which
// they passed; with a rocket, those that gave a sample of it. A replay asks for
// them as they were recorded. An error of fn ends it and is returned.
func (a *Archive) Frames(ctx context.Context, q storage.Query, fn func(ingest.Frame) error) error {
	s, err := a.Session(ctx, q.Session)
	if err != nil {
		return err
	}
	doing := "read frames of session " + s.ID
	links, err := a.linksOf(ctx, s.ID)
	if err != nil {
		return explain(a.path, doing, err)
	}
	var rocket int64
	if q.Rocket != "" {
		if rocket, err = a.rocketRow(ctx, s.ID, q.Rocket); err != nil {
			return explain(a.path, doing, err)
		}
	}
	w := windowOf(q, s)
	if w.passed = max(w.passed, w.from); w.to < forEver {
		w.until = min(w.until, w.to+lateness)
	}
	var streams []*stream[storedFrame]
	for _, l := range links {
		if q.Link == "" || q.Link == l.name {
			streams = append(streams, a.frameStream(s, l, rocket, w))
		}
	}
	before := func(x, y *storedFrame) bool {
		return x.Passed < y.Passed || x.Passed == y.Passed && x.ord < y.ord
	}
	var fnErr error
	err = merge(ctx, streams, before, func(f *storedFrame) error {
		if f.Passed > w.until {
			return errDone
		}
		if !q.Recorded {
			f.Heard = s.Corrected(f.Heard)
		}
		if f.Passed < w.passed || !q.From.IsZero() && f.Heard.Before(q.From) || !q.To.IsZero() && !f.Heard.Before(q.To) {
			return nil
		}
		fnErr = fn(f.Frame)
		return fnErr
	})
	if fnErr != nil {
		return fnErr
	}
	return explain(a.path, doing, err)
}

type storedLink struct {
	id   int64
	name string
}

func (a *Archive) linksOf(ctx context.Context, session string) ([]storedLink, error) {
	var out []storedLink
	err := each(ctx, a.r, `SELECT l.id, l.name FROM links l JOIN sessions s ON s.id = l.session WHERE s.name = ? ORDER BY l.id`,
		[]any{session}, func(rows *sql.Rows) error {
			var l storedLink
			err := rows.Scan(&l.id, &l.name)
			out = append(out, l)
			return err
		})
	return out, err
}

// rocketRow is a rocket's row number; -1, which no row has, if the session does
// not know it.
func (a *Archive) rocketRow(ctx context.Context, session, name string) (int64, error) {
	id := int64(-1)
	err := each(ctx, a.r, `SELECT r.id FROM rockets r JOIN sessions s ON s.id = r.session WHERE s.name = ? AND r.name = ?`,
		[]any{session, name}, func(rows *sql.Rows) error { return rows.Scan(&id) })
	return id, err
}

// frameStream reads the frames of a link; with a rocket those that gave a sample
// of it.
func (a *Archive) frameStream(s storage.Session, l storedLink, rocket int64, w window) *stream[storedFrame] {
	b := &blockReader{a: a, table: "frame_blocks", cond: frameTrack, of: track{link: l.id}}
	if w != whole() {
		b.chosen, b.chosenArgs = ` AND passed_last_ns >= ?3 AND passed_first_ns <= ?4`, []any{w.passed, w.until}
	}
	if a.readOnly {
		b.lose = func(from, to int64) {
			a.lost.add(Loss{Table: "frames", Session: s.ID, Link: l.name, From: uint64(from), To: uint64(to)})
		}
	}
	var sampled *numberReader
	if rocket != 0 {
		sampled = &numberReader{blocks: a.sampleBlocks(s, l, rocket, "", whole())}
	}
	return &stream[storedFrame]{load: func(ctx context.Context) ([]storedFrame, error) {
		for {
			m, data, ok, err := b.next(ctx)
			if !ok || err != nil {
				return nil, err
			}
			var f block.Frames
			from := 0
			if err = a.codec.DecodeFrames(data, &f); err == nil {
				from, err = b.given(m, f.N)
			}
			if err != nil {
				if err := b.bad(m, err); err != nil {
					return nil, err
				}
				continue
			}
			out, err := storedFrames(ctx, s, l, &f, from, sampled)
			if len(out) > 0 || err != nil {
				return out, err
			}
		}
	}}
}

// storedFrames makes frames of a block's rows.
func storedFrames(ctx context.Context, s storage.Session, l storedLink, f *block.Frames, from int, sampled *numberReader) ([]storedFrame, error) {
	out := make([]storedFrame, 0, f.Rows()-from)
	for i := from; i < f.Rows(); i++ {
		if sampled != nil {
			if has, err := sampled.has(ctx, f.N[i]); err != nil {
				return nil, err
			} else if !has {
				continue
			}
		}
		x := storedFrame{ord: uint64(f.Ord[i]), Frame: ingest.Frame{
			Session: s.ID, Link: l.name, N: uint64(f.N[i]), Heard: s.Epoch.Add(time.Duration(f.Mono[i] + f.Off[i])),
			Mono: f.Mono[i], Passed: f.Passed[i], Wire: int(f.Wire[i]), Baud: int(f.Baud[i]), Bytes: f.Bytes[i],
		}}
		if _, ok := f.RSSI.At(i); ok {
			x.RSSI = &f.RSSI.V[i]
		}
		out = append(out, x)
	}
	return out, nil
}

// numberReader says of rising numbers whether a rocket has a sample of them.
type numberReader struct {
	blocks *blockReader
	list   []int64
	end    bool
}

func (r *numberReader) has(ctx context.Context, n int64) (bool, error) {
	for !r.end && (len(r.list) == 0 || r.list[len(r.list)-1] < n) {
		m, data, ok, err := r.blocks.next(ctx)
		if err != nil {
			return false, err
		}
		if !ok {
			r.end = true
			break
		}
		if r.list, err = r.blocks.numbers(m, data, r.list); err != nil {
			return false, err
		}
	}
	_, ok := slices.BinarySearch(r.list, n)
	return ok, nil
}

// numbers reads the numbers of a block of samples; none if it is damaged.
func (b *blockReader) numbers(m meta, data []byte, dst []int64) ([]int64, error) {
	v, err := b.a.codec.OpenSamples(data)
	if err != nil {
		return dst[:0], b.bad(m, err)
	}
	defer v.Close()
	dst = v.Numbers(dst)
	if err = v.Err(); err == nil {
		_, err = b.given(m, dst)
	}
	if err != nil {
		return dst[:0], b.bad(m, err)
	}
	return dst, nil
}
