CREATE TABLE sessions (
	id           INTEGER PRIMARY KEY,
	name         TEXT NOT NULL UNIQUE,
	station      TEXT NOT NULL,
	epoch_ns     INTEGER NOT NULL,            -- UTC, ns since 1970, as recorded
	started_ns   INTEGER NOT NULL,            -- since the epoch
	ended_ns     INTEGER,                     -- since the epoch; NULL while running
	version      TEXT NOT NULL DEFAULT '',    -- of padlark
	config       TEXT NOT NULL DEFAULT '',    -- the configuration file
	site         TEXT NOT NULL DEFAULT '{}',  -- JSON
	shift_ns     INTEGER NOT NULL DEFAULT 0,  -- to be added to every time of the session
	shift_source TEXT NOT NULL DEFAULT '',    -- how the time was fixed
	journal_at   INTEGER NOT NULL DEFAULT 0   -- bytes of the session's journal that are in these tables
);

CREATE TABLE links (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	name    TEXT NOT NULL,
	UNIQUE (session, name)
);

CREATE TABLE rockets (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	name    TEXT NOT NULL,
	config  TEXT NOT NULL DEFAULT '{}',       -- JSON
	UNIQUE (session, name)
);

CREATE TABLE rejects (
	link   INTEGER NOT NULL REFERENCES links(id),
	n      INTEGER NOT NULL,                  -- of the frame
	kind   TEXT NOT NULL,
	reason TEXT NOT NULL,
	detail TEXT NOT NULL,
	layout TEXT NOT NULL,
	field  TEXT NOT NULL,
	offset INTEGER,                           -- byte of the frame, from 0
	PRIMARY KEY (link, n)
) WITHOUT ROWID;

CREATE TABLE events (
	session       INTEGER NOT NULL REFERENCES sessions(id),
	id            TEXT NOT NULL,
	ord           INTEGER NOT NULL,
	rocket        TEXT NOT NULL,
	kind          TEXT NOT NULL,
	flight        INTEGER NOT NULL,
	at_ns         INTEGER NOT NULL,
	called_ns     INTEGER NOT NULL,
	at_sd_s       REAL,
	altitude_m    REAL,
	altitude_sd_m REAL,
	speed_mps     REAL,
	note          TEXT NOT NULL,
	PRIMARY KEY (session, id)
) WITHOUT ROWID;

CREATE TABLE alarms (
	session    INTEGER NOT NULL REFERENCES sessions(id),
	id         TEXT NOT NULL,
	change     INTEGER NOT NULL,
	ord        INTEGER NOT NULL,
	rocket     TEXT NOT NULL,
	link       TEXT NOT NULL,
	flight     INTEGER NOT NULL,
	kind       TEXT NOT NULL,
	priority   INTEGER NOT NULL,
	active     INTEGER NOT NULL,
	acked      INTEGER NOT NULL,
	raised_ns  INTEGER NOT NULL,
	changed_ns INTEGER NOT NULL,
	say        TEXT NOT NULL,
	reason     TEXT NOT NULL,
	phrases    TEXT NOT NULL DEFAULT '',       -- what it says, for any language and units: see flight/phrase
	PRIMARY KEY (session, id, change)
) WITHOUT ROWID;

-- When each flight was, and what the barometer said at the pad just before it:
-- with that a height can be computed in SQL.
CREATE TABLE flights (
	session           INTEGER NOT NULL REFERENCES sessions(id),
	rocket            INTEGER NOT NULL REFERENCES rockets(id),
	flight            INTEGER NOT NULL,
	liftoff_ns        INTEGER,
	touchdown_ns      INTEGER,
	pad_pressure_pa   REAL,
	PRIMARY KEY (session, rocket, flight)
) WITHOUT ROWID;

CREATE TABLE notes (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	rocket  TEXT NOT NULL,
	flight  INTEGER NOT NULL,
	at_ns   INTEGER NOT NULL,
	text    TEXT NOT NULL
);

-- Messages that were not what their subject promised.
CREATE TABLE unreadable (
	ord     INTEGER NOT NULL,
	subject TEXT NOT NULL,
	data    TEXT NOT NULL,
	reason  TEXT NOT NULL,
	PRIMARY KEY (ord, subject, data)
) WITHOUT ROWID;

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

-- Frames and samples lie in blocks of many rows (package block says how). What
-- stands in a row beside its block is what chooses blocks without opening them.
-- Rows are numbered as they come, so that a commit fills pages at the table's
-- end instead of touching one for each rocket; the index is small.
CREATE TABLE frame_blocks (
	id              INTEGER PRIMARY KEY,
	link            INTEGER NOT NULL REFERENCES links(id),
	n_first         INTEGER NOT NULL,         -- of the frames; blocks of a link do not overlap
	n_last          INTEGER NOT NULL,
	count           INTEGER NOT NULL,         -- of frames
	bytes           INTEGER NOT NULL,         -- of the frames themselves, together
	passed_first_ns INTEGER NOT NULL,         -- lowest and highest
	passed_last_ns  INTEGER NOT NULL,
	data            BLOB NOT NULL,
	UNIQUE (link, n_first)
);

