package results

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/klauspost/compress/zstd"

	"padlark/flight"
	"padlark/storage"
	"padlark/storage/snapshot"
	"padlark/storage/sqlite"
)

// folder is the name, in a station's data folder, of the one in which the summaries
// of ended sessions are kept. It may be deleted at any time.
const folder = "results"

// Summary is a flight without its course.
type Summary struct {
	Result flight.Result `json:"result"`
	CellV  *float64      `json:"cell_v,omitempty"` // of the supply at rest before the liftoff, V
}

// summaries are what the flights of an ended session came to, with what they were
// worked out from: they are not used if the archive, or the program, is another one.
type summaries struct {
	Of      string    `json:"of"`
	Flights []Summary `json:"flights"`
}

// Keeping makes Results write the summaries of ended sessions to folder beside the
// archive, so that the season of a club does not have to be worked out anew by each
// program that shows it. What cannot be written is worked out by the next who asks.
func (r *Results) Keeping() *Results {
	r.keeps = true
	return r
}

// Telling makes Results tell how many flights it has worked out, after each.
func (r *Results) Telling(tell func(flights uint64)) *Results {
	r.tell = tell
	return r
}

// Summaries works out the flights of one session, or of every session when session is
// empty, in the order of their liftoffs. Void ones do not count.
func (r *Results) Summaries(ctx context.Context, session string) ([]Summary, error) {
	return r.list(ctx, session, r.archive.Flights)
}

func (r *Results) list(ctx context.Context, session string, of func(context.Context, string) ([]sqlite.FlightSpan, error)) ([]Summary, error) {
	return r.listBy(ctx, session, of, func(ctx context.Context, s *storage.Session, span *sqlite.FlightSpan) (Summary, bool, error) {
		one, err := r.summary(ctx, s.ID, span)
		return one, err == nil, err
	})
}

// work gives the summary of a flight that is not kept, and whether it is the whole
// of it.
type work func(ctx context.Context, s *storage.Session, span *sqlite.FlightSpan) (Summary, bool, error)

// listBy goes from the newest session to the oldest: whoever has no time for all
// begins with what people look at first.
func (r *Results) listBy(ctx context.Context, session string, of func(context.Context, string) ([]sqlite.FlightSpan, error), do work) ([]Summary, error) {
	var sessions []storage.Session
	if session == "" {
		all, err := r.archive.Sessions(ctx)
		if err != nil {
			return nil, err
		}
		sessions = all
	} else {
		s, err := r.archive.Session(ctx, session)
		if err != nil {
			return nil, err
		}
		sessions = append(sessions, s)
	}
	parts := make([][]Summary, len(sessions))
	for i := len(sessions) - 1; i >= 0; i-- {
		spans, err := of(ctx, sessions[i].ID)
		if err != nil {
			return nil, err
		}
		if len(spans) == 0 {
			continue
		}
		if parts[i], err = r.ofSession(ctx, &sessions[i], spans, do); err != nil {
			return nil, err
		}
	}
	return slices.Concat(parts...), nil
}

// summary works one flight out.
func (r *Results) summary(ctx context.Context, session string, span *sqlite.FlightSpan) (Summary, error) {
	f, err := r.worked(ctx, session, span.Rocket, span.Flight, false)
	return Summary{f.Result, f.CellV}, err
}

