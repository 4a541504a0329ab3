-- Bench tests of boards. A checkup belongs to a rocket by name, not to a
-- session: it is made at home, with no session open.
CREATE TABLE checkups (
	id       INTEGER PRIMARY KEY,
	rocket   TEXT NOT NULL,
	at_ns    INTEGER NOT NULL,        -- UTC, ns since 1970
	verdict  TEXT NOT NULL,
	version  TEXT NOT NULL,           -- of padlark
	report   TEXT NOT NULL,           -- JSON
	UNIQUE (rocket, at_ns)
);
