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
