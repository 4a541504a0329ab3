package results

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/klauspost/compress/zstd"

	"padlark/flight"
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

// Summaries works out the flights of one session, or of every session when session is
// empty, in the order of their liftoffs. Void ones do not count.
func (r *Results) Summaries(ctx context.Context, session string) ([]Summary, error) {
	return r.list(ctx, session, r.archive.Flights)
}

func (r *Results) list(ctx context.Context, session string, of func(context.Context, string) ([]sqlite.FlightSpan, error)) ([]Summary, error) {
	var sessions []sqlite.Session
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
	out := []Summary{}
	for _, s := range sessions {
		spans, err := of(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		if len(spans) == 0 {
			continue
		}
		of, err := r.ofSession(ctx, s, spans)
		if err != nil {
			return nil, err
		}
		out = append(out, of...)
	}
	return out, nil
}

// ofSession gives the summaries of some flights of a session.
func (r *Results) ofSession(ctx context.Context, s sqlite.Session, spans []sqlite.FlightSpan) ([]Summary, error) {
	voids, err := r.voids(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	madeOf := ""
	if !s.Ended.IsZero() {
		stamp, err := r.archive.Stamp(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		madeOf = snapshot.Program() + ", " + stamp
	}
	known := r.keptOf(s.ID, madeOf)
	fresh := false
	out := make([]Summary, 0, len(spans))
	for _, span := range spans {
		name := sqlite.FlightName{Rocket: span.Rocket, Flight: span.Flight}
		one, ok := known[name]
		if !ok {
			f, err := r.worked(ctx, s.ID, span.Rocket, span.Flight)
			if err != nil {
				return nil, err
			}
			one, fresh = Summary{f.Result, f.CellV}, true
			known[name] = one
		}
		if why, void := voids[name]; void {
			one.Result.Verdict = voidVerdict(why)
		}
		out = append(out, one)
	}
	if fresh && madeOf != "" {
		r.keepOf(s.ID, madeOf, known)
	}
	return out, nil
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
		if old, err = readSummaries(r.pathOf(session)); err != nil || old.Of != madeOf {
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

// keepOf keeps what was worked out of a session: in memory, and in the folder if that
// can be.
func (r *Results) keepOf(session, madeOf string, known map[sqlite.FlightName]Summary) {
	s := summaries{Of: madeOf}
	for _, f := range known {
		s.Flights = append(s.Flights, f)
	}
	r.remember(session, s)
	if path := r.pathOf(session); path != "" && r.keeps {
		_ = writeSummaries(path, s) // a full or foreign disk: the next who asks waits longer
	}
}

// pathOf is where a session's summaries are kept, "" for nowhere: a name from
// elsewhere may be no name of a file.
func (r *Results) pathOf(session string) string {
	if session != filepath.Base(session) || strings.HasPrefix(session, ".") {
		return ""
	}
	return filepath.Join(filepath.Dir(r.archive.Path()), folder, session+".json.zst")
}

func readSummaries(path string) (s summaries, err error) {
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

// writeSummaries puts a file in the place of the one before in one step. It need not
// outlive a loss of power: one that is torn has no checksum and is not used.
func writeSummaries(path string, s summaries) error {
	text, err := json.Marshal(s)
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
