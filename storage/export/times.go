package export

import (
	"context"
	"fmt"
	"strconv"

	"padlark/storage"
)

// dated is a source that knows how the times of its sessions were fixed, as an
// archive does.
type dated interface {
	Sessions(ctx context.Context) ([]storage.Session, error)
}

// fixed has the sessions that q chooses and whose times were fixed, by their
// IDs. It is empty if the recorded times are asked for.
type fixed map[string]storage.Session

func fixedOf(ctx context.Context, src Source, q storage.Query) (fixed, error) {
	a, ok := src.(dated)
	if !ok || q.Recorded {
		return nil, nil
	}
	all, err := a.Sessions(ctx)
	if err != nil {
		return nil, fmt.Errorf("look up how the times were fixed: %w", err)
	}
	out := fixed{}
	for _, s := range all {
		if s.ShiftSource != "" && (q.Session == "" || q.Session == s.ID) {
			out[s.ID] = s
		}
	}
	return out, nil
}

// by says in words how a session's times were fixed; empty if they were not.
func (f fixed) by(session string) string {
	s, ok := f[session]
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s; %s s added to what the station's clock said", s.ShiftSource, shiftText(s))
}

// shiftText is how many seconds were added.
func shiftText(s storage.Session) string {
	return strconv.FormatFloat(s.Shift.Seconds(), 'f', -1, 64)
}
