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