// ofSession gives the summaries of some flights of a session.
func (r *Results) ofSession(ctx context.Context, s *storage.Session, spans []sqlite.FlightSpan, do work) ([]Summary, error) {
	voids, err := r.voids(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	madeOf, err := r.madeOf(ctx, s)
	if err != nil {
		return nil, err
	}
	known := r.keptOf(s.ID, madeOf)
	var fresh []Summary
	out := make([]Summary, 0, len(spans))
	for i := range spans {
		name := sqlite.FlightName{Rocket: spans[i].Rocket, Flight: spans[i].Flight}
		one, ok := known[name]
		if !ok {
			whole := false
			if one, whole, err = do(ctx, s, &spans[i]); whole {
				fresh = append(fresh, one)
			}
			if err != nil {
				break // what is worked out already is kept
			}
		}
		if why, void := voids[name]; void {
			one.Result.Judge(flight.Void, voidReason(why))
		}
		out = append(out, one)
	}
	if len(fresh) > 0 && madeOf != "" {
		r.keepOf(s.ID, madeOf, fresh)
	}
	return out, err
}

// madeOf tells what is worked out of a session as it is now; "" if it has not ended.
func (r *Results) madeOf(ctx context.Context, s *storage.Session) (string, error) {
	if s.Ended.IsZero() {
		return "", nil
	}
	stamp, err := r.archive.Stamp(ctx, s.ID)
	return snapshot.Program() + ", " + stamp, err
}

// keptOf gives what is known of a session's flights, by their names.
func (r *Results) keptOf(session, madeOf string) map[sqlite.FlightName]Summary {
	out := map[sqlite.FlightName]Summary{}
	if madeOf == "" {
		return out
	}
	r.mu.Lock()
	old, ok := r.sessions[session]
	r.mu.Unlock()
	if !ok || old.Of != madeOf {
		var err error
		if old, err = readKept[summaries](r.pathOf(session, ".json.zst")); err != nil || old.Of != madeOf {
			return out // then they are worked out
		}
		r.remember(session, old)
	}
	for _, f := range old.Flights {
		out[sqlite.FlightName{Rocket: f.Result.Rocket, Flight: f.Result.Flight}] = f
	}
	return out
}

func (r *Results) remember(session string, s summaries) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sessions[session] = s
}

// keepOf keeps what was worked out of a session beside what is kept of it: in memory,
// and in the folder if that can be.
func (r *Results) keepOf(session, madeOf string, fresh []Summary) {
	r.mu.Lock()
	s := summaries{Of: madeOf, Flights: fresh}
	if old := r.sessions[session]; old.Of == madeOf {
		for _, f := range old.Flights {
			same := func(g Summary) bool { return g.Result.Rocket == f.Result.Rocket && g.Result.Flight == f.Result.Flight }
			if !slices.ContainsFunc(fresh, same) {
				s.Flights = append(s.Flights, f)
			}
		}
	}
	r.sessions[session] = s
	r.mu.Unlock()
	r.write(r.pathOf(session, ".json.zst"), s)
}

// write keeps what was worked out, where that was asked for.
func (r *Results) write(path string, v any) {
	if path != "" && r.keeps {
		_ = writeKept(path, v) // a full or foreign disk: the next who asks waits longer
	}
}

// pathOf is where something of a session is kept, "" for nowhere: a name from
// elsewhere may be no name of a file.
func (r *Results) pathOf(session, kind string) string {
	if session != filepath.Base(session) || strings.HasPrefix(session, ".") {
		return ""
	}
	return filepath.Join(filepath.Dir(r.archive.Path()), folder, session+kind)
}

func readKept[T any](path string) (s T, err error) {
	if path == "" {
		return s, os.ErrNotExist
	}
	packed, err := os.ReadFile(path)
	if err != nil {
		return s, err
	}
	z, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))
	if err != nil {
		return s, err
	}
	defer z.Close()
	text, err := z.DecodeAll(packed, nil)
	if err != nil {
		return s, fmt.Errorf("read %s: %w", path, err)
	}
	return s, json.Unmarshal(text, &s)
}

// writeKept puts a file in the place of the one before in one step. It need not
// outlive a loss of power: one that is torn has no checksum and is not used.
func writeKept(path string, v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("keep results: %w", err)
	}
	z, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		return fmt.Errorf("keep results: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("keep results: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("keep results: %w", err)
	}
	_, err = f.Write(z.EncodeAll(text, nil))
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("keep results: %w", err), os.Remove(f.Name()))
	}
	return nil
}

// voids are the flights of a session that a person took for none, and why.
func (r *Results) voids(ctx context.Context, session string) (map[sqlite.FlightName]string, error) {
	all, err := r.archive.VoidNow(ctx, session)
	out := map[sqlite.FlightName]string{}
	for _, v := range all {
		out[sqlite.FlightName{Rocket: v.Rocket, Flight: v.Flight}] = v.Why
	}
	return out, err
}