CREATE TABLE sample_blocks (
	id              INTEGER PRIMARY KEY,
	rocket          INTEGER NOT NULL REFERENCES rockets(id),
	link            INTEGER NOT NULL REFERENCES links(id),
	n_first         INTEGER NOT NULL,         -- of the frames they are from
	n_last          INTEGER NOT NULL,
	count           INTEGER NOT NULL,         -- of samples
	at_first_ns     INTEGER NOT NULL,         -- measured, since the epoch: lowest and highest
	at_last_ns      INTEGER NOT NULL,
	passed_first_ns INTEGER NOT NULL,
	passed_last_ns  INTEGER NOT NULL,
	data            BLOB NOT NULL,
	UNIQUE (rocket, link, n_first)
);

-- The samples of flights once more, in rows: SQL cannot open the blocks, and a
-- flight is what people ask for. They are written when a flight is over. Of the
-- long waiting in between, blocks and padlark export know.
CREATE TABLE flight_rows (
	session        INTEGER NOT NULL REFERENCES sessions(id),
	rocket         INTEGER NOT NULL REFERENCES rockets(id),
	flight         INTEGER NOT NULL,
	link           INTEGER NOT NULL REFERENCES links(id),
	n              INTEGER NOT NULL,          -- of the frame
	at_ns          INTEGER NOT NULL,          -- measured, since the epoch
	pressure_pa    REAL,
	temperature_c  REAL,
	altitude_m     REAL,
	velocity_mps   REAL,
	accel_mps2     REAL,
	cell_v         REAL,
	release_us     REAL,
	release_on     REAL,
	latitude_deg   REAL,
	longitude_deg  REAL,
	gps_altitude_m REAL,
	PRIMARY KEY (session, rocket, flight, link, n)
) WITHOUT ROWID;

-- What a person said about a flight that was none: each line one statement, the
-- newest of a flight holds. What was heard and found stays as it is.
CREATE TABLE voids (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	rocket  TEXT NOT NULL,
	flight  INTEGER NOT NULL,
	void    INTEGER NOT NULL,              -- 1: it was no flight; 0: it was one after all
	at_ns   INTEGER NOT NULL,              -- when it was said, since the epoch
	why     TEXT NOT NULL
);
CREATE INDEX voids_of ON voids (session, rocket, flight);

-- What a person said of flights that were told apart wrongly, each line one
-- statement: doc (JSON) has the flights that it takes away and those that it puts
-- in their place. What was heard and found stays as it is.
CREATE TABLE corrections (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	kind    TEXT NOT NULL,                 -- join, split or rename
	at_ns   INTEGER NOT NULL,              -- when it was said, since the epoch
	undone  INTEGER NOT NULL DEFAULT 0,
	doc     TEXT NOT NULL
);
CREATE INDEX corrections_of ON corrections (session);

-- What all statements of a session together come to, written anew with each: the
-- flights as corrected, and under which name each flight that was taken away is
-- found, from which moment on.
CREATE TABLE corrected_flights (
	session         INTEGER NOT NULL REFERENCES sessions(id),
	rocket          INTEGER NOT NULL REFERENCES rockets(id),
	flight          INTEGER NOT NULL,
	heard_as        INTEGER NOT NULL REFERENCES rockets(id), -- its samples are this rocket's
	from_ns         INTEGER NOT NULL,                        -- and of this stretch
	to_ns           INTEGER NOT NULL,
	liftoff_ns      INTEGER,
	touchdown_ns    INTEGER,
	pad_pressure_pa REAL,
	PRIMARY KEY (session, rocket, flight)
) WITHOUT ROWID;

CREATE TABLE corrected_events (
	session       INTEGER NOT NULL REFERENCES sessions(id),
	id            TEXT NOT NULL,
	rocket        TEXT NOT NULL,
	kind          TEXT NOT NULL,
	flight        INTEGER NOT NULL,
	at_ns         INTEGER NOT NULL,
	called_ns     INTEGER NOT NULL,
	at_sd_s       REAL,
	altitude_m    REAL,
	altitude_sd_m REAL,
	speed_mps     REAL,
	note          TEXT NOT NULL
);
CREATE INDEX corrected_events_of ON corrected_events (session, rocket, flight);

CREATE TABLE corrected_names (
	session    INTEGER NOT NULL REFERENCES sessions(id),
	rocket     TEXT NOT NULL,
	flight     INTEGER NOT NULL,
	from_ns    INTEGER NOT NULL,
	now_rocket TEXT NOT NULL,
	now_flight INTEGER NOT NULL,
	PRIMARY KEY (session, rocket, flight, from_ns)
) WITHOUT ROWID;

-- Other configurations of a session, each from a moment on.
CREATE TABLE changes (
	session INTEGER NOT NULL REFERENCES sessions(id),
	at_ns   INTEGER NOT NULL, -- since the epoch
	config  TEXT NOT NULL,
	PRIMARY KEY (session, at_ns)
) WITHOUT ROWID;
