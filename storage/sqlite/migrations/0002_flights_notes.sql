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

INSERT INTO flights (session, rocket, flight, liftoff_ns, touchdown_ns)
SELECT e.session, r.id, e.flight,
	MAX(CASE WHEN e.kind = 'liftoff' THEN e.at_ns END),
	MAX(CASE WHEN e.kind = 'touchdown' THEN e.at_ns END)
FROM events e JOIN rockets r ON r.session = e.session AND r.name = e.rocket
WHERE e.flight > 0 AND e.kind IN ('liftoff', 'touchdown')
GROUP BY e.session, r.id, e.flight;

UPDATE flights SET pad_pressure_pa = (
	SELECT AVG(s.pressure_pa) FROM samples s
	WHERE s.rocket = flights.rocket
	  AND s.at_ns BETWEEN flights.liftoff_ns - 12000000000 AND flights.liftoff_ns - 2000000000);

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
