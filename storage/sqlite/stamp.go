package sqlite

import "context"

// Stamp tells whether what was worked out of an ended session still holds: it is
// another one as soon as events, alarms, corrections or configurations of the session
// have changed, or its times.
func (a *Archive) Stamp(ctx context.Context, session string) (stamp string, err error) {
	err = a.r.QueryRowContext(ctx, `SELECT printf('%d %d %d %d %d %d %d %d %d', s.id, s.ended_ns, s.shift_ns, s.journal_at,
		(SELECT COUNT(*) FROM events e WHERE e.session = s.id),
		(SELECT COUNT(*) FROM alarms a WHERE a.session = s.id),
		(SELECT COUNT(*) FROM corrections c WHERE c.session = s.id),
		(SELECT COUNT(*) FROM corrections c WHERE c.session = s.id AND c.undone),
		(SELECT COUNT(*) FROM changes g WHERE g.session = s.id))
		FROM sessions s WHERE s.name = ?`, session).Scan(&stamp)
	return stamp, explain(a.path, "read what session "+session+" holds", err)
}
